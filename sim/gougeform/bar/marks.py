"""Things to measure, as places in a drawing: a kind says its own, the drawings of `gougeform.starter` show them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from gougeform.bar.section import Section

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Mark:
    """One thing to measure. field: its place in the recipe, "" for a check that the recipe has no field for.

    points: (2, 2) the two ends of a length in mm, or (3, 2) leg, corner, leg of an angle in degrees. value: as measured
    between them.
    """

    field: str
    words: str
    value: float
    points: Floats

    @property
    def angle(self) -> bool:
        """Whether it is an angle."""
        return len(self.points) == 3


def length(field: str, words: str, start: object, stop: object) -> Mark:
    """A length between two places."""
    ends = np.array([start, stop], float)
    return Mark(field, words, float(np.linalg.norm(ends[1] - ends[0])), ends)


def angle(field: str, words: str, leg: object, corner: object, other: object) -> Mark:
    """An angle between two legs."""
    p = np.array([leg, corner, other], float)
    a, b = p[0] - p[1], p[2] - p[1]
    turned = abs(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b))
    return Mark(field, words, float(np.degrees(turned)), p)


def floor_radius(rho: float, y_floor: float) -> Mark:
    """The radius (mm) of a drill that lies on a flute's floor."""
    centre = np.array([0.0, y_floor + rho])
    words = "radius of a drill lying on the floor"
    return length("flute.floor_radius_mm", words, centre, centre - np.array([rho, 0.0]))


def side_to_side(field: str, words: str, section: Section) -> Mark:
    """Across the bar at its widest, on the level of its axis."""
    west, east = (side * section.outline.support((side, 0.0)) for side in (-1.0, 1.0))
    return length(field, words, [west, 0], [east, 0])
