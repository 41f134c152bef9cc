"""Measured pairs for a calibration, from a CSV file: how jig and wheel were set, and the angles read on the tool."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from gougeform.bar.section import Section
from gougeform.errors import InputError
from gougeform.read.library import nearest
from gougeform.read.rows import read_text, rows
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import load
from gougeform.settings.bench import Bench, bench_of

_DISTANCES = ("rim_distance_mm", "straight_distance_mm", "centre_distance_mm")
_SETTINGS = ("projection_mm", "wheel_diameter_mm", "cant_deg", "wing_length_mm")
_MOST = 1000


@dataclass(frozen=True, eq=False)
class NosePair:
    """One measured pair. bench: how it was set (the jig's own lengths as in the recipe). read: angles (deg) by name.

    straight: whether the distance was measured to the rod's near surface.
    """

    bench: Bench
    read: dict[str, float]
    line: int


def read_pairs(path: str, recipe: Recipe) -> list[NosePair]:
    """The pairs in a CSV file with a line of column names.

    Columns: one of rim_distance_mm, straight_distance_mm (to the rod's near surface), centre_distance_mm; nose_deg;
    optional projection_mm, wheel_diameter_mm, cant_deg, wing_length_mm, wing50_deg and such, and recipe (another tool
    in the same jig). What a column does not say is as in the recipe. Raises InputError with file and line.
    """
    kept = [row for row in rows(read_text(Path(path)), path) if row and not row[0].lstrip().startswith("#")]
    if len(kept) < 2:
        raise InputError("", "has no pairs", "a line of column names, then one line for each pair", path)
    head = [name.strip().lower() for name in kept[0]]
    _check_head(head, path)
    if len(kept) - 1 > _MOST:
        raise InputError("", f"has {len(kept) - 1} pairs, the most allowed is {_MOST}", "leave some out", path)
    tools: dict[str, tuple[Recipe, Section]] = {}
    return [_pair(head, row, line, path, recipe, tools) for line, row in enumerate(kept[1:], start=2)]


def _check_head(head: list[str], path: str) -> None:
    known = [*_DISTANCES, *_SETTINGS, "nose_deg", "wing50_deg", "recipe"]
    if len(head) == 1 and ";" in head[0]:
        raise InputError(
            "line 1", "has semicolons between its names", "save it with commas, and points in numbers", path
        )
    for name in head:
        if name not in known and not re.fullmatch(r"wing\d{1,2}_deg", name):
            close = nearest(name, known)
            start = f"did you mean {close}? " if close else ""
            raise InputError(
                f"line 1, {name[:40]}", "is no column of pairs", f"{start}Allowed are {', '.join(known)}", path
            )
        if head.count(name) > 1:
            raise InputError(f"line 1, {name}", "stands there twice", "keep one of them", path)
    given = [name for name in _DISTANCES if name in head]
    if len(given) != 1:
        text = " and ".join(given) if given else "no distance"
        raise InputError("line 1", f"{text} given, allowed is exactly one of {', '.join(_DISTANCES)}", "name one", path)
    if "nose_deg" not in head:
        raise InputError("line 1", "nose_deg is missing", "add the nose angle read on the tool", path)


def _pair(
    head: list[str], row: list[str], line: int, path: str, recipe: Recipe, tools: dict[str, tuple[Recipe, Section]]
) -> NosePair:
    if len(row) != len(head):
        raise InputError(
            f"line {line}",
            f"has {len(row)} cells, the first line has {len(head)}",
            "add or remove; a number has a point and no comma: 104.5",
            path,
        )
    cells = dict(zip(head, (cell.strip() for cell in row), strict=True))
    name = cells.pop("recipe", "")
    if name not in tools:
        tool = recipe
        if name:
            other = load(name)
            # The other tool's bar and flute in this recipe's jig, on this recipe's wheel.
            tool = changed(recipe, {"bar": other.table["bar"], "flute": other.table["flute"], "older": None})
        tools[name] = tool, bench_of(tool).section
    tool, section = tools[name]
    bench = bench_of(tool, 0, section)
    numbers = {key: _number(cell, key, line, path) for key, cell in cells.items() if cell}
    read = {
        key.removesuffix("_deg"): numbers.pop(key) for key in list(numbers) if re.match(r"(nose|wing\d+)_deg$", key)
    }
    if "nose" not in read:
        raise InputError(f"line {line}, nose_deg", "is empty", "give the nose angle read on the tool", path)
    values = {"projection": numbers.get("projection_mm"), "cant": numbers.get("cant_deg"),
              "wing_length": numbers.get("wing_length_mm"), "wheel": numbers.get("wheel_diameter_mm")}  # fmt: skip
    for key, value in values.items():
        if value is not None and key not in bench.names:
            raise InputError(f"line {line}", f"{bench.noun} has no {key}", "remove that column", path)
    bench = bench.set({key: value for key, value in values.items() if value is not None})
    field = next((key for key in _DISTANCES if key in numbers), None)
    if field is None:
        raise InputError(f"line {line}", "the distance is empty", "give it", path)
    distance = numbers[field]
    if field == "centre_distance_mm":
        if bench.wheel.diameter_mm is None:
            raise InputError(f"line {line}, {field}", "a belt has no centre", "give rim_distance_mm", path)
        distance -= bench.wheel.diameter_mm / 2
    elif field == "straight_distance_mm":
        distance += bench.jig.pivot_thick_mm
    if not distance > 0:
        raise InputError(
            f"line {line}, {field}", f"given {numbers[field]:g}: that lies inside the wheel", "check it", path
        )
    for key, value in read.items():
        if not 1 <= value <= 179:
            raise InputError(
                f"line {line}, {key}_deg", f"given {value:g}, allowed is from 1 to 179 degrees", "check it", path
            )
    return NosePair(bench.set({"distance": distance}), read, line)


def _number(cell: str, name: str, line: int, path: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e6:
        raise InputError(
            f"line {line}, {name}", f'given "{cell[:40]}", allowed is a number', "write it like 12.5", path
        )
    return value
