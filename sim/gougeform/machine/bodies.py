"""Boxes and round bars near a wheel: how far each stands off it, exactly, in many placements at once.

Distance from a wheel is a convex function of place, so its least value over a convex body lies where a face, an edge or
an axis of that body says; only the search along an edge or a rim is iterated. Lengths mm, vectors (3, n).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import product
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gougeform.machine.pose import Pose, apply, dot
from gougeform.machine.solid import WheelSolid

Floats = NDArray[np.float64]
Gaps = tuple[Floats, Floats]
"""Least distances (n,) mm from the wheel, below 0 where the body is in it, and the body's nearest points (3, n)."""

_HALVINGS = 16  # of an edge: 0.3 m to 5e-3 mm, and the distance to far less
_AROUND = 24  # places round a rim, between which its nearest one is searched
_TURNS = 6  # then it is nine places of a piece a quarter as long, so often
_BENT = 1e-6  # the sine of an angle below which a bar's axis runs along the wheel's surface


class Convex(Protocol):
    """A convex body in a frame of its own."""

    def gaps(self, wheel: WheelSolid, pose: Pose) -> Gaps:
        """How far it stands off a wheel in n placements."""
        ...

    def off(self, points: Floats) -> Floats:
        """Signed distance (…,) mm of points (3, …), in its own frame, from it."""
        ...


@dataclass(frozen=True, eq=False)
class Box:
    """centre: (3,) mm, half: (3,) half its size along x, y and z, mm."""

    centre: Floats
    half: Floats

    def gaps(self, wheel: WheelSolid, pose: Pose) -> Gaps:
        """As `Convex` says."""
        sign = np.array(list(product((-1.0, 1.0), repeat=3))).T
        corner = self.centre[:, None] + self.half[:, None] * sign
        # Edges run from the corners at the low end of their own direction.
        begin = np.concatenate([corner[:, sign[i] < 0] for i in range(3)], axis=1)
        way = np.repeat(np.diag(2 * self.half), 4, axis=1)
        n, m = pose.turn.shape[2], begin.shape[1]
        wide = _spread(pose, m)
        found = [_along(wheel, wide.place(np.tile(begin, n)), apply(wide.turn, np.tile(way, n)))[:2]]
        if wheel.curvature > 0:
            found.append(self._faces(wheel, pose))
        gap = np.concatenate([part[0].reshape(n, -1) for part in found], axis=1)
        near = np.concatenate([part[1].reshape(3, n, -1) for part in found], axis=2)
        k, rows = gap.argmin(1), np.arange(n)
        return gap[rows, k], near[:, rows, k]

    def off(self, points: Floats) -> Floats:
        """As `Convex` says."""
        far = np.abs(np.moveaxis(points, 0, -1) - self.centre) - self.half
        return np.asarray(np.linalg.norm(np.maximum(far, 0.0), axis=-1) + np.minimum(far.max(-1), 0.0))

    def _faces(self, wheel: WheelSolid, pose: Pose) -> Gaps:
        """Distances (n·6,) and points of the places on each face that lie opposite the wheel's furthest one."""
        n = pose.turn.shape[2]
        outward = np.concatenate([np.eye(3), -np.eye(3)], axis=1)
        wide = _spread(pose, 6)
        normal = np.tile(outward, n)
        middle = wide.place(self.centre[:, None] + self.half[:, None] * normal)
        top = wheel.furthest(-apply(wide.turn, normal), middle)
        off = top - middle
        inside = np.stack([dot(wide.turn[:, i], off) for i in range(3)])
        half = self.half[:, None]
        inside = np.clip(inside, -half, half) * (1 - np.abs(normal))
        near = middle + apply(wide.turn, inside)
        return wheel.distance(near)[0], near


@dataclass(frozen=True, eq=False)
class Round:
    """A round bar with flat ends. start, end: (3,) middles of its ends; radius: all mm."""

    start: Floats
    end: Floats
    radius: float

    def gaps(self, wheel: WheelSolid, pose: Pose) -> Gaps:
        """As `Convex` says."""
        a, b = (pose.place(np.repeat(p[:, None], pose.turn.shape[2], 1)) for p in (self.start, self.end))
        way = b - a
        gap, axis, t = _along(wheel, a, way)
        normal = wheel.distance(axis)[1]
        along = way / np.sqrt(dot(way, way))
        near = axis - self.radius * normal
        gap = gap - self.radius
        # At an end, where the axis still falls toward the wheel, the flat end is what is nearest.
        ends = np.flatnonzero(((t == 0) | (t == 1)) & (np.abs(dot(normal, along)) > _BENT))
        if len(ends):
            gap[ends], near[:, ends] = self._end(wheel, axis[:, ends], along[:, ends])
        return gap, near

    def off(self, points: Floats) -> Floats:
        """As `Convex` says."""
        way = self.end - self.start
        long = float(np.linalg.norm(way))
        from_middle = np.moveaxis(points, 0, -1) - (self.start + self.end) / 2
        along = from_middle @ (way / long)
        across = np.sqrt(np.maximum((from_middle**2).sum(-1) - along**2, 0.0))
        far = np.stack([np.abs(along) - long / 2, across - self.radius])
        return np.asarray(np.linalg.norm(np.maximum(far, 0.0), axis=0) + np.minimum(far.max(0), 0.0))

    def _end(self, wheel: WheelSolid, middle: Floats, axis: Floats) -> Gaps:
        """The same of discs square to unit vectors `axis` (3, m) about points `middle` (3, m)."""
        m = middle.shape[1]
        normal = wheel.distance(middle)[1]
        one = normal - dot(normal, axis) * axis
        flat = dot(one, one) < _BENT**2
        # Any direction does where the disc faces the wheel squarely.
        other = np.eye(3)[:, np.abs(axis).argmin(0)]
        one = np.where(flat, other - dot(other, axis) * axis, one)
        one /= np.sqrt(dot(one, one))
        two = np.cross(axis, one, axis=0)

        def rim(phi: Floats) -> Floats:
            """(3, m, k): places on the rim at angles (m, k)."""
            return middle[:, :, None] + self.radius * (np.cos(phi) * one[:, :, None] + np.sin(phi) * two[:, :, None])

        phi = np.broadcast_to(np.linspace(0.0, 2 * np.pi, _AROUND, endpoint=False), (m, _AROUND))
        step, rows = 2 * np.pi / _AROUND, np.arange(m)
        best = phi[rows, wheel.distance(rim(phi).reshape(3, -1))[0].reshape(m, -1).argmin(1)]
        for _ in range(_TURNS):
            phi = best[:, None] + step * np.linspace(-1.0, 1.0, 9)
            best = phi[rows, wheel.distance(rim(phi).reshape(3, -1))[0].reshape(m, -1).argmin(1)]
            step /= 4
        near = [middle, rim(best[:, None])[:, :, 0]]
        if wheel.curvature > 0:
            # Inside the rim: opposite the wheel's furthest place.
            side = np.where(dot(normal, axis) > 0, 1.0, -1.0)
            off = wheel.furthest(side * axis, middle) - middle
            off = off - dot(off, axis) * axis
            size = np.sqrt(dot(off, off))
            near.append(middle + off * np.minimum(1.0, self.radius / np.maximum(size, 1e-300)))
        every = np.stack(near)
        gap = np.stack([wheel.distance(part)[0] for part in every])
        k = gap.argmin(0)
        return gap[k, rows], np.moveaxis(every, 0, -1)[:, rows, k]


def _spread(pose: Pose, times: int) -> Pose:
    """Every placement so many times in a row."""
    return Pose(np.repeat(pose.turn, times, axis=2), np.repeat(pose.shift, times, axis=1))


def _along(wheel: WheelSolid, begin: Floats, way: Floats) -> tuple[Floats, Floats, Floats]:
    """The nearest places on lines from `begin` (3, m) to begin + way: distance is convex, so its slope halves them.

    Returns distances (m,), the places (3, m) and how far along the lines they lie, 0 … 1.
    """
    low, high = np.zeros(begin.shape[1]), np.ones(begin.shape[1])
    for _ in range(_HALVINGS):
        t = (low + high) / 2
        falls = dot(wheel.distance(begin + t * way)[1], way) < 0
        low, high = np.where(falls, t, low), np.where(falls, high, t)
    # Halving comes as near an end as it likes, but never there.
    t = np.where(low == 0, 0.0, np.where(high == 1, 1.0, (low + high) / 2))
    near = begin + t * way
    return wheel.distance(near)[0], near, t


def with_tool(pose: Pose) -> Pose:
    """The frame of what is fixed to the tool: its own."""
    return pose


@dataclass(frozen=True, eq=False)
class Obstacle:
    """Something near the wheel. name: what a person calls it; frame: its placements when the tool is placed so."""

    name: str
    solid: Convex
    frame: Callable[[Pose], Pose] = field(default=with_tool)

    def gaps(self, wheel: WheelSolid, pose: Pose) -> Gaps:
        """As `Convex.gaps`, at the tool's placements."""
        return self.solid.gaps(wheel, self.frame(pose))
