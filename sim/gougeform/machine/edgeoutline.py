"""The edge a traced grind asks for, as a curve on the flute with two derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class EdgeOutline:
    """The wanted edge seen from above: one conic a side, nose (0, 0), ends (x_left, -wing) and (x_right, -wing).

    A rational quadratic Bézier with control point (shoulder·x_end, 0) and middle weight fullness / (1 - fullness).
    """

    section: Section
    x_left: float
    x_right: float
    wing: float
    fullness: float
    shoulder: float

    def at(self, s: Floats) -> tuple[Floats, Floats, Floats]:
        """Point, first and second derivative by s (each (3, n)) of the edge in the tool frame."""
        t, sign = np.abs(s), np.where(s < 0, -1.0, 1.0)
        w = self.fullness / (1 - self.fullness)
        x_end = np.where(s < 0, -self.x_left, self.x_right)
        # Numerators and the common denominator are quadratics in t: value, first, second derivative.
        den, den1, den2 = 1 + (2 * w - 2) * t * (1 - t), (2 * w - 2) * (1 - 2 * t), -2 * (2 * w - 2)
        k = 2 * w * self.shoulder
        x0, x1, x2 = k * t + (1 - k) * t * t, k + 2 * (1 - k) * t, 2 * (1 - k)
        x = x0 / den
        dx = (x1 - x * den1) / den
        ddx = (x2 - 2 * dx * den1 - x * den2) / den
        z = t * t / den
        dz = (2 * t - z * den1) / den
        ddz = (2 - 2 * dz * den1 - z * den2) / den
        x, dx, ddx = x * x_end, dx * x_end, ddx * x_end
        z, dz, ddz = -self.wing * z, -self.wing * dz, -self.wing * ddz
        y, slope, bend = self.section.flute.height(x)
        place, first, second = np.empty((3, 3, len(s)))  # filled row by row: quicker than stacking
        place[0], place[1], place[2] = sign * x, y + self.section.y_floor, z
        first[0], first[1], first[2] = dx, sign * slope * dx, sign * dz
        second[0], second[1], second[2] = sign * ddx, bend * dx * dx + slope * ddx, ddz
        return place, first, second


def edge_outline(section: Section, wing: float, fullness: float, shoulder: float) -> EdgeOutline:
    """The outline of a wing length (mm), fullness and shoulder on this section."""
    # Where a wall leans inward the outline ends at the flute's widest place: further out is not seen from above.
    widest = section.flute.widest * (1 - 1e-6)
    return EdgeOutline(
        section,
        x_left=-min(-float(section.lip(-1)[0]), widest) if section.u_left else 0.0,
        x_right=min(float(section.lip(1)[0]), widest),
        wing=wing,
        fullness=fullness,
        shoulder=shoulder,
    )
