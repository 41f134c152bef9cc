"""Trials: a new kind is one file. A copy of the package gets a flute that is a catenary, and everything knows it."""

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


@pytest.fixture(scope="module")
def grown(tmp_path_factory):
    """A copy of the package with one more file, and a recipe that uses it."""
    root = tmp_path_factory.mktemp("grown")
    shutil.copytree(SOURCE, root / "sim" / "gougeform", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(PROFILES, root / "profiles")
    (root / "sim" / "gougeform" / "bar" / "flutes" / "catenary.py").write_text(CATENARY)
    (root / "mine.toml").write_text(
        'title = "Chain"\nbar = "round-10"\nwheel = "wheel-200"\njig = "foot-65"\n'
        '[flute]\nshape = "catenary"\nfloor_radius_mm = 4.0\nweb_mm = 6.5\nlength_mm = 60.0\n'
        '[[grind]]\nfrom = "fingernail"\n'
    )
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
