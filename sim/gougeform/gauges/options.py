"""Options of gauges: parameters with their limits, as a command line and a page ask for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Annotated, Any, Literal, Self, get_args, get_origin, get_type_hints

from gougeform.errors import InputError
from gougeform.quantity import Quantity, Unit, Words, unit_of


@dataclass(frozen=True)
class Option:
    """One option. key: its field's name, with the unit. meaning: label, description, limits. usual: its default.

    choices: the words it may be, if it is a word. several: any number of numbers; pair: two of them.
    """

    key: str
    meaning: Quantity | Words
    usual: Any
    choices: tuple[str, ...] = ()
    several: bool = False
    pair: bool = False

    @property
    def unit(self) -> Unit:
        """What its numbers are in."""
        return unit_of(self.key)

    @property
    def name(self) -> str:
        """The parameter as errors and the command line call it: the key without its unit."""
        return self.key.removesuffix(self.unit.ending)

    def checked(self, value: Any) -> Any:
        """The value, lists made tuples and whole numbers floats. Raises InputError where it is not allowed."""
        if not (self.several or self.pair):
            return self._one(value)
        if not isinstance(value, list | tuple) or (self.pair and len(value) != 2):
            raise self._wrong(value)
        return tuple(self._one(one) for one in value)

    def _one(self, value: Any) -> Any:
        q = self.meaning
        if not isinstance(q, Quantity):
            if value not in (self.choices or (True, False)) or (not self.choices and not isinstance(value, bool)):
                raise self._wrong(value)
            return value
        if isinstance(value, bool) or not isinstance(value, int | float) or not q.least <= value <= q.most:  # or NaN
            raise self._wrong(value)
        return float(value)

    def _wrong(self, value: Any) -> InputError:
        from gougeform.read.complaints import shown

        q, allowed = self.meaning, ", ".join(self.choices) or "true or false"
        if isinstance(q, Quantity):
            allowed = ("two numbers, each " if self.pair else "") + q.allowed(self.unit)
        given = f"{value:g}" if isinstance(value, float) else shown(value)
        return InputError(self.name, f"given {given}, allowed is {allowed}", q.how or f"change `{self.name}`")


@dataclass(frozen=True)
class Options:
    """Options as fields, `foot_mm: Annotated[float, Quantity(…)] = 8.0`, or of Words for a word or a switch.

    Making one with a value that is not allowed raises InputError with the parameter's name.
    """

    def __post_init__(self) -> None:
        for option in self.options():
            object.__setattr__(self, option.key, option.checked(getattr(self, option.key)))

    @classmethod
    def options(cls) -> tuple[Option, ...]:
        """What there is to choose."""
        return _options(cls)  # type: ignore[arg-type]

    @classmethod
    def of(cls, given: Mapping[str, Any]) -> Self:
        """With its own among the given values by key, the others as usual. Raises InputError."""
        return cls(**{option.key: given[option.key] for option in cls.options() if option.key in given})


@lru_cache
def _options(model: type[Any]) -> tuple[Option, ...]:
    hints, out = get_type_hints(model, include_extras=True), []
    for one in fields(model):
        kind, meaning = get_args(hints[one.name])
        inner = get_args(kind)
        choices = inner if get_origin(kind) is Literal else ()
        several = get_origin(kind) is tuple and inner[1] is Ellipsis
        pair = get_origin(kind) is tuple and not several
        out.append(Option(one.name, meaning, one.default, choices, several, pair))
    return tuple(out)


_FIT = Quantity("fit", "gap on faces that go round a part", ge=0, le=1, how="0.1 to 0.3 suits most printers")
_SHRINKS = "1.003 makes good a shrinkage of 0.3 %"
_SCALE = Quantity("scale", "factor on all lengths, against shrinkage", ge=0.9, le=1.1, how=_SHRINKS)
_CHAMFER = Quantity("chamfer", "chamfer at the bed", ge=0, le=0.8, how="0.4 suits most printers, 0 leaves it out")
_TEXT = Quantity("text", "height of capital letters", ge=3, le=8, how="4 is legible and leaves the gauges small")
_USES = "give the width and depth your printer can use"
_BED = Quantity("bed", "width and depth of the printer's bed", ge=60, le=2000, how=_USES)


@dataclass(frozen=True)
class Printing(Options):
    """How gauges are printed.

    fit_mm: gap on every face that goes round a part (rod, foot, edge); distances between faces stay nominal.
    scale: every length is multiplied by it, against shrinkage. chamfer_mm: 45° at the bed, against the first layer's
    bulge. text_mm: cap height. raised: text stands up instead of being sunk. bed_mm: width and depth of the bed.
    """

    fit_mm: Annotated[float, _FIT] = 0.2
    scale: Annotated[float, _SCALE] = 1.0
    chamfer_mm: Annotated[float, _CHAMFER] = 0.4
    text_mm: Annotated[float, _TEXT] = 4.0
    raised: Annotated[bool, Words("raised text", "raised text instead of sunk")] = False
    bed_mm: Annotated[tuple[float, float], _BED] = (220.0, 220.0)
