"""The grinds of a recipe: as a person gives them, and with everything they inherit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, cast

from pydantic import ConfigDict, model_validator

from gougeform.errors import InputError
from gougeform.machine.jig import DISTANCES, Jig
from gougeform.machine.jigs import JIGS, AnyJig
from gougeform.machine.path import Path
from gougeform.machine.paths import PATHS, AnyPath
from gougeform.machine.wheel import Wheel
from gougeform.part import Part, Table
from gougeform.quantity import Quantity, Words
from gougeform.read.complaints import shown, unknown_field, validated
from gougeform.recipe.references import overlaid

_OWN = ("wheel", "land_mm")


class Grind(Part):
    """One [[grind]] as given: fields of its path, fields of the jig that differ, a wheel of its own, and its land.

    In Python a path or jig may be given whole: Grind(path=TracedPath(wing_length_mm=10)); what it says is taken apart.
    Whether the fields fit jig and path is seen when they are put together, by `resolved`.
    """

    model_config = ConfigDict(extra="allow")
    noun: ClassVar[str] = "a grind"
    wheel: Annotated[Wheel | None, Words("wheel", "the wheel of this grind, where it has its own")] = None
    land_mm: Annotated[
        float | None,
        Quantity(
            "land left at the nose", "what is left of the first bevel at the nose, in mm", gt=0, le=200, usual=(1, 4),
            span=(0.2, 8), step=0.1, how="Rule or loupe along the bevel at the nose, from the edge back to the crease",
        ),
    ] = None  # fmt: skip

    @model_validator(mode="before")
    @classmethod
    def _flat(cls, given: Any) -> Any:
        if isinstance(given, Path | Jig):
            return given.plain()
        if not isinstance(given, Mapping):
            return given
        whole = [value.plain() for value in given.values() if isinstance(value, Path | Jig)]
        rest = {name: value for name, value in given.items() if not isinstance(value, Path | Jig)}
        return {name: value for table in (*whole, rest) for name, value in table.items()}

    def plain(self) -> Table:
        """As `Part.plain`."""
        return {**(self.model_extra or {}), **super().plain()}


@dataclass(frozen=True)
class ResolvedGrind:
    """One grind with everything it inherits filled in.

    land_mm is None for the first grind and, for each relief, what it leaves of the first bevel at the nose.
    """

    jig: AnyJig
    wheel: Wheel
    path: AnyPath
    land_mm: float | None = None


def resolved(wheel: Wheel, jig: Jig, grinds: Sequence[Grind]) -> tuple[ResolvedGrind, ...]:
    """The grinds with what they inherit: a later one the first one's fields, all of them the jig's and the wheel.

    Raises InputError at the table a bad field was given in.
    """
    tables, held = [grind.plain() for grind in grinds], jig.plain()
    first = tables[0]
    if not jig.distance and not any(name in first for name in DISTANCES):
        raise jig.without_distance("jig")
    inherited = {name: value for name, value in first.items() if name not in _OWN}
    made: list[ResolvedGrind] = []
    for i, grind in enumerate(grinds):
        _check_land(grind, i)
        own = {name: value for name, value in tables[i].items() if name not in _OWN}
        whole = overlaid(inherited, own, "grind") if i else own
        try:
            made.append(_resolved(whole, held, grind.wheel or grinds[0].wheel or wheel, grind.land_mm, f"grind.{i}"))
        except InputError as error:
            raise _blamed(error, tables, i) from error.__cause__
    return tuple(made)


def checked_jig(table: Table, where: str) -> AnyJig:
    """The jig of a plain table. Raises InputError."""
    model: type[AnyJig] = JIGS.of(table, where)
    for name in DISTANCES:
        if name in table and name not in model.model_fields:
            raise InputError(
                f"{where}.{name}",
                f"given {shown(table[name])}, not allowed for {model.noun}, which is set by {model.set_by}",
                "give nose_angle_deg instead",
            )
    return validated(model, table, where)


def _resolved(whole: Table, held: Table, wheel: Wheel, land: float | None, where: str) -> ResolvedGrind:
    for name in whole:
        if name not in PATHS.fields and name not in JIGS.fields:
            moves, here = PATHS.of(whole, where), JIGS.of(overlaid(held, whole, "jig"), where)
            raise unknown_field(f"{where}.{name}", name, [*moves.model_fields, *here.model_fields, *_OWN], "a grind")
    fields = {name: value for name, value in whole.items() if name in PATHS.fields}
    path = cast(AnyPath, validated(PATHS.of(fields, where), fields, where))
    settings = {name: value for name, value in whole.items() if name in JIGS.fields}
    jig = checked_jig(overlaid(held, settings, "jig"), where)
    if not jig.distance:
        raise jig.without_distance(where)
    if path.holds and jig.loose:
        raise InputError(
            f"{where}.path",
            f'given "{path.path}", not possible with {jig.noun}, {jig.loose}',
            f'write path = "traced" (the library has "plain-traced" for {jig.noun}), or use a rod jig or a table',
        )
    if wheel.diameter_mm is None and jig.distance == "centre_distance_mm":
        raise InputError(
            f"{where}.centre_distance_mm",
            f"given {getattr(jig, jig.distance):g}, not allowed with a belt, which has no centre",
            "give rim_distance_mm or nose_angle_deg instead",
        )
    if abs(path.contact) > wheel.flat_mm:
        raise InputError(
            f"{where}.contact_mm",
            f"given {path.contact:g}, allowed is from {-wheel.flat_mm:g} to {wheel.flat_mm:g} mm, the flat of the face",
            "move the contact toward the middle, or use a wider wheel",
        )
    return ResolvedGrind(jig, wheel, path, land)


def _check_land(grind: Grind, i: int) -> None:
    where = f"grind.{i}.land_mm"
    if i == 0 and grind.land_mm is not None:
        raise InputError(
            where,
            f"given {shown(grind.land_mm)}, not allowed in the first grind: there is no bevel yet",
            "remove it, or put the first bevel's grind before this one",
        )
    if i > 0 and grind.land_mm is None:
        raise InputError(
            where,
            "is missing: a later grind is a relief and leaves a land, above 0 and at most 200 mm",
            "add land_mm; to regrind a tool that had another shape use `older` instead",
        )


def _blamed(error: InputError, tables: Sequence[Table], i: int) -> InputError:
    """The same error at the table the bad field was given in: this grind, the first one, or the jig."""
    here = f"grind.{i}."
    if not error.field.startswith(here):
        return error
    rest = error.field.removeprefix(here)
    name = rest.split(".")[0]
    own = tables[i]
    if name in own or (name in JIGS.fields and JIGS.tag in own):
        return error
    if name in tables[0]:
        place = f"grind.0.{rest}"
    elif name in PATHS.fields:
        place = f"grind.0.{rest}" if PATHS.tag not in own else error.field
    else:
        place = f"jig.{rest}"
    return InputError(place, error.problem, error.hint, error.file)
