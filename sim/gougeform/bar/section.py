"""The bar's cross-section: outline and flute put together, and the two places where they meet (the lips).

Frame: x sideways, y up, the bar axis at (0, 0), mm. The steel lies inside the outline and below the flute.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.bar import Bar
from gougeform.bar.curves import HalfCurve
from gougeform.bar.flute import Flute
from gougeform.bar.outline import Outline
from gougeform.errors import InputError
from gougeform.numerics.roots import bracketed_roots

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Section:
    """A fluted bar's section.

    y_floor: height of the flute's floor, mm. Places on the flute are u (0 at the floor, negative on the left),
    on the outline v (see `gougeform.bar.outline`). u_left < 0 < u_right and v_left < v_right are the lips.
    """

    outline: Outline
    flute: HalfCurve
    y_floor: float
    u_left: float
    u_right: float
    v_left: float
    v_right: float

    def flute_point(self, u: Floats) -> Floats:
        """(n, 2) mm: points of the flute at u (n,)."""
        u = np.asarray(u, float)
        x, y = self.flute.point(np.abs(u))
        return np.stack([np.where(u < 0, -x, x), y + self.y_floor], -1)

    def flute_tangent(self, u: Floats) -> Floats:
        """(n, 2) mm per unit of u, toward growing u (to the right at the floor)."""
        u = np.asarray(u, float)
        dx, dy = self.flute.tangent(np.abs(u))
        return np.stack([dx, np.where(u < 0, -dy, dy)], -1)

    def flute_normal(self, u: Floats) -> Floats:
        """(n, 2) unit vectors out of the steel, up into the flute."""
        t = self.flute_tangent(u)
        return np.stack([-t[..., 1], t[..., 0]], -1) / np.linalg.norm(t, axis=-1, keepdims=True)

    def lip(self, side: int) -> Floats:
        """(2,) mm: the right (+1) or left (-1) lip."""
        return self.flute_point(np.array([self.u_right if side > 0 else self.u_left]))[0]

    @property
    def underside(self) -> float:
        """Lowest y of the bar, mm."""
        return -self.outline.support((0.0, -1.0))

    @property
    def lip_plane(self) -> float:
        """Height of a flat plate pressed against the lips: highest y of the steel, mm."""
        v = np.linspace(self.v_left, self.v_right, 256)
        return float(self.outline.point(np.concatenate([v, self.corners()]))[:, 1].max())

    def corners(self, off: float = 0.0) -> Floats:
        """(n,) places of the outline, between the lips, where it breaks; off: how far from a lip one must lie."""
        inner = self.outline.breaks
        return inner[(inner > self.v_left + off) & (inner < self.v_right - off)]

    def ring(self, count: int) -> Floats:
        """(n, 2) mm: once round the steel, so many places on the outline and half as many on the flute."""
        v = np.sort(np.concatenate([np.linspace(self.v_left, self.v_right, count), self.corners()]))
        flute = self.flute_point(np.linspace(self.u_right, self.u_left, count // 2 + 1))
        return np.concatenate([self.outline.point(v), flute])

    def vee_apex(self, vee: float) -> float:
        """Height of the apex of a V of opening `vee` (rad) in which the bar lies, mm.

        A round bar of radius r has its axis r / sin(vee / 2) above it.
        """
        c, s = np.cos(vee / 2), np.sin(vee / 2)
        return -(self.outline.support((c, -s)) + self.outline.support((-c, -s))) / (2 * s)


_MOUTH = 1e-3  # of the bar's size: a flute whose lips stand nearer together is a hole


@lru_cache(maxsize=64)  # a study or a search grinds the same bar thousands of times
def build_section(bar: Bar, flute: Flute) -> Section:
    """Put a bar and a flute together; the same section for the same two.

    Raises InputError where the flute is deeper than the bar, or closed, or does not meet the outline on both sides.
    """
    outline = bar.build()
    bottom, top = outline.on_middle_plane(below=True), outline.on_middle_plane(below=False)
    size = 2 * float(np.abs(outline.start).max())
    curve, floor = flute.curve(size), flute.floor_mm
    y_floor = bottom + flute.web_mm if floor is None else floor  # type: ignore[operator]
    if y_floor >= top and flute.web_mm is None:
        raise InputError(
            "flute.points_mm", "the flute lies over the bar", f"keep its floor below y = {top:g}, or give web_mm"
        )
    if y_floor >= top:
        raise InputError(
            "flute.web_mm",
            f"given {flute.web_mm:g}: the bar is {top - bottom:g} mm thick, so no flute is left",
            f"give a web below {top - bottom:g}, or the bar's whole thickness where half of it was given",
        )
    if y_floor <= bottom:
        raise InputError("flute.points_mm", "the flute is deeper than the bar", f"keep its floor above y = {bottom:g}")
    lips = [_leave(outline, curve, y_floor, side) for side in (-1, 1)]
    mouth = float(lips[1][1][0] - lips[0][1][0])
    if mouth < _MOUTH * size:
        raise InputError(
            "flute",
            f"the flute is closed at the top of the bar: its lips stand {max(mouth, 0.0):.2g} mm apart",
            "use a larger flute radius or a thicker web",
        )
    places = outline.nearest(np.stack([p for _, p in lips]))[1]
    return Section(outline, curve, y_floor, -lips[0][0], lips[1][0], float(places[0]), float(places[1]))


def _leave(outline: Outline, curve: HalfCurve, y_floor: float, side: int) -> tuple[float, Floats]:
    """Where one half of the flute leaves the outline: |u| and the point (2,)."""

    def place(u: Floats) -> Floats:
        x, y = curve.point(u)
        return np.stack([side * x, y + y_floor], -1)

    u = np.linspace(0.0, curve.reach, 1025)
    outside = np.flatnonzero(~outline.contains(place(u)))
    if not len(outside):
        raise InputError(
            "flute",
            f"the flute does not meet the bar's outline on the {'right' if side > 0 else 'left'} side",
            "use a larger flute radius or a thicker web",
        )
    k = int(outside[0])
    if k == 0:
        raise InputError("flute.web_mm", "the flute's floor lies outside the bar", "use a thicker web")

    lo, hi = u[[k - 1]], u[[k]]
    gap_lo, gap_hi = outline.nearest(place(lo))[0], outline.nearest(place(hi))[0]
    if gap_hi[0] <= 0:
        root = hi
    elif gap_lo[0] >= 0:
        root = lo
    else:
        root = bracketed_roots(lambda _, t: outline.nearest(place(t))[0], lo, hi, gap_lo, gap_hi, width=1e-15)
    return float(root[0]), place(root)[0]
