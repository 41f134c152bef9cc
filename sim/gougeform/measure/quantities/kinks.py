"""Kinks and steps of the edge: where, how sharp, and what they make uncertain beside the errors stated for the tool."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gougeform.measure.kinks import Kink, kinks
from gougeform.measure.measured import Detail

if TYPE_CHECKING:
    from gougeform.measure.measures import Measures


def all_kinks(measures: Measures) -> tuple[Kink, ...]:
    """The kinks of a tool's edge from left to right; computed once for a tool."""
    return measures.once("kinks", lambda: kinks(measures.gouge, measures.edge))


def _table(one: Kink) -> dict[str, Any]:
    before, after = one.wedge
    return {
        "side": {-1: "left", 0: "nose", 1: "right"}[one.side],
        "along_edge_from_nose_mm": one.along,
        "behind_nose_mm": one.behind,
        "turn_deg": one.turn,
        "angle_before_deg": before,
        "angle_after_deg": after,
        "step_mm": one.step,
        "stated_error": {"angles_deg": one.angle_error, "lengths_mm": one.length_error},
    }


MEASURED = (Detail("kinks", lambda measures: [_table(one) for one in all_kinks(measures)] or None),)
