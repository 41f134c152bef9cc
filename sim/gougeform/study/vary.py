"""What varies in a study: a field, or several together, over a range or a list; read from a [[vary]] table."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from gougeform.errors import InputError
from gougeform.part import Table
from gougeform.read.complaints import shown, unknown_field
from gougeform.read.library import is_path
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import load
from gougeform.recipe.references import Place, fill, locate
from gougeform.recipe.sections import LIBRARY_OF
from gougeform.study.question import PREFIX, meaning

_VARY_KEYS = ["field", "fields", "from", "to", "steps", "values"]
RECIPE = "recipe"
"""The field that stands for the whole base recipe, to compare tools of the library."""


@dataclass(frozen=True)
class Vary:
    """What one column, or several that change together, runs over: a range, or rows of values.

    values: one row each, one entry a field, as they were written; meant: the same with references replaced by what they
    mean. steps is the number of grid points of a range, 0 where the sample does not ask for a grid.
    """

    fields: tuple[str, ...]
    low: float = math.nan
    high: float = math.nan
    steps: int = 0
    values: tuple[tuple[Any, ...], ...] = ()
    meant: tuple[tuple[Any, ...], ...] = ()

    @property
    def is_range(self) -> bool:
        """A range of numbers, not a list."""
        return not self.values

    @property
    def count(self) -> int:
        """Points on a grid's axis."""
        return self.steps if self.is_range else len(self.values)


def read_vary(table: Table, at: int, sample: str, place: Place) -> Vary:
    """The [[vary]] table with that number. Raises InputError."""
    where = f"vary.{at}"
    for key in table:
        if key not in _VARY_KEYS:
            raise unknown_field(f"{where}.{key}", key, _VARY_KEYS, "what varies")
    if ("field" in table) == ("fields" in table):
        raise InputError(
            f"{where}.field", "exactly one of field and fields is needed", "give one field, or a list of fields"
        )
    names = [table["field"]] if "field" in table else table["fields"]
    if not isinstance(names, list) or not names or not all(isinstance(one, str) and one for one in names):
        raise InputError(
            f"{where}.fields", f"given {shown(names)}, allowed are names of fields", 'as in "jig.projection_mm"'
        )
    if "values" in table:
        return _listed(table, where, tuple(names), "fields" in table, place)
    if len(names) > 1 or "from" not in table or "to" not in table or sample == "list":
        raise InputError(
            where,
            "needs values" if len(names) > 1 or sample == "list" else "needs either values, or from and to",
            "give a list of values" + ("" if sample == "list" else ", or one field with from and to"),
        )
    low, high = number(table["from"], f"{where}.from"), number(table["to"], f"{where}.to")
    if not low < high:
        raise InputError(
            f"{where}.to", f"given {high:g}, allowed is above from = {low:g}", "swap them, or widen the range"
        )
    if sample != "grid" and "steps" in table:
        raise InputError(
            f"{where}.steps",
            f'has no meaning with sample = "{sample}"',
            "remove it; points says how many tools there are",
        )
    if sample == "grid" and "steps" not in table:
        raise InputError(f"{where}.steps", "is missing: a grid needs the number of values", "add steps, 2 or more")
    steps = whole_number(table["steps"], f"{where}.steps", 2, 10**12) if sample == "grid" else 0
    return Vary(tuple(names), low, high, steps)


def _listed(table: Table, where: str, names: tuple[str, ...], several: bool, place: Place) -> Vary:
    for key in ("from", "to", "steps"):
        if key in table:
            raise InputError(f"{where}.{key}", "is given beside values", "keep the range or the list, not both")
    rows = table["values"]
    if not isinstance(rows, list) or not rows:
        raise InputError(f"{where}.values", f"given {shown(rows)}, allowed is a list of values", "add values")
    if several and not all(isinstance(row, list) and len(row) == len(names) for row in rows):
        raise InputError(
            f"{where}.values", f"allowed are lists of {len(names)} values, one for each of fields", "complete the rows"
        )
    whole = tuple(tuple(row) if several else (row,) for row in rows)
    for i, row in enumerate(whole):
        for one in row:
            if not isinstance(one, int | float | str) or not (isinstance(one, str) or abs(one) < 1e300):
                raise InputError(
                    f"{where}.values.{i}", f"given {shown(one)}, allowed is a number or a text", "change that value"
                )
    meant = tuple(
        tuple(_meaning(name, one, f"{where}.values.{i}", place) for name, one in zip(names, row, strict=True))
        for i, row in enumerate(whole)
    )
    return Vary(names, values=whole, meant=meant)


def _meaning(name: str, value: Any, where: str, place: Place) -> Any:
    """What a value stands for: a recipe, a library table, or itself."""
    if name.startswith(PREFIX):
        return meaning(name.removeprefix(PREFIX), value, where, place)
    if not isinstance(value, str):
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else value
    if name == RECIPE:
        return base_recipe(value, place)
    parts = name.split(".")
    section = parts[-1] if not (parts[0] == "grind" and len(parts) == 2) else "grind"
    if section not in LIBRARY_OF or section == "older":
        return value
    return fill(value, section, where, place).table


def ends(one: Vary) -> list[dict[str, Any]]:
    """The changes at the ends of a range, or for every value of a list; of numbers the smallest and the largest."""
    if one.is_range:
        return [{one.fields[0]: one.low}, {one.fields[0]: one.high}]
    if len(one.fields) == 1 and all(isinstance(row[0], float) for row in one.meant):
        numbers = [row[0] for row in one.meant]
        return [{one.fields[0]: min(numbers)}, {one.fields[0]: max(numbers)}]
    return [dict(zip(one.fields, row, strict=True)) for row in one.meant]


def base_recipe(value: object, place: Place) -> Recipe:
    """The recipe of a name or path in a study file. Raises InputError."""
    if not isinstance(value, str):
        given = "is missing" if value is None else f"given {shown(value)}"
        raise InputError(
            "recipe", f"{given}, allowed is the name or path of a recipe", 'write recipe = "name" in the study'
        )
    return load(locate(value, "recipes", "recipe", place)) if is_path(value) else load(value)


def number(value: object, where: str) -> float:
    """A value that must be a number. Raises InputError."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e300:
        raise InputError(where, f"given {shown(value)}, allowed is a number", "change it")
    return float(value)


def whole_number(value: object, where: str, least: int, most: int) -> int:
    """A value that must be a whole number within limits. Raises InputError."""
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise InputError(where, f"given {shown(value)}, allowed is a whole number from {least} to {most}", "change it")
    return value
