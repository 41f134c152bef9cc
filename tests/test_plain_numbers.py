"""What a person prints or pastes from Python are plain floats: `np.float64(35.0)` is no number to a spreadsheet."""

import csv

import numpy as np

from gougeform.command import main
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.recipe.reading import load
from gougeform.settings.bench import bench_of
from gougeform.settings.ruler import machine


def numpy_scalars(value, name):
    """Names of NumPy's own scalars in a value, looked for in dicts, lists and tuples too."""
    if isinstance(value, np.generic):
        return [name]
    if isinstance(value, dict):
        return [found for key, one in value.items() for found in numpy_scalars(one, f"{name}[{key!r}]")]
    if isinstance(value, list | tuple):
        return [found for i, one in enumerate(value) for found in numpy_scalars(one, f"{name}[{i}]")]
    return []


def public(thing, name):
    """Every public attribute of an object that is not a method."""
    values = {one: getattr(thing, one) for one in dir(thing) if not one.startswith("_")}
    return [found for one, v in values.items() if not callable(v) for found in numpy_scalars(v, f"{name}.{one}")]


def test_public_numbers_are_plain_floats():
    tool = measure(shape(load("finial-round-10-relief-foot")))
    bench = bench_of(tool.gouge.recipe)
    found = [*public(tool, "measures"), *public(tool.edge, "edge"), *public(bench, "bench")]
    for one in tool.gouge.settings:
        found += public(one, "setting")
    for jig in tool.gouge.jigs:
        found += public(jig.pivot, "pivot")
    for side in (-1, 1):
        found += numpy_scalars([tool.edge.wing_length(side), tool.wing_angle(side)], "wing")
    found += numpy_scalars([result(tool, []), machine(bench, tool.gouge.settings[0])], "result")
    assert found == []


def test_tolerances_are_written_as_numbers(tmp_path, capsys):
    assert main(["tolerance", "finial-round-10-fingernail-foot", "-o", str(tmp_path)]) == 0
    capsys.readouterr()
    with (tmp_path / "tolerance.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    numbers = {key: [float(row[key]) for row in rows] for key in rows[0] if key not in ("setting", "unit")}
    assert {row["setting"]: float(row["value"]) for row in rows}["projection"] == 65.0
    assert np.isfinite(list(numbers.values())).all()
