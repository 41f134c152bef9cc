"""Whether a tool's set-ups can stand: what comes nearest to the wheel, its guard or its rest while a path is made."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.machine.solid import SURFACES
from gougeform.machine.standing import Gap, Sheet, least_gaps, place_words, sheet_gaps, tool_bodies
from gougeform.measure.edge import Edge

_CHANGE = {
    "the clamp": ("jig.projection_mm", "a longer projection, a smaller clamp, or a shorter wing"),
    "the arm": ("jig.arm_cant_deg", "more cant, a longer projection, or a larger distance"),
    "the shoe": ("jig.projection_mm", "a longer projection or a lower hinge, so that the rod stands further off"),
    "the rod": ("jig.projection_mm", "a longer projection or a lower hinge, so that the rod stands further off"),
}
"""By body: the field a person changes first, and to what."""
STATED_MM = 0.01
"""How far the least gap may be off; compared with a mesh library in the tests."""
_ANY = ("jig.projection_mm", "another projection, or another place on the wheel")


@dataclass(frozen=True)
class Standing:
    """One body in one grind's set-up: which grind, its least gap, and in words where that is."""

    grind: int
    gap: Gap
    where: str

    @property
    def words(self) -> str:
        """What comes near what, and where: a clause without its number."""
        return f"{self.gap.name} and {self.gap.against}, {self.where}"


def standings(gouge: Gouge, edge: Edge) -> tuple[Standing, ...]:
    """Every body's least gap in every grind's set-up, the least first."""
    heel = -float(np.nanmin(edge.heel_line[2]))
    found = []
    for number, (one, rig, grind, setting) in enumerate(
        zip(gouge.ground.passes, gouge.jigs, gouge.recipe.grinds, gouge.settings, strict=True)
    ):
        handle, outline = gouge.recipe.handle, gouge.section.outline
        bodies = (
            *grind.jig.bodies(gouge.section, rig),
            *tool_bodies(outline, heel, gouge.recipe.bar.length_mm, handle, one.setback),
        )
        gaps = list(least_gaps(one.path, one.wheel, bodies, alike=gouge.alike))
        if grind.wheel.diameter_mm is None:
            gaps = [replace(gap, against="the belt") for gap in gaps]
        for name in ("guard", "rest"):
            around = getattr(grind.wheel, name)
            if around is None or setting.pivot_angle is None:  # without a pivot nobody knows where on the wheel it is
                continue
            low, high = (float(np.radians(a)) - setting.pivot_angle for a in (around.from_deg, around.to_deg))
            sheet = Sheet(f"the {name}", around.gap_mm, low, high)
            gaps += sheet_gaps(one.path, one.wheel, bodies, sheet, alike=gouge.alike)
        for gap in gaps:
            where = place_words(one.path, gap.s, alike=gouge.alike)
            part = f" (the wheel's {SURFACES[gap.surface]})" if gap.against in ("the wheel", "the belt") else ""
            found.append(Standing(number, gap, where + part))
    return tuple(sorted(found, key=lambda one: one.gap.mm))


def check_stands(gouge: Gouge, found: tuple[Standing, ...]) -> None:
    """Raise InputError where the least gap is below 0: such a setting cannot be set up."""
    least = found[0]
    if least.gap.mm >= 0:
        return
    field, change = _CHANGE.get(least.gap.name, _ANY)
    if least.grind:
        field = field.replace("jig", f"grind.{least.grind}", 1)
    error = InputError(
        field,
        f"{least.gap.name} would stand {-least.gap.mm:.1f} mm inside {least.gap.against}, {least.where}",
        change,
    )
    raise replace(error, file=gouge.recipe.source or gouge.recipe.name)
