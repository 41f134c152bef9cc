"""What a drawing is made of: smooth pieces, and chains of them end to end. Lengths mm, y up."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TOGETHER_MM = 1e-3
"""Ends nearer than this are one place."""
FLAT_MM = 1e-4
"""How far a chord between two points of a bent piece may stand off it."""
MOST_PIECES = 20_000


@dataclass(frozen=True, eq=False)
class Piece:
    """A smooth piece of a drawing, points (n, 2) mm along it.

    form: `line` (two ends), `circular` or `curve` (points on it, chords within FLAT_MM of it), or `points`,
    measured ones with nothing known between them. layer: what of the drawing it belongs to; pieces join within one.
    """

    form: str
    points: Floats
    layer: str = ""

    def back(self) -> Piece:
        """The same walked the other way."""
        return Piece(self.form, self.points[::-1], self.layer)

    def scaled(self, by: float) -> Piece:
        """The same, larger."""
        return Piece(self.form, self.points * by, self.layer)


@dataclass(frozen=True, eq=False)
class DrawnLine:
    """Pieces end to end. closed: whether the last ends where the first begins."""

    pieces: tuple[Piece, ...]
    closed: bool

    @property
    def points(self) -> Floats:
        """(n, 2) mm along all of it; a closed chain's first point is not repeated."""
        whole = np.vstack([self.pieces[0].points, *(piece.points[1:] for piece in self.pieces[1:])])
        return whole[:-1] if self.closed else whole

    @property
    def area(self) -> float:
        """mm² inside a closed chain."""
        x, y = self.points.T
        return abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())) / 2

    @property
    def length(self) -> float:
        """Way along it, mm."""
        return float(np.hypot(*np.diff(self.points, axis=0).T).sum())

    def dense(self) -> Floats:
        """(n, 2) mm: points that all lie on the chain, long straight sides filled up, so that a fit sees all of it.

        Short straight pieces in a row are a bend that was drawn as a polygon: of those the corners alone are true.
        """
        ways = [float(np.hypot(*np.ptp(p.points, axis=0))) for p in self.pieces if p.form == "line"]
        short = 4 * float(np.median(ways)) if len(ways) > 8 else 0.0
        step = max(self.length / 300, TOGETHER_MM)
        parts = []
        for piece in self.pieces:
            p = piece.points
            far = float(np.hypot(*(p[-1] - p[0])))
            if piece.form == "line" and far > short:
                p = p[0] + np.linspace(0, 1, max(int(far / step), 1) + 1)[:, None] * (p[-1] - p[0])
            parts.append(p[:-1])
        return np.vstack(parts if self.closed else [*parts, self.pieces[-1].points[-1:]])


def joined(pieces: Sequence[Piece]) -> Iterator[DrawnLine]:
    """Chains of pieces whose ends meet, in whatever order and sense they were drawn; never from layer to layer."""
    for layer in dict.fromkeys(piece.layer for piece in pieces):
        left = [piece for piece in pieces if piece.layer == layer]
        while left:
            chain = [left.pop(0)]
            while not _closed(chain) and (found := _next(chain, left)) is not None:
                chain = found
            closed = _closed(chain)
            if closed:  # to the last digit, so that the point is not there twice
                points = chain[-1].points.copy()
                points[-1] = chain[0].points[0]
                chain[-1] = Piece(chain[-1].form, points, layer)
            yield DrawnLine(tuple(chain), closed)


def _closed(chain: Sequence[Piece]) -> bool:
    return len(chain[0].points) + len(chain) > 3 and _near(chain[-1].points[-1], chain[0].points[0])


def _next(chain: list[Piece], left: list[Piece]) -> list[Piece] | None:
    """The chain with one more piece at either end, taken out of `left`; None where none fits."""
    first, last = chain[0].points[0], chain[-1].points[-1]
    for i, piece in enumerate(left):
        head, tail = piece.points[0], piece.points[-1]
        if _near(head, last) or _near(tail, last):
            return [*chain, left.pop(i) if _near(head, last) else left.pop(i).back()]
        if _near(tail, first) or _near(head, first):
            return [left.pop(i) if _near(tail, first) else left.pop(i).back(), *chain]
    return None


def _near(a: Floats, b: Floats) -> bool:
    return bool(np.abs(a - b).max() < TOGETHER_MM)


def circle_points(x: float, y: float, r: float, first: float, sweep: float) -> Floats:
    """(n, 2) on a circle from angle `first` over `sweep` rad, chords within FLAT_MM of it."""
    steps = max(int(np.ceil(abs(sweep) / (2 * np.sqrt(2 * min(FLAT_MM / max(r, 1e-9), 0.1))))), 4)
    angle = first + sweep * np.linspace(0, 1, steps + 1)
    return np.column_stack([x + r * np.cos(angle), y + r * np.sin(angle)])


def curve_points(at: Callable[[Floats], Floats]) -> Floats:
    """(n, 2) on a curve over 0 … 1, so many that chords stay within FLAT_MM of it."""
    n = 16
    while n < 4096:
        p = at(np.linspace(0, 1, 2 * n + 1))
        if np.abs(p[1::2] - (p[:-1:2] + p[2::2]) / 2).max() < FLAT_MM:
            break
        n *= 2
    return p
