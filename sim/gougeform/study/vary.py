"""What varies in a study: a field, or several together, over a range or a list; read from a [[vary]] table."""

from __future__ import annotations

import math
from collections.abc import Sequence
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
from gougeform.study.question import PREFIX, meaning, number

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

    def at(self, place: float | int, *, meant: bool = True) -> dict[str, Any]:
        """The fields at a place in the range, or in a row of the list; names as what they mean, or as they stand."""
        if self.is_range:
            return {self.fields[0]: place}
        return dict(zip(self.fields, (self.meant if meant else self.values)[int(place)], strict=True))

    @property
    def ends(self) -> list[dict[str, Any]]:
        """The fields at both ends of a range or of a list of numbers; of other lists all of it."""
        if self.is_range:
            return [self.at(self.low), self.at(self.high)]
        if len(self.fields) == 1 and all(isinstance(row[0], float) for row in self.meant):
            numbers = [row[0] for row in self.meant]
            return [{self.fields[0]: min(numbers)}, {self.fields[0]: max(numbers)}]
        return [self.at(k) for k in range(len(self.values))]


def wrong(field: str, value: object, allowed: str, hint: str = "change it") -> InputError:
    """The error for a value that will not do, or for none (None)."""
    return InputError(field, f"{'is missing' if value is None else f'given {shown(value)}'}, allowed {allowed}", hint)


def known(table: Table, keys: Sequence[str], noun: str, where: str = "") -> None:
    """Raise InputError for a key that such a table does not have."""
    for key in table:
        if key not in keys:
            raise unknown_field(f"{where}.{key}" if where else key, key, list(keys), noun)


def whole_number(value: object, where: str, least: int, most: int, hint: str = "change it") -> int:
    """A value that must be a whole number within limits. Raises InputError."""
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise wrong(where, value, f"is a whole number from {least} to {most}", hint)
    return value


def read_vary(table: Table, where: str, sample: str, place: Place) -> Vary:
    """The [[vary]] table that stands there. Raises InputError."""
    known(table, ("field", "fields", "from", "to", "steps", "values"), "what varies", where)
    if ("field" in table) == ("fields" in table):
        hint = "give one field, or a list of fields"
        raise InputError(f"{where}.field", "exactly one of field and fields is needed", hint)
    names = [table["field"]] if "field" in table else table["fields"]
    if not isinstance(names, list) or not names or not all(isinstance(one, str) and one for one in names):
        raise wrong(f"{where}.fields", names, "are names of fields", 'as in "jig.projection_mm"')
    if "values" in table:
        return _listed(table, where, tuple(names), place)
    if len(names) > 1 or sample == "list":
        raise InputError(where, "needs values", "give a list of values")
    if "from" not in table or "to" not in table:
        raise InputError(where, "needs either values, or from and to", "give a list of values, or from and to")
    low, high = number(table["from"], f"{where}.from"), number(table["to"], f"{where}.to")
    if not low < high:
        raise wrong(f"{where}.to", high, f"is above from = {low:g}", "swap them, or widen the range")
    if sample == "grid":
        hint = "a grid needs the number of values: give steps, 2 or more"
        return Vary(tuple(names), low, high, whole_number(table.get("steps"), f"{where}.steps", 2, 10**12, hint))
    if "steps" in table:
        hint = "remove it; points says how many tools there are"
        raise InputError(f"{where}.steps", f'has no meaning with sample = "{sample}"', hint)
    return Vary(tuple(names), low, high)


def _listed(table: Table, where: str, names: tuple[str, ...], place: Place) -> Vary:
    for key in ("from", "to", "steps"):
        if key in table:
            raise InputError(f"{where}.{key}", "is given beside values", "keep the range or the list, not both")
    rows, where = table["values"], f"{where}.values"
    if not isinstance(rows, list) or not rows:
        raise wrong(where, rows, "is a list of values", "add values")
    if "field" in table:
        rows = [[row] for row in rows]
    elif not all(isinstance(row, list) and len(row) == len(names) for row in rows):
        raise InputError(
            where, f"allowed are lists of {len(names)} values, one for each of fields", "complete the rows"
        )
    for i, row in enumerate(rows):
        for one in row:
            if not isinstance(one, int | float | str) or not (isinstance(one, str) or abs(one) < 1e300):
                raise wrong(f"{where}.{i}", one, "is a number or a text", "change that value")
    meant = tuple(
        tuple(_meaning(name, one, f"{where}.{i}", place) for name, one in zip(names, row, strict=True))
        for i, row in enumerate(rows)
    )
    return Vary(names, values=tuple(map(tuple, rows)), meant=meant)


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


def base_recipe(value: object, place: Place) -> Recipe:
    """The recipe of a name or path in a study file. Raises InputError."""
    if not isinstance(value, str):
        raise wrong("recipe", value, "is the name or path of a recipe", 'write recipe = "name" in the study')
    return load(locate(value, "recipes", "recipe", place)) if is_path(value) else load(value)
