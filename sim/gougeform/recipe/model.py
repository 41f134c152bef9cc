"""A recipe: one tool and the ways it is ground, checked when it is made. Lengths in mm, angles in degrees."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Annotated, Any, ClassVar

from pydantic import Field, model_validator

from gougeform.bar.bar import Bar
from gougeform.bar.flute import Flute
from gougeform.bar.flutes import AnyFlute
from gougeform.bar.handle import Handle
from gougeform.bar.outlines import AnyBar
from gougeform.errors import InputError
from gougeform.machine.jigs import AnyJig
from gougeform.machine.wheel import Wheel
from gougeform.part import Part, Table
from gougeform.quantity import Quantity, Words
from gougeform.read.complaints import shown, unknown_field
from gougeform.recipe.resolving import Grind, ResolvedGrind, resolved

MOST_GRINDS = 20
MOST_OLDER = 20


class Recipe(Part):
    """One tool and its grinds. Two recipes are equal when they say the same, wherever they were read.

    wheel, jig and grind are as given: a grind says what differs for it, and `grinds` has everything each inherits.
    older is the tool's shape before, or None. handle is what follows behind the steel. name is the file's name without
    .toml and source its path as given, both "" for one that was read from no file.
    """

    noun: ClassVar[str] = "a recipe"
    title: Annotated[str, Words("title", "one line about the tool")] = Field("", max_length=200)
    bar: AnyBar
    flute: AnyFlute
    wheel: Wheel
    jig: AnyJig
    grind: tuple[Grind, ...] = Field(min_length=1, max_length=MOST_GRINDS)
    older: Recipe | None = None
    handle: Handle = Field(default_factory=Handle)
    ruler_mm: Annotated[
        float,
        Quantity(
            "step of the ruler",
            "what a person can set with a ruler, in mm",
            gt=0,
            le=10,
            usual=(0.1, 1),
            step=0.1,
            how="The smallest step you set reliably with your ruler",
        ),
    ] = 0.5
    protractor_deg: Annotated[
        float,
        Quantity(
            "step of the protractor",
            "what a person can set with a protractor, in degrees",
            gt=0,
            le=10,
            usual=(0.1, 1),
            step=0.1,
            how="The smallest step you set reliably with your protractor",
        ),
    ] = 0.5
    taken_mm: Annotated[
        float,
        Quantity(
            "taken at each sharpening",
            "what one sharpening takes off, square to the bevel at the edge",
            gt=0,
            le=2,
            usual=(0.05, 0.2),
            step=0.05,
            how="Measure the bar's length before and after ten sharpenings: a tenth of that, times the sine of the nose"
            " angle",
        ),
    ] = 0.1
    name: str = Field("", exclude=True)
    source: str = Field("", exclude=True)

    @cached_property
    def grinds(self) -> tuple[ResolvedGrind, ...]:
        """Each grind with everything it inherits filled in."""
        return resolved(self.wheel, self.jig, self.grind)

    @property
    def table(self) -> Table:
        """The recipe as a plain table, made anew each time: what `to_toml` writes and `from_table` reads back equal."""
        return self.plain()

    def with_(self, **fields: Any) -> Recipe:
        """The recipe with whole fields replaced, checked like any other: recipe.with_(bar=…, title="Shorter").

        Raises InputError for a field that does not exist or does not fit the others, and pydantic's ValidationError
        for one of the wrong type. `gougeform.recipe.change.changed` sets single fields by dotted name.
        """
        for name in fields:
            if name not in type(self).model_fields:
                raise unknown_field(name, name, list(KEYS), "a recipe")
        return type(self)(**({name: getattr(self, name) for name in self.model_fields_set} | fields))

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Recipe:
        """A copy; with fields replaced it is checked, as `with_` does. Raises InputError."""
        return self.with_(**update) if update else super().model_copy(deep=deep)

    def _says(self) -> tuple[object, ...]:
        return (
            self.title, self.bar, self.flute, self.wheel, self.grinds, self.older, self.handle, self.ruler_mm,
            self.protractor_deg, self.taken_mm,
        )  # fmt: skip

    def __eq__(self, other: object) -> bool:
        return self._says() == other._says() if isinstance(other, Recipe) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._says())

    @model_validator(mode="after")
    def _fits(self) -> Recipe:
        check_flute(self.bar, self.flute)
        _check_clamps(self.bar, self.grinds, self.grind)
        if self.older is not None:
            _check_older(self.older, self.bar, self.flute)
        return self


KEYS = tuple(name for name, info in Recipe.model_fields.items() if not info.exclude)
"""What may stand at the top of a recipe's file."""


def check_flute(bar: Bar, flute: Flute) -> None:
    """Raise InputError for a flute longer than its bar."""
    if flute.length_mm > bar.length_mm:
        raise InputError(
            "flute.length_mm",
            f"given {flute.length_mm:g}, allowed is at most bar.length_mm = {bar.length_mm:g} mm",
            "make the flute shorter or the bar longer",
        )


def _check_clamps(bar: Bar, grinds: Sequence[ResolvedGrind], given: Sequence[Grind]) -> None:
    """The projection ends at the clamp face, and behind it the clamp needs bar to hold. Fingers at a table do not."""
    for i, grind in enumerate(grinds):
        length = grind.jig.projection_mm
        if not grind.jig.clamps or length < bar.length_mm:
            continue
        own = next((f"grind.{k}" for k in (i, 0) if "projection_mm" in given[k].plain()), "jig")
        raise InputError(
            f"{own}.projection_mm",
            f"given {length:g}, but the bar has only bar.length_mm = {bar.length_mm:g} mm of steel ahead of the"
            " ferrule, and the clamp holds it behind that projection",
            "a shorter projection, or a longer bar",
        )


def _check_older(older: Recipe, bar: Bar, flute: Flute) -> None:
    """A tool keeps its bar and flute from one grind to the next; only their lengths change."""
    for section, was, now in (("bar", older.bar, bar), ("flute", older.flute, flute)):
        before, after = was.model_dump(exclude={"length_mm"}), now.model_dump(exclude={"length_mm"})
        for name in sorted({*before, *after}):
            if before.get(name) != after.get(name):
                raise InputError(
                    "older",
                    f"its {section}.{name} is {shown(before.get(name))}, "
                    f"this recipe's is {shown(after.get(name))}; they must be equal, but for length_mm",
                    "name a recipe of the same tool, or give both the same bar and flute",
                )
    count, before_that = 1, older.older
    while before_that is not None:
        count, before_that = count + 1, before_that.older
    if count > MOST_OLDER:
        raise InputError("older", f"more than {MOST_OLDER} older tools in a row", "leave out the oldest")
