"""Gauges: one way to make them for command and page, checked on the file; and a new kind is one new file.

No outside source: the command is held against the page, and the written file against what the gauge says of itself.
"""

from __future__ import annotations

import base64
import io
import json
import os
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from shapely import affinity

import gougeform
from gougeform.command import main
from gougeform.errors import InputError
from gougeform.gauges.build import build
from gougeform.gauges.checks import read
from gougeform.gauges.kinds import KINDS, OPTIONS
from gougeform.gauges.making import _made, make, misses, planned
from gougeform.gauges.options import Printing
from gougeform.gauges.setup import Setup
from gougeform.gauges.writing import write_stl
from gougeform.grind.gouge import shape
from gougeform.recipe.reading import load
from gougeform.workbench.keeping import files
from workbench import ended, job, listening

RELIEF, TABLE = "finial-round-10-relief-foot", "finial-round-10-plain-table"
ROOT = Path(gougeform.__file__).parents[2]


def of_page(name, **more):
    """The files of the page's archive, or its refusal in words."""
    what = {"kind": "gauges", "tool": "a", "recipe": load(name).table} | more
    try:
        made = files(what, lambda share, words: None)
    except InputError as error:
        return f"{error.field}: {error.problem}"
    with zipfile.ZipFile(io.BytesIO(base64.b64decode(made["data"]))) as archive:
        return {one: archive.read(one) for one in archive.namelist()}


@pytest.mark.parametrize(
    ("kind", "words", "options"),
    [
        ("all", [], {}),
        ("spacer", ["--wheel", "180", "--foot", "6"], {"wheel_mm": [180], "foot_mm": 6}),
        ("tag", ["--raised", "--text", "5", "--scale", "1.01"], {"raised": True, "text_mm": 5, "scale": 1.01}),
    ],
)
def test_page_and_command_make_the_same_files(tmp_path, capsys, kind, words, options):
    assert main(["gauge", kind, RELIEF, *words, "--no-picture", "--json", "-o", str(tmp_path)]) == 0
    capsys.readouterr()
    assert of_page(RELIEF, gauge=kind, options=options) == {one.name: one.read_bytes() for one in tmp_path.iterdir()}


@pytest.mark.parametrize(
    ("kind", "name", "words", "options", "said"),
    [
        ("spacer", TABLE, [], {}, "jig.kind: a table has no pocket or rod"),
        ("spacer", RELIEF, ["--wheel", "25"], {"wheel_mm": [25]}, "wheel.diameter_mm: a wheel of 25 mm is too small"),
        ("wheel", RELIEF, ["--wheel", "5"], {"wheel_mm": [5]}, "wheel: given 5, allowed is a number at least 20"),
        ("wheel", RELIEF, ["--foot", "5"], {"foot_mm": 5}, "foot: has no meaning for the wheel gauge"),
        ("all", RELIEF, ["--bed", "60x60"], {"bed_mm": [60, 60]}, "bed: the projection stop needs"),
    ],
)
def test_page_and_command_refuse_the_same(tmp_path, capsys, kind, name, words, options, said):
    assert main(["gauge", kind, name, *words, "--no-picture", "-o", str(tmp_path / "new")]) == 2
    told = [line for line in capsys.readouterr().err.splitlines() if not line.endswith(" …")]
    page = of_page(name, gauge=kind, options=options)
    assert page.startswith(said)
    problem = page.split(": ", 1)[1]
    assert f": {problem}" in told[0]


@pytest.mark.parametrize(
    ("options", "field"),
    [
        ({"wheel_mm": 200.0}, "wheel"),
        ({"wheel_mm": ["200"]}, "wheel"),
        ({"wheel_mm": [True]}, "wheel"),
        ({"wheel_mm": [float("nan")]}, "wheel"),
        ({"foot_mm": None}, "foot"),
        ({"foot_mm": [8.0]}, "foot"),
        ({"slide": ["level"]}, "slide"),
        ({"slide": "up"}, "slide"),
        ({"raised": 1}, "raised"),
        ({"bed_mm": [220.0]}, "bed"),
        ({"bed_mm": "220x220"}, "bed"),
        ({"fit": 0.2}, "fit"),
    ],
)
def test_options_of_any_type_are_refused_in_words(options, field):
    with pytest.raises(InputError) as caught:
        make(load(RELIEF), "all", options)
    assert caught.value.field == field
    assert caught.value.problem


def test_an_unknown_kind_is_refused():
    with pytest.raises(InputError, match=r"kind: given peg, allowed is one of projection, .*, all"):
        make(load(RELIEF), "peg")


@pytest.mark.parametrize("printing", [Printing(), Printing(scale=1.02, raised=True, fit_mm=0.35, chamfer_mm=0.0)])
def test_every_kind_is_found_again_on_its_file(printing, tmp_path):
    setup = Setup(shape(load(RELIEF)), printing)
    gauges, _ = planned(setup, "all", {"projection_mm": (60.0, 70.0), "wheel_mm": (200.0, 180.0, 160.0)})
    assert {gauge.kind for gauge in gauges if gauge.spans} == set(KINDS)
    for gauge in gauges:
        assert {span.dimension for span in gauge.spans} <= set(gauge.dimensions)
        write_stl([build(gauge, printing)], tmp_path / "a.stl")
        found = misses(gauge, read(tmp_path / "a.stl")["a"], printing.scale)
        assert max(map(abs, found.values())) < 0.005, gauge.kind


def test_a_gauge_that_came_out_wrong_is_refused():
    """One per cent too large, as a slip in the building would make it; only its own spans can tell."""
    setup = Setup(shape(load(RELIEF)))
    gauges, _ = planned(setup)
    for gauge in (one for one in gauges if one.kind in ("spacer", "tag", "relief")):
        large = affinity.scale(gauge.outline, 1.01, 1.01, origin=(0, 0))
        with pytest.raises(
            InputError, match=f"the {gauge.kind} gauge cannot be printed as it is: its .* came out .* mm"
        ):
            _made(replace(gauge, outline=large, lettering=()), setup)


PEG = '''
"""A peg as long as the wing, to try how a gauge is added: this file, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from gougeform.errors import InputError
from gougeform.gauges.kind import GaugeKind
from gougeform.quantity import Quantity


@dataclass(frozen=True)
class Peg(GaugeKind):
    """A peg."""

    name = "peg"
    title = "Peg"
    does = "a peg as long as the wing"
    thick_mm: Annotated[float, Quantity("thickness", "how thick the peg is", ge=3, le=20)] = 6.0

    def gauge(self, setup):
        from shapely.geometry import box

        from gougeform.gauges.gauge import Gauge, Span

        long = setup.edge.wing_length(1)
        if long > 9:
            raise InputError("grind.0.wing_length_mm", "the wing is too long for a peg", "use a shorter wing")
        span = Span("wing_length_mm", self.thick_mm / 2, (-1.0, 5.0), (99.0, 5.0), long)
        return Gauge(
            self.name, "", box(0, 0, long, 10), self.thick_mm, (), ("PEG",), {"wing_length_mm": long}, "Try it.",
            spans=(span,),
        )
'''


def test_a_new_gauge_is_one_new_file(tmp_path):
    """In a copy of the program with that file: on the command line with its option, in the set, and on the page."""
    shutil.copytree(ROOT / "sim", tmp_path / "sim", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "profiles", tmp_path / "profiles")
    (tmp_path / "sim/gougeform/gauges/kinds/peg.py").write_text(PEG)
    command = [sys.executable, "-m", "gougeform.command"]
    environment = os.environ | {"PYTHONPATH": str(tmp_path / "sim")}

    def run(*words):
        return subprocess.run([*command, *words], capture_output=True, text=True, env=environment, cwd=tmp_path)

    told = run("gauge", "--help").stdout
    assert "peg         a peg as long as the wing" in told
    assert "--thick MM" in told
    (tmp_path / "short.toml").write_text(
        'bar = "round-10"\nflute = "detail-round-10"\nwheel = "wheel-200"\njig = "foot-65"\n'
        '[[grind]]\npath = "traced"\nwing_length_mm = 8.0\nnose_angle_deg = 35.0\n'
    )
    done = run("gauge", "peg", "short.toml", "--thick", "7", "--no-picture", "--json", "-o", "out")
    assert done.returncode == 0, done.stderr
    (made,) = json.loads(done.stdout)["gauges"]
    assert made["dimensions"]["wing_length_mm"] == pytest.approx(8.0)
    assert made["size_mm"][2] == pytest.approx(7.0)
    assert (
        "--thick: given 30, allowed is a number at least 3" in run("gauge", "peg", "short.toml", "--thick", "30").stderr
    )
    page = [*command, "workbench", str(tmp_path / "short.toml"), RELIEF, "--port", "0", "--no-browser"]
    server = subprocess.Popen(page, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
    try:
        port = listening(server)
        short = {**load(RELIEF).table, "grind": [{"path": "traced", "wing_length_mm": 8.0, "nose_angle_deg": 35.0}]}
        what = {"kind": "gauges", "gauge": "peg", "tool": "a"}
        answer = job(port, "files", {**what, "recipe": short})["answer"]
        with zipfile.ZipFile(io.BytesIO(base64.b64decode(answer["data"]))) as archive:
            assert set(archive.namelist()) == {"peg.stl", "peg.3mf"}
        error = job(port, "files", {**what, "recipe": load(RELIEF).table})["error"]
        assert error["problem"] == "the wing is too long for a peg"
    finally:
        ended(server)
    code = (
        "from gougeform.gauges.making import *; from gougeform.recipe.reading import load\n"
        f"for name in ('short.toml', '{RELIEF}'): print([one.kind for one in planned(Setup(shape(load(name))))[0]])"
    )
    listed = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment, cwd=tmp_path)
    assert ["'peg'" in line for line in listed.stdout.splitlines()] == [True, False], listed.stderr


def test_kinds_are_listed_without_numbers_and_options_are_told_apart():
    code = "import sys, gougeform.gauges.kinds; print({'numpy', 'shapely', 'pydantic'} & set(sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "set()"
    assert len({option.name for option in OPTIONS.values()}) == len(OPTIONS)
    for kind in KINDS.values():
        for option in kind.options():
            assert OPTIONS[option.key].meaning == option.meaning, f"{kind.name} {option.key}"
