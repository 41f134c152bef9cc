"""What a measured quantity is: its key, its words, its unit, how exact it is, what it costs and how it is taken.

Every quantity is one `Measured` in one of the lists that `gougeform.measure.quantities` finds. The JSON of a run, the
printed tables, the rows of the page, the columns of a study and the comparison are views of those lists. A quantity
that is measured at several places has one flat name for each, key.place (`wing_angle_deg.50`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from gougeform.quantity import NOTHING, Unit, shown, unit_of

TABLES, PAGE, RESULTS = "tables", "page", "results"
"""Who is told: all; all but the printed table of sizes, since another one has it; programs alone (JSON and studies)."""

T = TypeVar("T")


class Kept:
    """Something that many quantities are taken from: what several of them need is computed once."""

    def once(self, name: str, make: Callable[[], T]) -> T:
        """What `make` gives when it is first asked for under this name; the same again later."""
        kept: dict[str, T] = self.__dict__.setdefault("_kept", {})
        if name not in kept:
            kept[name] = make()
        return kept[name]


@dataclass(frozen=True)
class Measured:
    """A quantity measured on a tool.

    key: unit last, words by underscores; a dot in it makes a table in a table of the JSON. label: two or three words.
    what: one clause, what exactly that is. take: the number from a tool, with places one for each of them; None where
    it has no meaning for the tool (then it is left out), NaN where it has and there is none (null in JSON).
    group: what a study can ask for by one word. error: which of the tool's stated errors bounds it. cost_ms: time it
    takes beside the edge itself, so that nobody waits for what was not asked. places and at: where it is measured, and
    how that is said. digits: after the point, by default those of its unit. told: TABLES, PAGE or RESULTS.
    """

    key: str
    label: str
    take: Callable[[Any], Any]
    what: str
    group: str = "edge"
    error: str = "lengths_mm"
    cost_ms: float = 0.0
    places: tuple[str, ...] = ()
    at: str = "{}"
    digits: int | None = None
    told: str = TABLES

    @property
    def unit(self) -> Unit:
        """The unit its key ends in."""
        return unit_of(self.key)

    @property
    def after_point(self) -> int:
        """Digits after the point: its own, or those of its unit."""
        return self.unit.digits if self.digits is None else self.digits

    @property
    def columns(self) -> tuple[Column, ...]:
        """The quantity at each of its places, or it alone."""
        return tuple(Column(self, place) for place in self.places or ("",))

    def values(self, tool: Kept) -> tuple[float | None, ...]:
        """Its numbers on a tool, one for each column."""

        def taken() -> tuple[float | None, ...]:
            found = self.take(tool)
            if not self.places or found is None:
                found = (found,) * max(len(self.places), 1)
            return tuple(None if one is None else float(one) for one in found)

        return tool.once(self.key, taken)

    def shown(self, value: float | None) -> str:
        """A value of it for a person, with its unit.

        >>> Measured("land_mm", "land", lambda tool: 2.0, "edge to crease").shown(2)
        '2.00 mm'
        """
        return shown(value, self.unit, self.digits)

    def row(self, tool: Kept) -> tuple[str, str] | None:
        """Label and numbers of a printed row, all places in one, both sides once where alike; None for nothing."""
        cells = [self.shown(value) for value in self.values(tool)]
        if all(cell == NOTHING for cell in cells):
            return None
        if len(set(cells)) == 1 and len(self.places) == 2:  # both sides
            return self.label, cells[0]
        sign = self.unit.sign
        *first, last = cells
        label = f"{self.label} {self.at.format(', '.join(self.places))}" if self.places else self.label
        return label, ", ".join([*(cell.removesuffix(sign) for cell in first), last])


@dataclass(frozen=True)
class Column:
    """One number of a tool: a quantity, at one of its places where it has some."""

    of: Measured
    place: str = ""

    @property
    def name(self) -> str:
        """Its flat name, as studies, page and comparison call it."""
        return f"{self.of.key}.{self.place}" if self.place else self.of.key

    @property
    def label(self) -> str:
        """Its words for a person."""
        return f"{self.of.label} {self.of.at.format(self.place)}" if self.place else self.of.label

    def value(self, tool: Kept) -> float | None:
        """The number; None where it has no meaning for this tool, NaN where there is none."""
        values = self.of.values(tool)
        return values[self.of.places.index(self.place)] if self.place else values[0]

    def finite(self, tool: Kept) -> float | None:
        """The number, or None."""
        value = self.value(tool)
        return value if value is not None and math.isfinite(value) else None


@dataclass(frozen=True)
class Detail:
    """A part of a run's JSON that is no number: words, or a list of tables. take: None where it is left out."""

    key: str
    take: Callable[[Any], Any]


def columns(quantities: Iterable[Measured]) -> dict[str, Column]:
    """All columns of quantities by their names. Raises ValueError where two have the same."""
    found: dict[str, Column] = {}
    for column in (column for one in quantities for column in one.columns):
        if column.name in found:
            raise ValueError(f"two quantities are called {column.name}")
        found[column.name] = column
    return found


def nested(numbers: Mapping[str, T]) -> dict[str, Any]:
    """Flat names as tables in tables, as JSON has them.

    >>> nested({"edge_length_mm": 25.0, "wing_angle_deg.50": 45.0})
    {'edge_length_mm': 25.0, 'wing_angle_deg': {'50': 45.0}}
    """
    out: dict[str, Any] = {}
    for name, value in numbers.items():
        *tables, last = name.split(".")
        table = out
        for one in tables:
            table = table.setdefault(one, {})
        table[last] = value
    return out
