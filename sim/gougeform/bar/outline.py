"""The outline of a bar: a closed chain of straight and circular pieces, walked anticlockwise from the top.

A place on the outline is one number v: the whole part says which piece, the rest how far along it (0 … 1).
v = 0 is the topmost point on the middle plane x = 0; the left side (x < 0) comes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Outline:
    """Pieces of a closed outline, all lengths in mm.

    start, end: (m, 2) end points of every piece.
    centre: (m, 2), radius: (m,) of the circular ones; radius 0 marks a straight piece.
    angle, turn: (m,) polar angle of the start and angle turned (positive, anticlockwise), rad.
    """

    start: Floats
    end: Floats
    centre: Floats
    radius: Floats
    angle: Floats
    turn: Floats

    @property
    def count(self) -> int:
        """Number of pieces; places run from 0 to count."""
        return len(self.radius)

    def _local(self, v: Floats) -> tuple[NDArray[np.intp], Floats]:
        v = np.mod(np.asarray(v, float), self.count)
        piece = np.minimum(v.astype(np.intp), self.count - 1)
        return piece, v - piece

    def point(self, v: Floats) -> Floats:
        """(n, 2) mm: the points at places v (n,)."""
        i, t = self._local(v)
        straight = self.start[i] + t[..., None] * (self.end[i] - self.start[i])
        phi = self.angle[i] + t * self.turn[i]
        bent = self.centre[i] + self.radius[i][..., None] * np.stack([np.cos(phi), np.sin(phi)], -1)
        return np.where((self.radius[i] > 0)[..., None], bent, straight)

    def tangent(self, v: Floats) -> Floats:
        """(n, 2) mm per unit of v: derivative of `point`."""
        i, t = self._local(v)
        phi = self.angle[i] + t * self.turn[i]
        bent = (self.radius[i] * self.turn[i])[..., None] * np.stack([-np.sin(phi), np.cos(phi)], -1)
        return np.where((self.radius[i] > 0)[..., None], bent, self.end[i] - self.start[i])

    def normal(self, v: Floats) -> Floats:
        """(n, 2) unit vectors out of the steel at places v (n,)."""
        t = self.tangent(v)
        return np.stack([t[..., 1], -t[..., 0]], -1) / np.linalg.norm(t, axis=-1, keepdims=True)

    def nearest(self, points: Floats) -> tuple[Floats, Floats]:
        """Signed distance (n,) mm of points (n, 2), negative inside, and the place v (n,) of the nearest point."""
        p = np.atleast_2d(np.asarray(points, float))[:, None, :]
        chord = self.end - self.start
        t = np.clip(((p - self.start) * chord).sum(-1) / np.maximum((chord**2).sum(-1), 1e-300), 0.0, 1.0)
        rel = p - self.centre
        phi = np.mod(np.arctan2(rel[..., 1], rel[..., 0]) - self.angle, 2 * np.pi)
        turn = np.where(self.turn > 0, self.turn, 1.0)
        # Beyond the arc the nearer of its two ends counts: split the gap in the middle.
        bent = np.where(phi <= turn, phi / turn, np.where(phi < np.pi + turn / 2, 1.0, 0.0))
        t = np.where(self.radius > 0, bent, t)
        foot = self.point(self.breaks + np.minimum(t, 1 - 1e-16))
        foot = np.where((t >= 1)[..., None], self.end, foot)
        d = np.linalg.norm(p - foot, axis=-1)
        best = d.argmin(1)
        rows = np.arange(len(best))
        return np.where(self.contains(p[:, 0]), -1.0, 1.0) * d[rows, best], np.mod(best + t[rows, best], self.count)

    def contains(self, points: Floats) -> NDArray[np.bool_]:
        """(n,) true where points (n, 2) lie inside: crossings of the ray toward +x."""
        p = np.asarray(points, float)[:, None, :]
        y0, y1 = self.start[:, 1], self.end[:, 1]
        up = (y0 <= p[..., 1]) & (y1 > p[..., 1])
        down = (y1 <= p[..., 1]) & (y0 > p[..., 1])
        with np.errstate(divide="ignore", invalid="ignore"):
            x = self.start[:, 0] + (p[..., 1] - y0) / (y1 - y0) * (self.end[:, 0] - self.start[:, 0])
        odd = ((up | down) & (x > p[..., 0])).sum(1) % 2 == 1
        # The chords stand for the arcs so far; a point between an arc and its chord flips the answer.
        rel = p - self.centre
        chord = self.end - self.start
        beyond = chord[:, 0] * (p[..., 1] - self.start[:, 1]) - chord[:, 1] * (p[..., 0] - self.start[:, 0]) < 0
        in_cap = (self.radius > 0) & beyond & ((rel**2).sum(-1) < self.radius**2)
        return odd ^ (in_cap.sum(1) % 2 == 1)

    def support(self, direction: tuple[float, float]) -> float:
        """Largest value of p · direction over the outline, mm (direction a unit vector)."""
        d = np.asarray(direction, float)
        phi = np.mod(np.arctan2(d[1], d[0]) - self.angle, 2 * np.pi)
        on_arc = (self.radius > 0) & (phi <= self.turn)
        ends = np.maximum(self.start @ d, self.end @ d)
        return float(np.where(on_arc, self.centre @ d + self.radius, ends).max())

    @cached_property
    def breaks(self) -> Floats:
        """(m,) places where one piece ends and the next begins."""
        return np.arange(self.count, dtype=float)

    def on_middle_plane(self, *, below: bool) -> float:
        """Height y (mm) of the lowest or highest point of the outline on the plane x = 0."""
        return self._middle[0] if below else self._middle[1]

    @cached_property
    def _middle(self) -> tuple[float, float]:
        x0, x1 = self.start[:, 0], self.end[:, 0]
        straight = (self.radius == 0) & (x0 * x1 <= 0) & (x0 != x1)
        t = x0[straight] / (x0[straight] - x1[straight])
        found = [self.start[straight, 1] + t * (self.end[straight, 1] - self.start[straight, 1])]
        bent = (self.radius > np.abs(self.centre[:, 0])) & (self.radius > 0)
        c, r = self.centre[bent], self.radius[bent]
        for sign in (1.0, -1.0):
            rise = sign * np.sqrt(r**2 - c[:, 0] ** 2)
            turned = np.mod(np.arctan2(rise, -c[:, 0]) - self.angle[bent] + 1e-9, 2 * np.pi)
            found.append((c[:, 1] + rise)[turned <= self.turn[bent] + 2e-9])
        y = np.concatenate(found)
        return float(y.min()), float(y.max())


def round_outline(diameter: float) -> Outline:
    """A circle about the bar axis, diameter in mm."""
    r = diameter / 2
    corner = np.array([[0, r], [-r, 0], [0, -r], [r, 0]])
    return Outline(
        start=corner,
        end=np.roll(corner, -1, 0),
        centre=np.zeros((4, 2)),
        radius=np.full(4, r),
        angle=np.array([0.5, 1.0, 1.5, 0.0]) * np.pi,
        turn=np.full(4, np.pi / 2),
    )


def square_outline(side: float, corner_radius: float) -> Outline:
    """A square of that side (mm) about the bar axis, its corners rounded (mm, may be 0). Raises InputError."""
    a, r = side / 2, corner_radius
    if r > a:
        raise InputError(
            "bar.corner_radius_mm",
            f"given {r:g}, allowed at most half the side, {a:g}",
            "use a smaller corner radius, or a round bar",
        )
    pieces: list[tuple[tuple[float, float], tuple[float, float], tuple[float, float], float, float]] = []
    here = (0.0, a)
    for k, (sx, sy) in enumerate([(-1, 1), (-1, -1), (1, -1), (1, 1)]):
        centre = (sx * (a - r), sy * (a - r))
        phi = (0.5 + 0.5 * k) * np.pi
        begin = (centre[0] + r * round(np.cos(phi)), centre[1] + r * round(np.sin(phi)))
        stop = (
            centre[0] + r * round(np.cos(phi + np.pi / 2)),
            centre[1] + r * round(np.sin(phi + np.pi / 2)),
        )
        if begin != here:
            pieces.append((here, begin, (0.0, 0.0), 0.0, 0.0))
        if r > 0:
            pieces.append((begin, stop, centre, r, phi))
        here = stop
    if here != (0.0, a):
        pieces.append((here, (0.0, a), (0.0, 0.0), 0.0, 0.0))
    start, end, centre_, radius, angle = (np.array(column, float) for column in zip(*pieces, strict=True))
    return Outline(start, end, centre_, radius, angle, np.where(radius > 0, np.pi / 2, 0.0))


def ring(points: Floats) -> Floats:
    """Points (n, 2) mm of a measured closed outline, anticlockwise, none of them twice; given in either sense.

    Raises InputError for too few or double points, a crossing, or an axis outside.
    """
    from shapely.geometry import LinearRing

    field = "bar.points_mm"
    p = np.asarray(points, float)
    if len(p) > 1 and np.allclose(p[0], p[-1], rtol=0, atol=1e-9):
        p = p[:-1]
    if len(p) < 3:
        raise InputError(field, f"given {len(p)} different points, allowed 3 or more", "add points")
    gap = np.linalg.norm(np.roll(p, -1, 0) - p, axis=1)
    if gap.min() < 1e-6:
        where = int(gap.argmin()) + 1
        raise InputError(field, f"points {where} and {where % len(p) + 1} are the same", "remove one of them")
    ring = LinearRing(p)
    if not ring.is_simple:
        raise InputError(field, "the outline crosses itself", "give the points in order around the bar")
    if not ring.is_ccw:
        p = p[::-1]
    nxt = np.roll(p, -1, 0)
    if not ((p[:, 0] > 0) & (nxt[:, 0] <= 0)).any() or not (p[:, 0] < 0).any():
        raise InputError(
            field,
            "the outline does not reach both sides of the middle plane x = 0",
            "measure x from the middle of the flute and y from the bar axis",
        )
    return p


def free_outline(points: Floats) -> Outline:
    """A measured closed outline: straight pieces between points (n, 2) mm. Raises InputError as `ring` does."""
    p = ring(points)
    nxt = np.roll(p, -1, 0)
    crosses = np.flatnonzero((p[:, 0] > 0) & (nxt[:, 0] <= 0))
    t = p[crosses, 0] / (p[crosses, 0] - nxt[crosses, 0])
    y = p[crosses, 1] + t * (nxt[crosses, 1] - p[crosses, 1])
    first = int(crosses[y.argmax()])
    top = np.array([[0.0, y.max()]])
    p = np.roll(p, -(first + 1), 0)
    corner = np.vstack([top, p[1:] if np.allclose(p[0], top[0], rtol=0, atol=1e-9) else p])
    m = len(corner)
    zero = np.zeros(m)
    return Outline(corner, np.roll(corner, -1, 0), np.zeros((m, 2)), zero, zero, zero)
