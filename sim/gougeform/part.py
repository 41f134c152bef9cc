"""What every table of a recipe is: a frozen pydantic model that refuses what it does not know, and writes itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Self

from annotated_types import Len
from pydantic import AllowInfNan, BaseModel, ConfigDict, Field, Strict, model_validator

from gougeform.errors import InputError
from gougeform.quantity import Quantity, Words

Table = dict[str, Any]

Number = Annotated[float, Strict(), AllowInfNan(False)]
Coordinate = Annotated[Number, Field(ge=-200, le=200)]
Points = Annotated[tuple[tuple[Coordinate, Coordinate], ...], Len(3, 5000)]
"""A measured curve or outline: pairs (x, y) in mm."""
POINTS_ALLOWED = "a list of 3 to 5000 pairs [x, y], each a number from -200 to 200 mm"

SMALLEST = 1e-6
"""Of a number that must be above 0: of a mm it is a nanometre. Below it products of two vanish."""

SHARPEST = 1e-3
"""By how much a fullness must stay below 1, where the conic becomes the corner at its control point."""


class Part(BaseModel):
    """A table: unknown fields are refused, nothing changes once it is made, and it knows what was given.

    noun: what it is, with its article, for messages. tag: the field that says which kind it is, "" where there is one
    kind only. Making one with a field that is unknown, missing, of the wrong type or out of its range raises pydantic's
    ValidationError; fields that do not fit together raise InputError with the field's plain name.
    """

    # Base classes are never made and most kinds not in one run: each is built when it is first used.
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)
    noun: ClassVar[str] = "part"
    tag: ClassVar[str] = ""

    @classmethod
    def meaning(cls, name: str) -> Quantity | Words:
        """What a field means: its label, description, limits and how it is measured."""
        info = cls.model_fields[name]
        found = next((item for item in info.metadata if isinstance(item, Quantity | Words)), None)
        return found or Words(name, info.description or name.replace("_", " "))

    @classmethod
    def quantities(cls) -> Mapping[str, Quantity]:
        """The fields that are numbers, in order, with what each means."""
        return {name: q for name in cls.model_fields if isinstance(q := cls.meaning(name), Quantity)}

    def plain(self) -> Table:
        """What was given as a plain table that reads back equal: no default that was left out, no None."""
        out = {self.tag: getattr(self, self.tag)} if self.tag else {}
        given, fields = self.model_fields_set, type(self).model_fields
        for name, value in self.__dict__.items():
            if value is None or name not in fields or not (name in given or isinstance(value, Part)):
                continue
            plain = _plain(value)
            if plain != {} and not fields[name].exclude:
                out[name] = plain
        return out

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy with fields replaced and not checked; what was worked out from the old ones is forgotten."""
        copied = super().model_copy(update=update, deep=deep)
        if update:
            for name in copied.__dict__.keys() - type(self).model_fields.keys():
                del copied.__dict__[name]
        return copied

    @model_validator(mode="after")
    def _not_next_to_nothing(self) -> Self:
        for name, q in _delicate(type(self)):
            value = getattr(self, name)
            if not isinstance(value, float):
                continue
            if q.gt == 0 and 0 < value < SMALLEST:
                raise InputError(
                    name,
                    f"given {value:g}, which is next to nothing: allowed is {SMALLEST:g} or more",
                    f"change {name}: {q.description}",
                )
            if q.lt == 1 and 1 - SHARPEST < value < 1:
                raise InputError(
                    name,
                    f"given {value:.17g}, which is next to 1, a corner: allowed is {1 - SHARPEST:g} or less",
                    f"change {name}: {q.description}",
                )
        return self


def at_most_half(name: str, value: float, of_name: str, of: float) -> None:
    """Raise InputError where a radius is more than half of what it rounds, both in mm."""
    if value > of / 2:
        raise InputError(
            name,
            f"given {value:g}, allowed is at most half of {of_name} = {of:g}, that is {of / 2:g} mm",
            f"make {name} smaller or {of_name} larger",
        )


_DELICATE: dict[type[Part], list[tuple[str, Quantity]]] = {}


def _delicate(model: type[Part]) -> list[tuple[str, Quantity]]:
    if model not in _DELICATE:
        _DELICATE[model] = [(name, q) for name, q in model.quantities().items() if q.gt == 0 or q.lt == 1]
    return _DELICATE[model]


def _plain(value: Any) -> Any:
    if isinstance(value, Part):
        return value.plain()
    return [_plain(item) for item in value] if isinstance(value, list | tuple) else value
