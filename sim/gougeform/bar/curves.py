"""The flute's curve across the bar: from its floor outward, in closed form, the left half the mirror image.

A place on the flute is one number u, 0 at the floor, positive to the right. The curve goes on above the bar;
`gougeform.bar.section` finds where it leaves the steel. All lengths in mm, the floor at (0, 0).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError

Floats = NDArray[np.float64]
Three = tuple[Floats, Floats, Floats]


class HalfCurve(Protocol):
    """One half of a flute's curve, for u ≥ 0 and x ≥ 0."""

    @property
    def reach(self) -> float:
        """Largest u for which the curve is defined."""
        ...

    @property
    def widest(self) -> float:
        """Largest x up to which the curve is a graph y(x): where the wall would begin to lean inward."""
        ...

    @property
    def breaks(self) -> Floats:
        """(k,) places u > 0 where the curve is joined from pieces; it is smooth between them."""
        ...

    def point(self, u: Floats) -> tuple[Floats, Floats]:
        """x, y (n,) mm at u (n,)."""
        ...

    def tangent(self, u: Floats) -> tuple[Floats, Floats]:
        """dx/du, dy/du (n,)."""
        ...

    def height(self, x: Floats) -> Three:
        """y, dy/dx, d²y/dx² (n,) at 0 ≤ x < widest, on the lower branch."""
        ...

    def place(self, x: Floats) -> Floats:
        """The u (n,) of the lower branch at 0 ≤ x ≤ widest."""
        ...


@dataclass(frozen=True)
class EllipseCurve:
    """Half axes a (sideways) and b (up); an arc is a = b. u is the eccentric angle, rad."""

    a: float
    b: float
    reach: float = np.pi

    @property
    def breaks(self) -> Floats:
        """As `HalfCurve` says."""
        return np.zeros(0)

    @property
    def widest(self) -> float:
        """As `HalfCurve` says."""
        return self.a

    def point(self, u: Floats) -> tuple[Floats, Floats]:
        """As `HalfCurve` says."""
        return self.a * np.sin(u), self.b * 2 * np.sin(u / 2) ** 2

    def tangent(self, u: Floats) -> tuple[Floats, Floats]:
        """As `HalfCurve` says."""
        return self.a * np.cos(u), self.b * np.sin(u)

    def height(self, x: Floats) -> Three:
        """As `HalfCurve` says."""
        q = x / self.a
        c = np.sqrt(1 - q * q)
        return (
            self.b * q * q / (1 + c),
            self.b / self.a * q / c,
            self.b / self.a**2 / c**3,
        )

    def place(self, x: Floats) -> Floats:
        """As `HalfCurve` says."""
        return np.arcsin(np.clip(x / self.a, 0.0, 1.0))


@dataclass(frozen=True)
class ParabolaCurve:
    """y = x² / (2 · floor_radius); u is x."""

    floor_radius: float
    reach: float
    widest: float = np.inf

    @property
    def breaks(self) -> Floats:
        """As `HalfCurve` says."""
        return np.zeros(0)

    def point(self, u: Floats) -> tuple[Floats, Floats]:
        """As `HalfCurve` says."""
        return u, u * u / (2 * self.floor_radius)

    def tangent(self, u: Floats) -> tuple[Floats, Floats]:
        """As `HalfCurve` says."""
        return np.ones_like(u), u / self.floor_radius

    def height(self, x: Floats) -> Three:
        """As `HalfCurve` says."""
        r = self.floor_radius
        return x * x / (2 * r), x / r, np.full_like(x, 1 / r)

    def place(self, x: Floats) -> Floats:
        """As `HalfCurve` says."""
        return x


@dataclass(frozen=True)
class VeeCurve:
    """A floor arc that runs tangent into straight flanks. flank: angle of a flank to the middle plane, rad.

    u is the arc length.
    """

    floor_radius: float
    flank: float
    reach: float
    widest: float = np.inf

    @property
    def _bend(self) -> float:
        return np.pi / 2 - self.flank

    @property
    def breaks(self) -> Floats:
        """As `HalfCurve` says."""
        return np.array([self.floor_radius * self._bend])

    def point(self, u: Floats) -> tuple[Floats, Floats]:
        """As `HalfCurve` says."""
        r, bend = self.floor_radius, self._bend
        a = np.minimum(u / r, bend)
        run = u - a * r
        return (
            r * np.sin(a) + run * np.cos(bend),
            2 * r * np.sin(a / 2) ** 2 + run * np.sin(bend),
        )

    def tangent(self, u: Floats) -> tuple[Floats, Floats]:
        """As `HalfCurve` says."""
        a = np.minimum(u / self.floor_radius, self._bend)
        return np.cos(a), np.sin(a)

    def height(self, x: Floats) -> Three:
        """As `HalfCurve` says."""
        r, bend = self.floor_radius, self._bend
        x1 = r * np.sin(bend)
        q = np.minimum(x, x1) / r
        c = np.maximum(np.sqrt(1 - q * q), np.sin(self.flank))  # of flanks all but upright nothing else is left of it
        straight = x > x1
        return (
            r * q * q / (1 + c) + np.maximum(x - x1, 0.0) * np.tan(bend),
            q / c,
            np.where(straight, 0.0, 1 / (r * c**3)),
        )

    def place(self, x: Floats) -> Floats:
        """As `HalfCurve` says."""
        r, bend = self.floor_radius, self._bend
        x1 = r * np.sin(bend)
        return r * np.arcsin(np.minimum(x, x1) / r) + np.maximum(x - x1, 0.0) / np.cos(bend)


@dataclass(frozen=True, eq=False)
class SplineCurve:
    """Measured points from the floor outward, joined by a cubic spline over the chord length u, mirrored.

    Beyond the last point the curve goes on straight.
    """

    points: Floats  # (n, 2), the first (0, 0)
    breaks: Floats = field(init=False)
    reach: float = field(init=False)
    widest: float = field(init=False)
    _spline: Any = field(init=False)
    _last: tuple[float, Floats, Floats] = field(init=False)  # u, point and direction where the points end
    _graph: tuple[Floats, Floats] = field(init=False)  # u and x of samples while x still grows

    def __post_init__(self) -> None:
        from scipy.interpolate import CubicSpline

        p = self.points
        chord = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1))])
        whole_u = np.concatenate([-chord[:0:-1], chord])
        whole = np.concatenate([p[:0:-1] * [-1, 1], p])
        spline = CubicSpline(whole_u, whole)
        step = spline(chord[-1], 1)
        object.__setattr__(self, "breaks", chord[1:])
        object.__setattr__(self, "_spline", spline)
        object.__setattr__(self, "_last", (chord[-1], p[-1], step / np.linalg.norm(step)))
        object.__setattr__(self, "reach", chord[-1] + 4 * float(np.abs(p).max()))
        u = np.linspace(0, chord[-1], 40 * len(p))
        x = spline(u)[:, 0]
        turns = np.flatnonzero(np.diff(x) <= 0)
        graph_end = u[turns[0]] if len(turns) else chord[-1]
        object.__setattr__(self, "_graph", (u[u <= graph_end], x[u <= graph_end]))
        leans = len(turns) > 0 or step[0] <= 0
        object.__setattr__(self, "widest", float(x[u <= graph_end].max()) if leans else np.inf)

    def point(self, u: Floats) -> tuple[Floats, Floats]:
        """As `HalfCurve` says."""
        end, _, direction = self._last
        p = self._spline(np.minimum(u, end))
        over = np.maximum(u - end, 0.0)
        return p[..., 0] + over * direction[0], p[..., 1] + over * direction[1]

    def tangent(self, u: Floats) -> tuple[Floats, Floats]:
        """As `HalfCurve` says."""
        end, _, direction = self._last
        d = np.where((u > end)[..., None], direction, self._spline(np.minimum(u, end), 1))
        return d[..., 0], d[..., 1]

    def place(self, x: Floats) -> Floats:
        """As `HalfCurve` says."""
        end, at, direction = self._last
        known_u, known_x = self._graph
        u = np.interp(x, known_x, known_u)
        for _ in range(8):
            p, d = self._spline(u), self._spline(u, 1)
            u = np.clip(u - (p[..., 0] - x) / np.where(np.abs(d[..., 0]) > 1e-12, d[..., 0], 1e-12), 0.0, end)
        return np.where(x > at[0], end + (x - at[0]) / max(direction[0], 1e-12), u)

    def height(self, x: Floats) -> Three:
        """As `HalfCurve` says."""
        u = self.place(x)
        y = self.point(u)[1]
        dx, dy = self.tangent(u)
        end = self._last[0]
        dd = np.where((u >= end)[..., None], 0.0, self._spline(np.minimum(u, end), 2))
        return y, dy / dx, (dd[..., 1] * dx - dd[..., 0] * dy) / dx**3


def measured_curve(points: Floats) -> tuple[SplineCurve, float]:
    """A flute through measured points (n, 2) mm, one half from the floor outward or all of it from lip to lip.

    Returns the curve with its floor at (0, 0), and the height of the floor as given. Asymmetry up to 0.01 mm
    is averaged away; more is an InputError, since a jig grinds both wings alike.
    """
    where = "flute.points_mm"
    p = np.asarray(points, float)
    if len(p) and p[0, 0] > p[-1, 0]:
        p = p[::-1]
    on_plane = np.flatnonzero(np.abs(p[:, 0]) < 1e-9)
    if not len(on_plane):
        raise InputError(where, "no point on the middle plane x = 0", "give the floor as a point [0, y]")
    floor = int(on_plane[0])
    right, left = p[floor:], p[floor::-1] * [-1.0, 1.0]
    if floor > 0:
        if len(left) != len(right):
            raise InputError(
                where,
                f"{len(left) - 1} points left of the floor and {len(right) - 1} right of it",
                "give the same number on both sides, or only the right half from the floor outward",
            )
        off = float(np.abs(left - right).max())
        if off > 0.01:
            raise InputError(
                where,
                f"the two sides differ by {off:.3g} mm; a flute must be symmetric to 0.01 mm",
                "average the two sides, or give only one half",
            )
        right = (left + right) / 2
    right = right - [0.0, right[0, 1]]
    if len(right) < 3:
        raise InputError(where, f"{len(right)} points on a half, at least 3 are needed", "measure more points")
    step = np.linalg.norm(np.diff(right, axis=0), axis=1)
    if step.min() < 1e-6:
        raise InputError(where, "two points in a row are the same", "remove one of them")
    from shapely.geometry import LineString

    if (right[1:, 0] <= 0).any() or not LineString(right).is_simple:
        raise InputError(where, "the flute crosses itself or the middle plane", "give the points in order")
    return SplineCurve(right), float(p[floor, 1])
