"""Off-centre work: a cylinder turned about an axis that is not its own.

Model. A cylinder of radius r turns about an axis offset by e from its own. Where the tool is, the wood's surface comes
and goes by 2e in a turn, and its tangent swings to both sides by asin(e / r): by the sine rule in the triangle of both
axes and the contact. Hands follow the coming and going, but hold the tool's direction. Set to the mean tangent, a
straight bevel of length c is then tilted into the wood by up to that angle, and where the heel would dig in it lifts
the edge. With the heel on the cylinder, the edge stands c sin psi - (r - sqrt(r² - c² cos² psi)) off it. A land in place
of the whole bevel makes c short. Lengths mm, angles rad here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class OffCentre:
    """radius and offset in mm."""

    radius: float
    offset: float

    def __post_init__(self) -> None:
        if not (np.isfinite(self.radius) and 0 < self.radius <= 1000):
            raise InputError(
                "radius_mm", f"given {self.radius:g}, allowed is above 0 and at most 1000 mm", "change the radius"
            )
        if not (np.isfinite(self.offset) and 0 <= self.offset < self.radius):
            raise InputError(
                "offset_mm",
                f"given {self.offset:g}, allowed is from 0 to below the radius, {self.radius:g} mm",
                "keep the lathe's axis inside the cylinder",
            )

    @property
    def swing(self) -> float:
        """rad: largest turn of the tangent to either side; in one turn it swings by twice that, there and back."""
        return float(np.arcsin(self.offset / self.radius))

    @property
    def travel(self) -> float:
        """mm the surface comes and goes in a turn."""
        return 2 * self.offset

    def tilt(self, turn: Floats) -> Floats:
        """(n,) rad: the tangent's tilt at angles of rotation (n,) rad, 0 where the axes and the contact line up."""
        return np.arcsin(self.offset * np.sin(turn) / self.radius)

    def distance(self, turn: Floats) -> Floats:
        """(n,) mm: lathe axis to the surface at angles of rotation (n,) rad."""
        return self.offset * np.cos(turn) + np.sqrt(self.radius**2 - (self.offset * np.sin(turn)) ** 2)

    def lift(self, bevel: Floats) -> Floats:
        """(n,) mm: how far a bevel or land of length (n,) mm lifts the edge off the wood at the worst of a turn.

        Raises InputError for a bevel longer than the cylinder is wide.
        """
        c = np.atleast_1d(np.asarray(bevel, float))
        if not np.isfinite(c).all() or (c < 0).any() or (c * np.cos(self.swing) > self.radius).any():
            raise InputError(
                "bevel_mm",
                f"given {float(np.max(c)):g}, allowed is from 0 to {self.radius / np.cos(self.swing):.4g} mm on this"
                " cylinder",
                "a shorter bevel or land, or thicker work",
            )
        psi = self.swing
        off = c * np.sin(psi) - (self.radius - np.sqrt(self.radius**2 - (c * np.cos(psi)) ** 2))
        return np.maximum(off, 0.0)

    def clearance_needed(self, bevel: Floats) -> Floats:
        """(n,) rad: the clearance angle at the mean tangent that keeps the heel from lifting the edge all round."""
        c = np.asarray(bevel, float)
        return np.maximum(self.swing - np.arcsin(np.minimum(c / (2 * self.radius), 1.0)), 0.0)
