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
from gougeform.machine.edgeoutline import EdgeOutline
from gougeform.machine.jig import Setting
from gougeform.machine.rig import Rig
from gougeform.numerics.roots import newton_roots
from gougeform.read.inches import hinted
from gougeform.recipe.model import Recipe
from gougeform.recipe.resolving import ResolvedGrind

Floats = NDArray[np.float64]

_ALONG_BEVEL = 33  # rays down the middle plane, between which the end of a land is looked for


@dataclass(frozen=True, eq=False)
class Gouge:
    """A ground tool. `outline` is the edge that was asked for (None after a steady grind)."""

    recipe: Recipe
    section: Section
    jigs: tuple[Rig, ...]
    ground: Ground
    outline: EdgeOutline | None

    @cached_property
    def settings(self) -> tuple[Setting, ...]:
        """One per grind."""
        return tuple(
            grind.jig.setting(rig, one.wheel, grind.path.contact)
            for grind, rig, one in zip(self.recipe.grinds, self.jigs, self.ground.passes, strict=True)
        )

    @property
    def alike(self) -> bool:
        """True where the grinds do the same on both sides: every contact in the wheel's middle."""
        return all(grind.path.contact == 0 for grind in self.recipe.grinds)

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
        jigs: list[Rig] = []
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
        gouge = Gouge(recipe, section, tuple(jigs), Ground(tuple(passes)), passes[0].path.outline)
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


def _one_pass(section: Section, grind: ResolvedGrind) -> tuple[Rig, Pass]:
    wheel, path = grind.wheel.build(), grind.path
    rig = grind.jig.set_up(section, wheel, path.contact)
    if abs(path.contact) > wheel.flat:
        raise InputError(
            "grind.contact_mm",
            f"given {path.contact:g}: the wheel's flat face reaches {wheel.flat:g} mm to each side",
            "a contact place nearer the middle, or a wider wheel",
        )
    one = Pass(path.sweep(section, rig, wheel), wheel)
    # A belt is a half space: a bar that points away from it somewhere on the path would have its handle inside.
    if wheel.curvature == 0 and (one.scan_pose.turn[0, 2] >= 0).any():
        raise InputError(
            f"grind.{path.extent}",
            "on part of the path the handle would have to lie in the belt",
            f"{path.shorter}, or another cant",
        )
    return rig, one


def _nose_at_zero(section: Section, one: Pass, grind: ResolvedGrind) -> Pass:
    """Rolling may take steel at the nose too; the finished nose is where z = 0."""
    if one.path.outline is not None:
        return one
    nose = float(Ground((one,)).heights(np.array([[0.0, section.y_floor]])).z[0])
    if not np.isfinite(nose):
        raise InputError(f"grind.{grind.path.extent}", "the wheel does not touch the nose", "check the jig's setting")
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
