"""What a number means to a person: its unit, its label, what is allowed and usual, and where the ruler goes.

A field of a recipe is `Annotated[float, Quantity("flute radius", "radius of the flute", gt=0, le=1000, …)]`; limits,
sliders, search bounds, starter hints and error messages all read it there. A measured number names its `Unit` and is
printed by `shown`: there is no other formatter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import UnionType
from typing import Any, Union, get_args, get_origin

NOTHING = "–"
"""Stands where a number has no meaning: no bevel meets that plane, no relief there, no such setting."""


@dataclass(frozen=True)
class Unit:
    """A unit: how names end that have it, how it is written behind a number, in words, and digits after the point."""

    ending: str
    sign: str
    word: str
    digits: int


UNITS = (
    Unit("_g_cm3", " g/cm³", " g/cm³", 2),
    Unit("_n_mm", " N/mm", " N/mm", 1),
    Unit("_m_s", " m/s", " m/s", 1),
    Unit("_mm3", " mm³", " mm³", 1),
    Unit("_mm2", " mm²", " mm²", 2),
    Unit("_mm4", " mm⁴", " mm⁴", 1),
    Unit("_gpa", " GPa", " GPa", 0),
    Unit("_deg", "°", " degrees", 2),
    Unit("_mm", " mm", " mm", 2),
    Unit("_hz", " Hz", " Hz", 0),
    Unit("_g", " g", " g", 2),
    Unit("_n", " N", " N", 1),
    Unit("_s", " s", " s", 2),
    Unit("_percent", " %", " per cent", 1),
    Unit("rpm", " rpm", " turns a minute", 0),
)
PLAIN = Unit("", "", "", 3)
"""Of a share or a count."""
MM, DEG, MM3 = (next(unit for unit in UNITS if unit.ending == ending) for ending in ("_mm", "_deg", "_mm3"))


def unit_of(name: str) -> Unit:
    """The unit a field's, key's or column's name ends in; a place behind a point (`wing_length_mm.left`) counts not.

    >>> unit_of("wing_angle_deg.50").sign, unit_of("jig.projection_mm").sign
    ('°', ' mm')
    """
    parts = reversed(name.split("."))
    return next((unit for part in parts for unit in UNITS if part.endswith(unit.ending)), PLAIN)


def shown(value: float | None, unit: Unit = PLAIN, digits: int | None = None) -> str:
    """A number with its unit for a person; `NOTHING` for None and what is not finite. No minus before a zero.

    >>> shown(35.0, DEG), shown(-0.0001, MM), shown(None, MM)
    ('35.00°', '0.00 mm', '–')
    """
    if value is None or not math.isfinite(value):
        return NOTHING
    places = unit.digits if digits is None else digits
    return f"{round(float(value), places) + 0.0:.{places}f}{unit.sign}"


@dataclass(frozen=True)
class Quantity:
    """Metadata of a number in a recipe, in the unit its name ends in.

    label: two or three words, for a knob or a row. description: what it is, one clause, for messages and help.
    gt, ge, lt, le: what is allowed at all. usual: what a workshop meets (common practice), to notice a slip.
    span: what a slider covers and a search looks through; the usual range where not given. step: what a hand can set.
    how: where ruler, calliper or protractor go, one sentence without its full stop.
    search: how far a search for settings looks where no bounds are given; None for a field nobody searches.
    setting: the plain name under which a person turns it ("cant"), the same on every jig. called: the same in a
    sentence ("the cant"). ways: what turning it up and down is called. by_hand: whether a person sets it
    anew for each tool; any other setting is a measure of the jig, taken once.
    """

    label: str
    description: str
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    usual: tuple[float, float] | None = None
    span: tuple[float, float] | None = None
    step: float = 0.0
    how: str = ""
    search: tuple[float, float] | None = None
    setting: str = ""
    called: str = ""
    ways: tuple[str, str] = ("more", "less")
    by_hand: bool = False

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """A finite number within the limits, or a tuple of such, or None where the annotation has it.

        Texts and true or false are refused.
        """
        from pydantic_core import core_schema

        limits = {key: getattr(self, key) for key in ("gt", "ge", "lt", "le") if getattr(self, key) is not None}
        number = core_schema.float_schema(strict=True, allow_inf_nan=False, **limits)
        ways = get_args(source) if get_origin(source) in (Union, UnionType) else (source,)
        whole = next(way for way in ways if way is not type(None))
        several = get_args(whole) if get_origin(whole) is tuple else ()
        schema = core_schema.tuple_schema([number] * len(several)) if several else number
        return core_schema.nullable_schema(schema) if type(None) in ways else schema

    @property
    def least(self) -> float:
        """The lower end of what is allowed, itself allowed or not; -inf where there is none."""
        return next((end for end in (self.gt, self.ge) if end is not None), -math.inf)

    @property
    def most(self) -> float:
        """The upper end of what is allowed; inf where there is none."""
        return next((end for end in (self.lt, self.le) if end is not None), math.inf)

    def allowed(self, unit: Unit) -> str:
        """What it may be, in words.

        >>> Quantity("d", "diameter", gt=0, le=200).allowed(MM)
        'a number above 0 and at most 200 mm'
        """
        words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
        parts = [f"{word} {getattr(self, key):.12g}" for key, word in words.items() if getattr(self, key) is not None]
        return "a number " + " and ".join(parts) + unit.word

    def within(self, low: float, high: float) -> tuple[float, float]:
        """Both ends moved to where the field is allowed, off an end that is not itself allowed by one step.

        >>> Quantity("roll", "roll", gt=0, le=180, step=0.5).within(-10, 400)
        (0.5, 180.0)
        """
        least = self.least + (self.step if self.gt is not None else 0.0)
        most = self.most - (self.step if self.lt is not None else 0.0)
        return max(low, least), min(high, float(most))


@dataclass(frozen=True)
class Words:
    """Metadata of a field that is no number: a text, a choice, a list of points. See `Quantity`.

    allowed: what it may be, in words, where the type alone does not say it.
    """

    label: str
    description: str
    how: str = ""
    allowed: str = ""
