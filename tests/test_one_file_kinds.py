"""Trials: a new kind is one file. A copy of the package gets a flute that is a catenary, and a jig whose arm sits on a
slide, and everything knows them.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import gougeform

SOURCE = Path(gougeform.__file__).parent
PROFILES = SOURCE.parents[1] / "profiles"

CATENARY = '''
"""A flute of a hanging chain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

import numpy as np

from gougeform.bar.flute import FLOOR_RADIUS, CurvedFlute, Shares


@dataclass(frozen=True)
class _Chain:
    """y = a (cosh(x / a) - 1); u is x."""

    a: float
    reach: float
    widest: float = np.inf
    breaks = np.zeros(0)

    def point(self, u):
        return u, self.a * (np.cosh(u / self.a) - 1)

    def tangent(self, u):
        return np.ones_like(u), np.sinh(u / self.a)

    def height(self, x):
        q = x / self.a
        return self.a * (np.cosh(q) - 1), np.sinh(q), np.cosh(q) / self.a

    def place(self, x):
        return x


class CatenaryFlute(CurvedFlute):
    """A hanging chain: y = a (cosh(x / a) - 1), a the radius at its floor."""

    noun: ClassVar[str] = "a catenary flute"
    rank: ClassVar[int] = 25
    words: ClassVar[str] = "catenary"
    shares: ClassVar[Shares] = Shares(0.7, 0.84, 0.6)
    by_width: ClassVar[tuple[str, ...]] = ("floor_radius_mm",)
    shape: Literal["catenary"] = "catenary"
    floor_radius_mm: Annotated[float, FLOOR_RADIUS]

    def curve(self, size):
        return _Chain(self.floor_radius_mm, reach=2 * size)

    @classmethod
    def through(cls, width, depth, floor_radius):
        from scipy.optimize import brentq

        half = width / 2
        a = brentq(lambda a: a * (np.cosh(half / a) - 1) - depth, half / 20, 1e4)
        return {"floor_radius_mm": float(a)}
'''


SLIDE = '''
"""A jig whose arm sits on a slide across the bar."""

from __future__ import annotations

import math
from typing import Annotated, ClassVar, Literal

from gougeform.machine.jig import ClampedJig, Step
from gougeform.quantity import Quantity


class SlideJig(ClampedJig):
    """A slide square to the bar carries an arm along the bar, whose ball stands in a cup."""

    noun: ClassVar[str] = "a slide jig"
    rank: ClassVar[int] = 15
    pivot_noun: ClassVar[str] = "cup"
    loose: ClassVar[str] = "whose ball turns any way in its cup"
    fit: ClassVar[str] = "slide"
    kind: Literal["slide"] = "slide"
    slide_mm: Annotated[
        float,
        Quantity(
            "slide below the hinge", "how far the slide is let down, in mm", ge=-200, le=500, usual=(10, 90),
            span=(10, 90), step=0.5, how="Scale on the slide", search=(10, 120), setting="slide",
            called="the slide", by_hand=True,
        ),
    ]  # fmt: skip
    boom_mm: Annotated[
        float,
        Quantity(
            "boom", "from the slide back to the ball in mm", gt=0, le=500, usual=(30, 120), span=(30, 120), step=0.5,
            how="Rule along the boom", search=(20, 150), setting="boom", called="the boom",
        ),
    ]  # fmt: skip

    @property
    def pivot_thick_mm(self):
        return 4.0

    def pivot(self, section):
        from gougeform.machine.rig import Pivot

        along = self.projection_mm + self.hinge_back_mm + self.boom_mm
        return Pivot(float(along), float(section.y_floor + self.drop(section) + self.slide_mm))

    def across(self, contact):
        return contact

    def set_up(self, section, wheel, contact=0.0):
        import numpy as np

        from gougeform.machine.rig import FootRig

        pivot = self.pivot(section)
        ball = np.array([0.0, section.y_floor - pivot.above, -pivot.along])
        return FootRig(ball, self.at_rim(section, wheel, contact), pivot)

    def steps(self):
        help_ = f"boom {self.boom_mm:g} mm; {self.hinge_words}"
        return [*super().steps(), Step("Slide below the hinge", f"{self.slide_mm:g} mm", help_)]

    def marks(self, section):
        from gougeform.bar.marks import length

        hinge = self.drawn(section).hinge
        foot = hinge - [self.slide_mm, 0.0]
        return [
            *super().marks(section),
            length("jig.slide_mm", "slide, pin to boom", hinge, foot),
            length("jig.boom_mm", "boom, slide to ball", foot, foot - [0.0, self.boom_mm]),
        ]

    @classmethod
    def first(cls, clamp, *, rolls, belt):
        own = {"slide_mm": 58.0, "boom_mm": 69.0, "height_mm": -130.0, "nose_angle_deg": 35.0}
        return super().first(clamp, rolls=rolls, belt=belt) | own
'''


@pytest.fixture(scope="module")
def grown(tmp_path_factory):
    """A copy of the package with one more file, and a recipe that uses it."""
    root = tmp_path_factory.mktemp("grown")
    shutil.copytree(SOURCE, root / "sim" / "gougeform", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(PROFILES, root / "profiles")
    (root / "sim" / "gougeform" / "bar" / "flutes" / "catenary.py").write_text(CATENARY)
    (root / "sim" / "gougeform" / "machine" / "jigs" / "slide.py").write_text(SLIDE)
    (root / "mine.toml").write_text(
        'title = "Chain"\nbar = "round-10"\nwheel = "wheel-200"\njig = "foot-65"\n'
        '[flute]\nshape = "catenary"\nfloor_radius_mm = 4.0\nweb_mm = 6.5\nlength_mm = 60.0\n'
        '[[grind]]\nfrom = "fingernail"\n'
    )
    (root / "slid.toml").write_text(
        'title = "Slid"\nbar = "round-10"\nflute = "detail-round-10"\nwheel = "wheel-200"\n'
        '[jig]\nkind = "slide"\nprojection_mm = 65.0\nhinge_back_mm = 14.0\nhinge_drop_mm = 4.0\nclamp = "below"\n'
        "slide_mm = 57.85\nboom_mm = 68.94\nheight_mm = -130.0\n"
        '[[grind]]\nfrom = "fingernail"\nnose_angle_deg = 35.0\n[[grind]]\nnose_angle_deg = 30.0\nland_mm = 1.5\n'
    )
    (root / "slid-study.toml").write_text(
        'recipe = "slid.toml"\noutputs = ["nose_angle_deg", "wing_angle_deg.50"]\n'
        '[[vary]]\nfield = "jig.slide_mm"\nvalues = [55.0, 60.0]\n'
    )
    (root / "pairs.csv").write_text("rim_distance_mm,nose_deg\n100,33.0\n110,36.6\n120,40.3\n")
    (root / "study.toml").write_text(
        'recipe = "mine.toml"\noutputs = ["nose_angle_deg", "cheek_width_mm.5"]\n'
        '[[vary]]\nfield = "flute.floor_radius_mm"\nvalues = [3.8, 4.2]\n'
    )
    return root


def run(root, *words, code=None):
    begin = ["-c", code] if code else ["-m", "gougeform.command", *words]
    done = subprocess.run(
        [sys.executable, "-P", *begin],
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root / "sim")},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, (words, done.stderr[-2000:])
    return done.stdout


@pytest.mark.parametrize(
    "words",
    [
        ("grind", "mine.toml", "--no-picture", "--json"),
        ("settings", "mine.toml", "--want", "nose=33", "--json"),
        ("gauge", "angle", "mine.toml", "--json"),
        ("card", "mine.toml", "--json"),
        ("start", "first.toml", "--flute", "catenary", "--json"),
        ("study", "study.toml", "--workers", "1", "--json"),
        ("reach", "mine.toml", "--work", "cylinder", "--places", "4", "--no-cove", "--no-picture", "--json"),
        ("transfer", "mine.toml", "--to", "wheel=150", "--json"),
    ],
    ids=lambda words: words[0],
)
def test_a_flute_added_as_one_file_works_in(words, grown):
    said = json.loads(run(grown, *words))
    assert said
    if words[0] == "grind":
        assert said["nose_angle_deg"] == pytest.approx(35.0, abs=1e-6)
    if words[0] == "start":
        assert 'shape = "catenary"' in (grown / "first.toml").read_text()


def test_it_is_on_the_page_and_at_the_front_door(grown):
    code = (
        "import gougeform as gf; from gougeform.workbench.knobs import knobs;"
        "r = gf.load('mine.toml').recipe; print(sum(k['field'] == 'flute.floor_radius_mm' for g in knobs(r.table)"
        " for k in g['knobs']), gf.CatenaryFlute.noun)"
    )
    assert run(grown, code=code).split(maxsplit=1) == ["1", "a catenary flute\n"]


SLIDE_ASKED = {
    "grind": ("slid.toml", "--no-picture"),
    "settings": ("slid.toml", "--want", "nose=33", "--want", "wing50=45", "--free", "distance", "--free", "slide"),
    "transfer": ("slid.toml", "--to", "wheel=150"),
    "relief": ("slid.toml", "--land", "1.5"),
    "tolerance": ("slid.toml",),
    "hone": ("slid.toml", "--wheel", "180"),
    "calibrate": ("slid.toml", "pairs.csv", "--unknown", "slide"),
    "match": ("slid.toml", "--old", "finial-round-10-fingernail-foot"),
    "gauge": ("spacer", "slid.toml"),
    "card": ("slid.toml",),
    "start": ("slide.toml", "--jig", "slide"),
    "study": ("slid-study.toml", "--workers", "1"),
}


@pytest.mark.parametrize("command", SLIDE_ASKED)
def test_a_jig_added_as_one_file_works_in(command, grown):
    said = json.loads(run(grown, command, *SLIDE_ASKED[command], "--json"))
    assert said
    if command == "grind":
        assert said["nose_angle_deg"] == pytest.approx(35.0, abs=1e-6)
    if command == "start":
        text = (grown / "slide.toml").read_text()
        assert "# How far the slide is let down, in mm. Scale on the slide. Usual: 10 to 90." in text
        assert "slide_mm = 58.0" in text
        assert (grown / "slide-jig.png").stat().st_size > 1000
    if command == "transfer":
        assert all(row["straight_distance_mm"] == pytest.approx(row["rim_distance_mm"] - 4.0) for row in said["wear"])


def test_the_jig_grinds_what_a_jig_with_its_ball_in_the_same_place_does(grown):
    """Only where the ball stands counts: the foot jig of the library with arm and cant to that place is the same."""
    code = (
        "import json, math, gougeform as gf; slid = gf.load('slid.toml'); jig = slid.recipe.jig;"
        "arm = math.hypot(jig.boom_mm, jig.slide_mm), math.degrees(math.atan2(jig.slide_mm, jig.boom_mm));"
        "names = 'projection_mm', 'hinge_back_mm', 'hinge_drop_mm', 'clamp', 'height_mm';"
        "kept = {name: getattr(jig, name) for name in names};"
        "foot = slid.with_({'jig': {'kind': 'foot', 'arm_length_mm': arm[0], 'arm_cant_deg': arm[1], **kept}});"
        "print(json.dumps([list(one.grind().measures.edge.wedge) for one in (slid, foot)]))"
    )
    one, other = json.loads(run(grown, code=code))
    assert one == pytest.approx(other, abs=1e-9)


def test_the_jig_is_drawn_and_told(grown):
    code = (
        "import json, gougeform as gf; from gougeform.workbench.knobs import knobs;"
        "from gougeform.workbench.grinder import grinder_view; from gougeform.card.content import content;"
        "tool = gf.load('slid.toml'); ground = tool.grind(); view = grinder_view(ground.measures.gouge);"
        "print(json.dumps([[k['field'] for g in knobs(tool.recipe.table) for k in g['knobs']],"
        " [size['name'] for size in view['sizes']], len(view['jig']),"
        " [step.what for step in content(ground.measures).steps], content(ground.measures).tolerance]))"
    )
    fields, sizes, lines, steps, tolerance = json.loads(run(grown, code=code))
    assert {"jig.slide_mm", "jig.boom_mm"} <= set(fields)
    assert sizes == ["projection", "rim to cup centre", "rim to cup surface", "centre to cup", "cup to nose"]
    assert lines == 1
    assert "Slide below the hinge" in steps
    assert "Rim to cup, surface" in steps
    assert "slide ±" in tolerance
