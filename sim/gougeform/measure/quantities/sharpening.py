"""What sharpening this grind again and again costs, and its land until the relief is ground again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gougeform.measure.measured import Detail
from gougeform.measure.sharpening import Sharpening, sharpening

if TYPE_CHECKING:
    from gougeform.measure.measures import Measures


def next_one(measures: Measures) -> Sharpening:
    """The next sharpening, with as much taken off as the recipe says; computed once for a tool."""
    taken = measures.gouge.recipe.taken_mm
    return measures.once("sharpening", lambda: sharpening(measures.gouge, measures.edge, taken))


def table(one: Sharpening) -> dict[str, Any]:
    """A sharpening with units in its names, as results give it; what a relief changes is left out without one."""
    found: dict[str, Any] = {
        "taken_mm": one.taken,
        "nose_loss_mm": one.nose_loss,
        "in_flute": one.in_flute,
        "steel_removed_mm3": one.steel,
        "steel_removed_g": one.grams,
    }
    if one.cycle is not None:
        found |= {
            "one_bevel_mm3": one.of_one_bevel,
            "relief_again_after": one.cycle.sharpenings,
            "longest_land_mm": one.cycle.longest,
            "lands_mm": list(one.cycle.lands),
            "relief_again_mm3": one.cycle.relief,
            "saved_at_the_edge": one.cycle.saved,
        }
    return found


MEASURED = (Detail("sharpening", lambda measures: table(next_one(measures))),)
