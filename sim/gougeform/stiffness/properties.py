"""Section properties of the fluted bar, by integrals round its boundary (Green's theorem). Lengths mm.

Every smooth piece of the boundary is integrated by Gauss's rule, exact for straight pieces and to rounding for arcs.
Signs follow geometry: x sideways, y up, from the bar axis.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.outline import Outline
from gougeform.bar.section import Section

Floats = NDArray[np.float64]

_NODES = 32


@dataclass(frozen=True)
class Properties:
    """area: mm². x, y: centroid, mm. ixx, iyy, ixy: second moments about the centroid, mm⁴ (ixx bends up and down)."""

    area: float
    x: float
    y: float
    ixx: float
    iyy: float
    ixy: float

    @property
    def moments(self) -> Floats:
        """(2, 2) mm⁴: what resists a deflection along x and y: [[∫x², ∫xy], [∫xy, ∫y²]]."""
        return np.array([[self.iyy, self.ixy], [self.ixy, self.ixx]])


def fluted(section: Section) -> Properties:
    """The bar with its flute."""
    outline = section.outline
    inner = section.corners()
    around = np.concatenate([[section.v_left], inner, [section.v_right]])
    groove = _flute_breaks(section)
    parts = [
        _moments(lambda v: (outline.point(v), outline.tangent(v)), around),
        _moments(lambda u: (section.flute_point(u), section.flute_tangent(u)), groove[::-1]),
    ]
    return _about_centroid(np.sum(parts, axis=0))


def plain(outline: Outline) -> Properties:
    """The bar without its flute."""
    around = np.arange(outline.count + 1, dtype=float)
    return _about_centroid(_moments(lambda v: (outline.point(v), outline.tangent(v)), around))


def round_bar(diameter: float) -> Properties:
    """A circle about the axis, diameter in mm."""
    i = np.pi * diameter**4 / 64
    return Properties(np.pi * diameter**2 / 4, 0.0, 0.0, i, i, 0.0)


def _flute_breaks(section: Section) -> Floats:
    """Places on the flute between which it is smooth, from the left lip to the right one."""
    right = section.flute.breaks
    inner = np.concatenate([-right[::-1], [0.0], right])
    inner = inner[(inner > section.u_left) & (inner < section.u_right)]
    return np.concatenate([[section.u_left], inner, [section.u_right]])


def _moments(curve: Callable[[Floats], tuple[Floats, Floats]], breaks: Floats) -> Floats:
    """∫ of 1, x, y, x², y², xy over the area on the left of a curve, this piece of boundary's share."""
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    low, high = breaks[:-1, None], breaks[1:, None]
    t = (low + (high - low) * (node + 1) / 2).ravel()
    # Ends of pieces belong to two of them; the nodes never fall there.
    point, tangent = curve(t)
    x, y = point.T
    dx, dy = tangent.T * np.broadcast_to((high - low) / 2 * weight, (len(low), _NODES)).ravel()
    return np.array(
        [
            (x * dy - y * dx).sum() / 2,
            (x * x * dy).sum() / 2,
            -(y * y * dx).sum() / 2,
            (x**3 * dy).sum() / 3,
            -(y**3 * dx).sum() / 3,
            (x * x * y * dy - x * y * y * dx).sum() / 4,
        ]
    )


def _about_centroid(m: Floats) -> Properties:
    area, sx, sy, xx, yy, xy = m
    x, y = sx / area, sy / area
    return Properties(
        float(area),
        float(x),
        float(y),
        float(yy - area * y * y),
        float(xx - area * x * x),
        float(xy - area * x * y),
    )
