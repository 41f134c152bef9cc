"""The wedge angle along the edge: the dihedral of flute and bevel, square to the edge."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from gougeform.grind.gouge import Gouge
from gougeform.measure.edge import WING_PER_CENT, Edge, Floats
from gougeform.measure.measured import PAGE, RESULTS, Measured
from gougeform.measure.protractor import along_marks, through_axis

if TYPE_CHECKING:
    from gougeform.measure.measures import Measures

_PLACES = tuple(str(per_cent) for per_cent in WING_PER_CENT)


def _extreme(which: str) -> tuple[Measured, ...]:
    """Where the edge is sharpest or bluntest: five places may miss both."""
    place = f"the {which} place of the edge"
    return (
        Measured(f"{which}.angle_deg", f"{which} wedge angle", lambda m: getattr(m, which).angle,
                 f"wedge angle at {place}", error="angles_deg", told=RESULTS),
        Measured(f"{which}.along_edge_from_nose_mm", f"{which}, along the edge", lambda m: getattr(m, which).along,
                 f"{place}, from the nose along the edge", told=RESULTS),
        Measured(f"{which}.behind_nose_mm", f"{which}, behind the nose", lambda m: getattr(m, which).behind,
                 f"{place}, from the nose along the bar", told=RESULTS),
    )  # fmt: skip


def _read_off(angles: Callable[[Gouge, Edge], Floats]) -> Callable[[Measures], list[float]]:
    """The mean of both wings at their per cents, as an angle along the edge says it."""

    def take(measures: Measures) -> list[float]:
        edge = measures.edge
        every = angles(measures.gouge, edge)
        left, right = (edge.at_per_cents(side, every, WING_PER_CENT) for side in (-1, 1))
        return [(a + b) / 2 for a, b in zip(left, right, strict=True)]

    return take


MEASURED = (
    Measured("nose_angle_deg", "nose angle", lambda m: m.nose_angle, "wedge angle at the nose", error="angles_deg",
             told=PAGE),
    Measured("wing_angle_deg", "wing angle", lambda m: m.wing_angles.values(),
             "wedge angle at per cents of a wing along the edge, the mean of both wings", error="angles_deg",
             places=_PLACES, at="at {} %", told=PAGE),
    Measured("wing_behind_nose_mm", "wing, behind the nose", lambda m: m.wing_behind.values(),
             "how far behind the nose those places lie, along the bar", places=_PLACES, at="at {} %", told=RESULTS),
    Measured("wing_along_marks_deg", "wing angle along the grind marks", _read_off(along_marks),
             "what a protractor reads that stands on the bevel along the grind marks, the mean of both wings",
             error="angles_deg", cost_ms=2, places=_PLACES, at="at {} %", told=RESULTS),
    Measured("wing_through_axis_deg", "wing angle through the bar's axis", _read_off(through_axis),
             "the bevel's angle to the bar in the plane through its axis, the mean of both wings",
             error="angles_deg", cost_ms=2, places=_PLACES, at="at {} %", told=RESULTS),
    *_extreme("sharpest"),
    *_extreme("bluntest"),
)  # fmt: skip
