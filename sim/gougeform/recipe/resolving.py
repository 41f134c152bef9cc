"""The grinds of a recipe with everything they inherit: each with its own whole jig, wheel and path."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

from gougeform.errors import InputError
from gougeform.read.complaints import model_for, shown, unknown_field, validated
from gougeform.read.parts import (
    DISTANCES,
    VARIANTS,
    FootJig,
    Jig,
    Part,
    Path,
    SteadyPath,
    TableJig,
    TracedPath,
    Wheel,
)
from gougeform.read.references import PATH_FIELDS, Table, overlaid

_JIG_FIELDS = {name for model in VARIANTS["jig"][1].values() for name in model.model_fields}


@dataclass(frozen=True)
class ResolvedGrind:
    """One grind with everything it inherits filled in.

    land_mm is None for the first grind and, for each relief, what it leaves of the first bevel at the nose.
    """

    jig: Jig
    wheel: Wheel
    path: Path
    land_mm: float | None = None


def part_of(section: str, table: Table, where: str) -> Part:
    """A plain table as the model its outline, shape, kind or path asks for. Raises InputError."""
    return validated(model_for(section, table, where), table, where)


def resolved_grinds(table: Table, wheel: Wheel) -> tuple[ResolvedGrind, ...]:
    """The grinds of a recipe's plain table, checked; wheel is the recipe's own.

    A later grind inherits the first one's fields and the jig's. Raises InputError at the table a bad field
    was written in.
    """
    jig, grinds = table["jig"], table["grind"]
    first = grinds[0]
    # The jig's own table is checked too, so that a fault in it is not hidden by a grind's own value.
    gets_distance = not any(name in jig for name in DISTANCES) and any(name in first for name in DISTANCES)
    _jig(jig | {"nose_angle_deg": 45.0} if gets_distance else jig, "jig")
    inherited = {name: value for name, value in first.items() if name != "land_mm"}
    made: list[ResolvedGrind] = []
    for i, own in enumerate(grinds):
        _check_land(own, i)
        whole = overlaid(inherited, own, "grind") if i else own
        wheel_here = cast(Wheel, part_of("wheel", own["wheel"], f"grind.{i}.wheel")) if "wheel" in own else None
        if i and wheel_here is None and "wheel" in first:
            wheel_here = made[0].wheel
        try:
            made.append(_grind(whole, jig, wheel_here or wheel, own.get("land_mm"), f"grind.{i}"))
        except InputError as error:
            raise _blamed(error, table, i) from error.__cause__
    return tuple(made)


def _grind(whole: Table, jig: Table, wheel: Wheel, land: float | None, where: str) -> ResolvedGrind:
    for name in whole:
        if name not in PATH_FIELDS and name not in _JIG_FIELDS and name not in ("wheel", "land_mm"):
            moves = model_for("path", whole, where)
            here = model_for("jig", overlaid(jig, whole, "jig"), where)
            known = [*moves.model_fields, *here.model_fields, "wheel", "land_mm"]
            raise unknown_field(f"{where}.{name}", name, known, "a grind")
    path_table = {"path": "traced"} | {name: value for name, value in whole.items() if name in PATH_FIELDS}
    path = cast(Path, part_of("path", path_table, where))
    settings = {name: value for name, value in whole.items() if name in _JIG_FIELDS}
    resolved = _jig(overlaid(jig, settings, "jig"), where)
    if isinstance(path, SteadyPath) and isinstance(resolved, FootJig):
        raise InputError(
            f"{where}.path",
            'given "steady", not possible with a foot jig, whose ball joint holds nothing steady',
            'write path = "traced" (the library has "plain-traced" for a foot jig), or use a rod jig or a table',
        )
    if wheel.kind == "belt" and not isinstance(resolved, TableJig) and resolved.centre_distance_mm is not None:
        raise InputError(
            f"{where}.centre_distance_mm",
            f"given {resolved.centre_distance_mm:g}, not allowed with a belt, which has no centre",
            "give rim_distance_mm or nose_angle_deg instead",
        )
    if isinstance(path, TracedPath):
        most = wheel.width_mm / 2 - wheel.corner_radius_mm
        if abs(path.contact_mm) > most:
            raise InputError(
                f"{where}.contact_mm",
                f"given {path.contact_mm:g}, allowed is from {-most:g} to {most:g} mm, the flat of the face",
                "move the contact toward the middle, or use a wider wheel",
            )
    return ResolvedGrind(resolved, wheel, path, None if land is None else float(land))


def _jig(table: Table, where: str) -> Jig:
    model = model_for("jig", table, where)
    if model is TableJig:
        for name in DISTANCES[1:]:
            if name in table:
                raise InputError(
                    f"{where}.{name}",
                    f"given {shown(table[name])}, not allowed for a table, which is set by its tilt",
                    "give nose_angle_deg instead",
                )
    return cast(Jig, validated(model, table, where))


def _check_land(own: Table, i: int) -> None:
    where = f"grind.{i}.land_mm"
    if i == 0 and "land_mm" in own:
        raise InputError(
            where,
            f"given {shown(own['land_mm'])}, not allowed in the first grind: there is no bevel yet",
            "remove it, or put the first bevel's grind before this one",
        )
    if i == 0:
        return
    if "land_mm" not in own:
        raise InputError(
            where,
            "is missing: a later grind is a relief and leaves a land, above 0 and at most 200 mm",
            "add land_mm; to regrind a tool that had another shape use `older` instead",
        )
    land = own["land_mm"]
    if not isinstance(land, int | float) or isinstance(land, bool) or not 0 < land <= 200:
        raise InputError(
            where,
            f"given {shown(land)}, allowed is a number above 0 and at most 200 mm",
            "change land_mm: what is left of the first bevel at the nose, in mm",
        )


def _blamed(error: InputError, table: Table, i: int) -> InputError:
    """The same error at the table the bad field was written in: this grind, the first one, or the jig."""
    here = f"grind.{i}."
    if not error.field.startswith(here):
        return error
    rest = error.field.removeprefix(here)
    name = rest.split(".")[0]
    own = table["grind"][i]
    if name in own or (name in _JIG_FIELDS and "kind" in own):
        return error
    if name in table["grind"][0]:
        place = f"grind.0.{rest}"
    elif name in PATH_FIELDS:
        place = f"grind.0.{rest}" if "path" not in own else error.field
    else:
        place = f"jig.{rest}"
    return InputError(place, error.problem, error.hint, error.file)
