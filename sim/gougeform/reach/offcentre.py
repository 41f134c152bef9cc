"""Off-centre work: a cylinder turned about an axis that is not its own.

Model. A cylinder of radius r turns about an axis offset by e from its own. Where the tool is, the wood's surface comes
and goes by 2e in a turn, and its tangent swings to both sides by asin(e / r): by the sine rule in the triangle of both
axes and the contact. Hands follow the coming and going, but hold the tool's direction. Set to the mean tangent, a
straight bevel is then tilted into the wood by up to that angle psi, and what would dig in lifts the edge. With the
bevel's place at x from the edge on the cylinder, the edge stands x sin psi - (r - sqrt(r² - x² cos² psi)) off it. That
grows until the bevel lies tangent at x = r tan psi, where it is r (1 / cos psi - 1); so a land shorter than that helps,
and a bevel longer than that is no worse. Lengths mm, angles rad here.
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
        """How far the surface comes and goes in a turn, mm."""
        return 2 * self.offset

    def tilt(self, turn: Floats) -> Floats:
        """(n,) rad: the tangent's tilt at angles of rotation (n,) rad, 0 where the axes and the contact line up."""
        return np.arcsin(self.offset * np.sin(turn) / self.radius)

    def distance(self, turn: Floats) -> Floats:
        """(n,) mm: lathe axis to the surface at angles of rotation (n,) rad."""
        return self.offset * np.cos(turn) + np.sqrt(self.radius**2 - (self.offset * np.sin(turn)) ** 2)

    def lift(self, bevel: Floats) -> Floats:
        """(n,) mm: how far a bevel or land of length (n,) mm lifts the edge off the wood at the worst of a turn.

        Raises InputError for a length below 0.
        """
        c = np.atleast_1d(np.asarray(bevel, float))
        if not np.isfinite(c).all() or (c < 0).any():
            raise InputError("bevel_mm", f"given {float(np.min(c)):g}, allowed is 0 mm or more", "change the length")
        psi = self.swing
        x = np.minimum(c, self.tangent_at)
        return np.maximum(x * np.sin(psi) - (self.radius - np.sqrt(self.radius**2 - (x * np.cos(psi)) ** 2)), 0.0)

    @property
    def tangent_at(self) -> float:
        """In mm: a bevel of this length or longer lies tangent to the wood at the worst of a turn."""
        return float(self.radius * np.tan(self.swing))
