"""A recipe made into a ground tool: section, machine settings, and the surface the grinds leave.

Nothing is measured or meshed here; `gougeform.measure.edge` and `gougeform.mesh.solid` do that with what this returns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section, build_section
from gougeform.errors import InputError
from gougeform.grind.ground import Ground, Pass
from gougeform.machine.edgeoutline import EdgeOutline, edge_outline
from gougeform.machine.jig import AnyJig, Table, build_jig
from gougeform.machine.path import Traced, steady_path, traced_path
from gougeform.machine.wheel import Wheel, build_wheel
from gougeform.numerics.roots import newton_roots
from gougeform.read.inches import hinted
from gougeform.read.recipe import Recipe, ResolvedGrind

Floats = NDArray[np.float64]

_ALONG_BEVEL = 33  # rays down the middle plane, between which the end of a land is looked for


@dataclass(frozen=True)
class Setting:
    """How the machine is set for one grind; lengths in mm, angles in rad. None where it has no meaning.

    centre_distance: wheel's centre to pocket or rod centre (no table, no belt). rim_distance: from the rim.
    contact: where on the wheel the nose is ground, above the horizontal, on the person's side (no table).
    pivot_angle: direction of the pocket or rod from the wheel's centre, measured the same way.
    """

    centre_distance: float | None
    rim_distance: float | None
    contact: float | None
    pivot_angle: float | None


@dataclass(frozen=True, eq=False)
class Gouge:
    """A ground tool. `outline` is the edge that was asked for (None after a steady grind)."""

    recipe: Recipe
    section: Section
    jigs: tuple[AnyJig, ...]
    ground: Ground
    outline: EdgeOutline | None

    @cached_property
    def settings(self) -> tuple[Setting, ...]:
        """One per grind."""
        return tuple(
            _setting(grind, jig, one.wheel)
            for grind, jig, one in zip(self.recipe.grinds, self.jigs, self.ground.passes, strict=True)
        )

    @property
    def alike(self) -> bool:
        """True where the grinds do the same on both sides: every contact in the wheel's middle."""
        return all(g.path.path == "steady" or g.path.contact_mm == 0 for g in self.recipe.grinds)

    @cached_property
    def symmetric(self) -> bool:
        """True where both halves come out alike: a symmetric outline too."""
        outline = self.section.outline
        v = np.linspace(0.0, outline.count, 16 * outline.count, endpoint=False)
        mirrored = outline.nearest(outline.point(v) * [-1.0, 1.0])[0]
        return self.alike and bool((np.abs(mirrored) < 1e-9).all())

    @cached_property
    def older(self) -> Gouge | None:
        """The tool before, ground by its own recipe."""
        return None if self.recipe.older is None else shape(self.recipe.older)


def shape(recipe: Recipe) -> Gouge:
    """Grind a recipe.

    Raises InputError (with the recipe's file) where the grind cannot be made: no pose, contact off the wheel's
    face, a land longer than the bevel, a relief blunter than what it relieves.
    """
    try:
        section = build_section(recipe.bar, recipe.flute)
        passes: list[Pass] = []
        jigs: list[AnyJig] = []
        for number, grind in enumerate(recipe.grinds):
            try:
                jig, one = _one_pass(section, grind)
                if number == 0:
                    one = _nose_at_zero(section, one, grind)
                else:
                    assert grind.land_mm is not None
                    one = _held_back(section, Ground(tuple(passes)), one, grind.land_mm)
            except InputError as error:
                raise _in_grind(error, number) from error
            jigs.append(jig)
            passes.append(one)
        first = passes[0].path
        outline = first.outline if isinstance(first, Traced) else None
        gouge = Gouge(recipe, section, tuple(jigs), Ground(tuple(passes)), outline)
        _ = gouge.settings  # a pivot height that does not fit is refused here, not when it is first shown
    except InputError as error:
        raise hinted(error, recipe.table).in_file(recipe.source or recipe.name) from None
    return gouge


def _in_grind(error: InputError, number: int) -> InputError:
    """The error with the place where a person finds the field: the jig's own, or the grind that overrides it."""
    head, _, tail = error.field.partition(".")
    if head == "grind" or (head == "jig" and number > 0):
        return replace(error, field=f"grind.{number}.{tail}")
    return error


def _one_pass(section: Section, grind: ResolvedGrind) -> tuple[AnyJig, Pass]:
    wheel = build_wheel(grind.wheel)
    path = grind.path
    jig = build_jig(section, grind.jig, wheel, path.contact_mm if path.path == "traced" else 0.0)
    if path.path == "steady":
        assert not isinstance(jig, Table) or grind.jig.kind == "table"
        steady = Pass(steady_path(jig, wheel, section.y_floor, np.radians(path.roll_max_deg)), wheel)  # type: ignore[arg-type]
        return jig, _handle_outside(steady, "grind.roll_max_deg", "less roll, or another cant")
    if abs(path.contact_mm) > wheel.flat:
        raise InputError(
            "grind.contact_mm",
            f"given {path.contact_mm:g}: the wheel's flat face reaches {wheel.flat:g} mm to each side",
            "a contact place nearer the middle, or a wider wheel",
        )
    traced = Pass(traced_path(edge_outline(section, path), jig, wheel, path.contact_mm), wheel)
    return jig, _handle_outside(traced, "grind.wing_length_mm", "a shorter wing, or another cant")


def _handle_outside(one: Pass, field: str, hint: str) -> Pass:
    """A belt is a half space: a bar that points away from it somewhere on the path would have its handle inside."""
    if one.wheel.curvature == 0 and (one.scan_pose.turn[0, 2] >= 0).any():
        raise InputError(field, "on part of the path the handle would have to lie in the belt", hint)
    return one


def _nose_at_zero(section: Section, one: Pass, grind: ResolvedGrind) -> Pass:
    """Rolling may take steel at the nose too; the finished nose is where z = 0."""
    if grind.path.path == "traced":
        return one
    nose = float(Ground((one,)).heights(np.array([[0.0, section.y_floor]])).z[0])
    if not np.isfinite(nose):
        raise InputError("grind.roll_max_deg", "the wheel does not touch the nose", "check the jig's setting")
    return replace(one, setback=-nose)


def _held_back(section: Section, before: Ground, relief: Pass, land: float) -> Pass:
    """The relief, moved toward the tip by the one distance that leaves `land` mm of bevel at the nose."""
    bottom = section.outline.on_middle_plane(below=True)
    lo, hi = bottom, section.y_floor
    nose = float(before.heights(np.array([[0.0, hi]])).z[0])  # not 0 where the path cuts past its outline
    if not np.isfinite(nose):
        raise InputError("wheel.width_mm", "the wheel does not touch the nose", "a wider wheel, or less contact_mm")

    def over(y: Floats) -> tuple[Floats, Floats]:
        """How much further than the land places of the bevel are from the nose, and the slope of that over y."""
        cut = before.heights(np.stack([np.zeros_like(y), y], -1))
        down, back = y - hi, cut.z - nose
        far = np.hypot(down, back)
        with np.errstate(divide="ignore", invalid="ignore"):
            return far - land, (down - back * cut.normal[1] / cut.normal[2]) / far

    # Distance from the nose grows along the bevel.
    y = np.linspace(hi, lo, _ALONG_BEVEL)
    value, slope = over(y)
    k = int(np.argmax(value > 0))
    if not value[k] > 0:
        longest = value[-1] + land
        raise InputError(
            "grind.land_mm",
            f"given {land:g}: the bevel at the nose is only {longest:.2f} mm long",
            f"a land below {longest:.2f}",
        )
    (low, at_low), (high, at_high) = ((y[[i]], (value[[i]], slope[[i]])) for i in (k, k - 1))  # y falls
    place = newton_roots(lambda _, x: over(x), low, high, at_low, at_high, width=1e-12, small=1e-10)
    crease = np.array([[0.0, place[0]]])
    back = float(before.heights(crease).z[0] - Ground((relief,)).heights(crease).z[0])
    if not back > 0:
        raise InputError(
            "grind.nose_angle_deg",
            "this relief is not more acute than the bevel before it, so it would take the edge and not the heel",
            "a smaller nose angle, or move the pocket or rod toward the wheel",
        )
    return replace(relief, setback=back)


def _setting(grind: ResolvedGrind, jig: AnyJig, wheel: Wheel) -> Setting:
    if isinstance(jig, Table):
        return Setting(None, None, None, None)
    assert grind.jig.kind != "table"
    k, rim = wheel.curvature, jig.rim
    sine = grind.jig.height_mm * k / (1 + k * rim)
    if abs(sine) > 1:
        raise InputError(
            "jig.height_mm",
            f"given {grind.jig.height_mm:g}: pocket or rod is only {rim + 1 / k:.1f} mm from the wheel's centre",
            "a height within that distance",
        )
    # The nose's place on the wheel as seen from the pivot's direction, from the triangle centre, pivot, nose.
    across = grind.path.contact_mm if grind.path.path == "traced" and grind.jig.kind == "foot" else 0.0
    r2 = jig.pivot.length**2 - across**2
    x = -k * (r2 - rim * rim) / (2 * (1 + k * rim))
    z = np.sqrt(r2 - (x - rim) ** 2)
    pivot_angle = float(np.arcsin(sine))
    return Setting(
        centre_distance=None if k == 0 else rim + 1 / k,
        rim_distance=rim,
        contact=pivot_angle + float(np.arctan2(k * z, 1 + k * x)),
        pivot_angle=pivot_angle,
    )
