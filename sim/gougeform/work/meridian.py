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
    cut: (m,) whether a tool is to follow the piece. inside: (m,) whether it is reached through a mouth, not over a rest
    along the work. ring: whether the last piece leads back to the first.
    """

    start: Floats
    end: Floats
    centre: Floats
    turn: Floats
    cut: Flags
    inside: Flags
    ring: bool = False
    title: str = ""

    @property
    def count(self) -> int:
        """Number of pieces."""
        return len(self.turn)

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

    def piece_distance(self, piece: Ints, x: Floats, rho: Floats) -> Floats:
        """(n,) mm: signed distance of points to single pieces, positive out of the wood; exact."""
        bent = self.turn[piece] != 0
        if not bent.any():
            return self._to_lines(piece, x, rho)
        if bent.all():
            return self._to_arcs(piece, x, rho)
        out = np.empty(len(x))
        for i, measure in ((np.flatnonzero(~bent), self._to_lines), (np.flatnonzero(bent), self._to_arcs)):
            out[i] = measure(piece[i], x[i], rho[i])
        return out

    def _to_lines(self, piece: Ints, x: Floats, rho: Floats) -> Floats:
        row = self._straight.take(piece, 0).T
        dx, dy = x - row[0], rho - row[1]
        s = dx * row[2] + dy * row[3]
        value: Floats = row[2] * dy - row[3] * dx
        j = np.flatnonzero((s <= 0) | (s >= row[4]))
        if len(j):
            value[j] = self._to_end(piece[j], s[j] > 0, x[j], rho[j])
        return value

    def _to_arcs(self, piece: Ints, x: Floats, rho: Floats) -> Floats:
        row = self._bent.take(piece, 0).T
        dx, dy = x - row[0], rho - row[1]
        far = np.sqrt(dx * dx + dy * dy)
        value: Floats = (row[2] - far) * row[3]
        j = np.flatnonzero(dx * row[4] + dy * row[5] < far * row[6])
        if len(j):
            # Both ends are as far from the middle: the nearer one lies on the point's side of it.
            last = (row[4, j] * dy[j] - row[5, j] * dx[j]) * row[3, j] > 0
            value[j] = self._to_end(piece[j], last, x[j], rho[j])
        return value

    def _to_end(self, piece: Ints, last: Flags, x: Floats, rho: Floats) -> Floats:
        """Signed distances (n,) to the start of pieces, or to the end where `last`."""
        row = self._ends.take(2 * piece + last, 0).T
        dx, dy = x - row[0], rho - row[1]
        size = np.sqrt(dx * dx + dy * dy)
        return np.where(dx * row[2] + dy * row[3] >= 0, size, -size)

    @cached_property
    def _ends(self) -> Floats:
        """(2 m, 4): start and end of each piece, each with the normal that stands for it."""
        rows = [np.column_stack([p, n]) for p, n in zip((self.start, self.end), self.corner_normals, strict=True)]
        return np.stack(rows, 1).reshape(-1, 4)

    @cached_property
    def _straight(self) -> Floats:
        """(m, 5): start, direction and length of straight pieces, one row a piece."""
        return np.column_stack([self.start, self._along_chord, self.length])

    @cached_property
    def _bent(self) -> Floats:
        """(m, 7): centre, radius, sign of the turn, direction to the middle and cosine of half the turn."""
        return np.column_stack([self.centre, self.radius, np.sign(self.turn), self._middle, np.cos(self.turn / 2)])

    @cached_property
    def _along_chord(self) -> Floats:
        chord = self.end - self.start
        return chord / np.maximum(np.linalg.norm(chord, axis=1, keepdims=True), 1e-300)

    @cached_property
    def _middle(self) -> Floats:
        """(m, 2) unit vectors from each centre to the middle of its arc."""
        rel = self.point(np.arange(self.count), np.full(self.count, 0.5)) - self.centre
        return rel / np.maximum(np.linalg.norm(rel, axis=1, keepdims=True), 1e-300)
