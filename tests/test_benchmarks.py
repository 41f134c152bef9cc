"""The benchmark script runs, with toy sizes, and writes what it says; its figures are not judged here."""

from __future__ import annotations

import csv
import json
import math

import numpy as np

import benchmarks
from bench.timing import Row, Times, row, with_ratios
from gougeform.grind.ground import Ground


def test_it_runs_and_writes(tmp_path, capsys):
    assert benchmarks.main(["--quick", "-o", str(tmp_path)]) == 0
    shown = capsys.readouterr().out
    with (tmp_path / "benchmarks.csv").open() as file:
        lines = list(csv.DictReader(file))
    groups = [line["group"] for line in lines]
    assert {"edge", "mesh", "settings, foot jig"} <= set(groups)
    for number, line in enumerate(lines):
        first = number == groups.index(line["group"])
        assert float(line["cpu_s"]) >= 0
        assert math.isfinite(float(line["clock_s"]))
        assert (line["ratio"] == "") == first  # ours comes first, and the others are held against it
        assert line["what"] in shown
    ours = next(line for line in lines if line["group"] == "mesh")
    assert float(ours["error"]) < 0.01  # our own mesh keeps its tolerance, toy sizes or not
    told = json.loads((tmp_path / "benchmarks.json").read_text())
    assert len(told["rows"]) == len(lines)
    assert len(told["growth"]) == 8
    assert all(len(one["sizes"]) == len(one["cpu_s"]) >= 2 for one in told["growth"])
    assert (tmp_path / "growth.png").read_bytes().startswith(b"\x89PNG")


def test_ratios_are_against_the_first_of_a_group():
    rows = [row(g, w, "", Times(t, 0.0, 1)) for g, w, t in (("a", "x", 2.0), ("b", "y", 1.0), ("a", "z", 5.0))]
    assert [one.ratio for one in with_ratios(rows)] == [None, None, 2.5]
    assert rows[0].scaled(3, extrapolated=True) == Row("a", "x", "", 6.0, 0.0, 1, extrapolated=True)


def test_an_error_is_seen(tool):
    """A mesh moved by 0.1 mm along the bar is off by that times the cosine of its slope."""
    from bench.meshes import off_surface
    from gougeform.mesh.solid import build_solid

    gouge = tool("foot")
    assert isinstance(gouge.ground, Ground)
    solid = build_solid(gouge, 0.1)
    corner = solid.vertices[solid.faces[solid.surface == 0]]
    assert off_surface(gouge, corner) < 0.1
    assert 0.03 < off_surface(gouge, corner + np.array([0.0, 0.0, 0.1])) - off_surface(gouge, corner) < 0.1
