"""The meridian of a workpiece: a chain of straight and circular pieces in the half plane through the lathe's axis.

x runs along the lathe, rho away from its axis. The chain is walked with the wood on its right hand, so the left-hand
normal points out of the wood. Only (x, rho) matters for the distance of a point to a solid of revolution: the nearest
point of the surface lies in the point's own half plane. All lengths in mm, angles in rad.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]


CORNER_MM = 0.1
"""How far from an inward corner of the wood the last place lies."""


@dataclass(frozen=True, eq=False)
class Meridian:
    """m pieces in order; a chain from axis to axis, or a closed ring.

    start, end: (m, 2) mm. centre: (m, 2) mm and turn: (m,) rad, positive anticlockwise (wood hollow there), 0 straight.
    cut: (m,) whether a tool is to follow the piece. mouth: (m,) the side it is reached from where that is through the
    mouth of a hollow, +1 for one that faces growing x, -1 for the other way; 0 where it is over a rest along the work.
    ring: whether the last piece leads back to the first. obstacles: other solids that no tool may touch.
    """

    start: Floats
    end: Floats
    centre: Floats
    turn: Floats
    cut: Flags
    mouth: Ints
    ring: bool = False
    title: str = ""
    obstacles: tuple[Meridian, ...] = ()

    @property
    def count(self) -> int:
        """Number of pieces."""
        return len(self.turn)

    @property
    def inside(self) -> Flags:
        """(m,) whether a piece is reached through a mouth."""
        return self.mouth != 0

    def mirrored(self) -> Meridian:
        """The same solid with its ends changed over: x becomes -x, and the chain is walked the other way."""
        flip = np.array([-1.0, 1.0])
        return Meridian(
            self.end[::-1] * flip,
            self.start[::-1] * flip,
            self.centre[::-1] * flip,
            self.turn[::-1],
            self.cut[::-1],
            -self.mouth[::-1],
            self.ring,
            self.title,
            tuple(one.mirrored() for one in self.obstacles),
        )

    @cached_property
    def radius(self) -> Floats:
        """(m,) mm; 0 for straight pieces."""
        return np.where(self.turn != 0, np.linalg.norm(self.start - self.centre, axis=1), 0.0)

    @cached_property
    def length(self) -> Floats:
        """(m,) mm along each piece."""
        return np.where(self.turn != 0, self.radius * np.abs(self.turn), np.linalg.norm(self.end - self.start, axis=1))

    def point(self, piece: Ints, share: Floats) -> Floats:
        """(n, 2) mm: points of pieces (n,) at shares 0 … 1 of their length."""
        a, c = self.start[piece], self.centre[piece]
        phi = self.turn[piece] * share
        rel = a - c
        bent = c + np.stack(
            [np.cos(phi) * rel[:, 0] - np.sin(phi) * rel[:, 1], np.sin(phi) * rel[:, 0] + np.cos(phi) * rel[:, 1]], -1
        )
        straight = a + share[:, None] * (self.end[piece] - a)
        return np.where((self.turn[piece] != 0)[:, None], bent, straight)

    def tangent(self, piece: Ints, share: Floats) -> Floats:
        """(n, 2) unit vectors along the chain."""
        rel = self.point(piece, share) - self.centre[piece]
        sign = np.sign(self.turn[piece])
        size = np.where(self.turn[piece] != 0, self.radius[piece], 1.0)
        bent = np.stack([-rel[:, 1], rel[:, 0]], -1) * (sign / size)[:, None]
        chord = self.end[piece] - self.start[piece]
        straight = chord / np.linalg.norm(chord, axis=1, keepdims=True)
        return np.where((self.turn[piece] != 0)[:, None], bent, straight)

    def normal(self, piece: Ints, share: Floats) -> Floats:
        """(n, 2) unit vectors out of the wood."""
        t = self.tangent(piece, share)
        return np.stack([-t[:, 1], t[:, 0]], -1)

    def inner_corners(self) -> tuple[Flags, Flags]:
        """(m,) whether the wood has an inward corner at the start and at the end of each piece."""
        every = np.arange(self.count)
        first, last = self.tangent(every, np.zeros(self.count)), self.tangent(every, np.ones(self.count))
        after = np.roll(first, -1, 0)
        turns = last[:, 0] * after[:, 1] - last[:, 1] * after[:, 0] > 1e-6
        if not self.ring:
            turns[-1] = False
        return np.roll(turns, 1), turns

    def places(self, count: int) -> tuple[Ints, Floats]:
        """About `count` places (piece, share) along the pieces that are cut, even on each and never at its ends.

        Close to inward corners, where a tool reaches last, there is one more.
        """
        cut = np.flatnonzero(self.cut)
        step = self.length[cut].sum() / max(count, 1)
        each = np.maximum(np.round(self.length[cut] / step).astype(int), 1)
        piece = np.repeat(cut, each)
        share = np.concatenate([(np.arange(k) + 0.5) / k for k in each])
        for at_end, corner in enumerate(self.inner_corners()):
            more = np.flatnonzero(corner & self.cut & (self.length > 4 * CORNER_MM))
            near = CORNER_MM / self.length[more]
            piece, share = np.append(piece, more), np.append(share, 1 - near if at_end else near)
        order = np.lexsort((share, piece))
        return piece[order], share[order]

    @cached_property
    def along(self) -> Floats:
        """(m,) mm: where each piece begins, counted along the pieces that are cut."""
        own = np.where(self.cut, self.length, 0.0)
        return np.cumsum(own) - own

    @cached_property
    def box(self) -> Floats:
        """(2, 2) mm: least and largest x and rho of the wood."""
        dense = self.outline_points(64)
        return np.stack([dense.min(0), dense.max(0)])

    def outline_points(self, each: int = 48) -> Floats:
        """(n, 2) mm: the chain as points, every bent piece in `each` parts, for pictures and meshes."""
        parts = []
        for i in range(self.count):
            share = np.linspace(0, 1, each, endpoint=False) if self.turn[i] else np.zeros(1)
            parts.append(self.point(np.full(len(share), i), share))
        return np.concatenate([*parts, self.end[-1:]])

    @cached_property
    def corner_normals(self) -> tuple[Floats, Floats]:
        """Normals (m, 2) that stand for the corner at each piece's start and end: they give a distance its sign."""
        every = np.arange(self.count)
        first, last = self.normal(every, np.zeros(self.count)), self.normal(every, np.ones(self.count))
        before, after = np.roll(last, 1, 0), np.roll(first, -1, 0)
        if not self.ring:
            # On the axis the surface goes on as its own mirror image.
            before[0] = first[0] * [1, -1]
            after[-1] = last[-1] * [1, -1]
        at_start, at_end = first + before, last + after
        return at_start, at_end

    def volume(self) -> float:
        """Volume of the wood in mm³: pi times the integral of rho² dx along the chain."""
        node, weight = np.polynomial.legendre.leggauss(24)
        total = 0.0
        for i in range(self.count):
            share = (node + 1) / 2
            piece = np.full(len(share), i)
            rho, slope = self.point(piece, share)[:, 1], self.tangent(piece, share)[:, 0] * self.length[i]
            total += float((weight / 2 * rho**2 * slope).sum())
        return float(np.pi * total)
