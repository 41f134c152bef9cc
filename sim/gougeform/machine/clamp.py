"""What a clamp can hold the bar against, and so where a hinge's drop is measured from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gougeform.bar.section import Section

PIN = "to the middle of the pin the arm or clamp turns about (no pin: where the arm bends)"


@dataclass(frozen=True)
class Datum:
    """One thing a bar is held against.

    words: in a list of choices. noun: for a sentence, {vee} for the V's opening in degrees. called: beside a drawing.
    measured: where a ruler starts for the drop. usual_drop: of a first recipe, mm. height: its height (mm) over the bar
    axis for a section, and a V's opening (deg).
    """

    words: str
    noun: str
    called: str
    measured: str
    usual_drop: float
    height: Callable[[Section, float], float]


def _apex(section: Section, vee_deg: float) -> float:
    import numpy as np

    return section.vee_apex(float(np.radians(vee_deg)))


DATUMS = {
    "axis": Datum(
        "its axis, whatever its size",
        "the bar axis",
        "bar's middle",
        f"From the middle of the bar square down {PIN}",
        8.0,
        lambda section, vee: 0.0,
    ),
    "below": Datum(
        "a flat under it",
        "the flat under the bar",
        "flat under the bar",
        f"From the flat the bar lies on square down {PIN}",
        3.0,
        lambda section, vee: section.underside,
    ),
    "above": Datum(
        "a plate over its lips",
        "the plate over the lips",
        "plate over the lips",
        f"From the plate the lips are pressed up against square down {PIN}",
        11.5,
        lambda section, vee: section.lip_plane,
    ),
    "vee": Datum(
        "a V under it",
        "the apex of a {vee:g}° V",
        "bottom of the V",
        f"From the sharp bottom of the V, where its walls would meet, square down {PIN}",
        1.0,
        _apex,
    ),
}
