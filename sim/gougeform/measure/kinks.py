"""Kinks and steps of the edge: where one pose takes over from another far from it, or one grind from another.

Between two such stretches the edge turns, and its wedge angle jumps, at one place between two stations. That place is
found by cutting the stretch between the stations ever finer where the edge turns most: a smooth edge turns less and
less there, a kinked one does not. Lengths mm, angles deg.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.machine.pose import cross, dot
from gougeform.measure.edge import Edge

Floats = NDArray[np.float64]

_ODD = 6.0  # times the median of its neighbours: a piece that turns so much more may hold a kink
_AROUND = 4  # pieces on each side that are its neighbours
_PARTS, _ROUNDS = 9, 9  # places across a piece, so often: an eighth as wide each time
_TURN_DEG, _STEP_MM = 0.05, 1e-4  # less than that no hand can find on an edge
_SAME = 1e-6  # mm, or of a flute's place: two kinks so near are one


@dataclass(frozen=True)
class Kink:
    """One place. side: -1 left wing, 1 right, 0 the nose; along: mm from the nose along the edge; behind: mm behind it.

    turn: by how much the edge changes its direction, deg. wedge: the angle just before and just after it, nose side
    first, deg. step: mm along the bar by which the edge jumps there. length_error: mm by which the edge's length is off
    for it, since the pieces of an edge are taken to be smooth; angle_error: deg by which an angle that is read between
    the two stations beside it may be off.
    """

    side: int
    along: float
    behind: float
    turn: float
    wedge: tuple[float, float]
    step: float
    length_error: float
    angle_error: float


def kinks(gouge: Gouge, edge: Edge) -> tuple[Kink, ...]:
    """All kinks and steps of an edge, from left to right. Of two between the same two stations the sharper is found."""
    piece = np.flatnonzero(_odd(edge))
    if not len(piece):
        return ()
    low, high = edge.u[piece], edge.u[piece + 1]
    for _ in range(_ROUNDS):
        u = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, _PARTS)
        at = _Places(gouge, u.ravel())
        tangent, normal = (part.reshape(3, *u.shape) for part in (at.tangent, at.normal))
        turned = sum(_between(part[:, :, :-1], part[:, :, 1:]) for part in (tangent, normal))
        # At a step the edge jumps, though it hardly moves along the flute.
        most = (turned + np.abs(np.diff(at.point[2].reshape(u.shape), axis=1))).argmax(1)
        rows = np.arange(len(u))
        low, high = u[rows, most], u[rows, most + 1]
    before, after = _Places(gouge, low), _Places(gouge, high)
    turn, step = _between(before.tangent, after.tangent), np.abs(before.point[2] - after.point[2])
    start, stop = (_ends(edge, piece + i) for i in (0, 1))
    parts = _arc(start, (before.point, before.tangent)), _arc((after.point, after.tangent), stop)
    jump = np.linalg.norm(after.point - before.point, axis=0)
    off = np.abs(parts[0] + jump + parts[1] - np.diff(edge.arc)[piece])
    along = edge.arc[piece] + parts[0] - edge.arc[edge.nose]
    behind = edge.point[2, edge.nose] - np.minimum(before.point[2], after.point[2])
    found, last = [], -np.inf
    for i in np.flatnonzero((turn > np.radians(_TURN_DEG)) | (step > _STEP_MM)):
        if low[i] - last < _SAME:
            continue
        last = high[i]
        side = 0 if abs(along[i]) < _SAME else int(np.sign(along[i]))
        wedge = (float(before.wedge[i]), float(after.wedge[i]))[:: 1 if side >= 0 else -1]
        found.append(
            Kink(
                side,
                abs(float(along[i])),
                float(behind[i]),
                float(np.degrees(turn[i])),
                (wedge[0], wedge[1]),
                float(step[i]),
                float(off[i]),
                abs(wedge[1] - wedge[0]),
            )
        )
    return tuple(found)


class _Places:
    """Edge points, tangents and bevel normals (3, n) and wedge angles (n,) deg at flute places u (n,)."""

    def __init__(self, gouge: Gouge, u: Floats) -> None:
        flat, flute = gouge.section.flute_point(u), np.zeros((3, len(u)))
        flute[:2] = gouge.section.flute_normal(u).T
        cut = gouge.ground.heights(flat)
        self.point, self.normal = np.stack([*flat.T, cut.z]), cut.normal
        tangent = cross(flute, cut.normal)
        sine = np.sqrt(dot(tangent, tangent))
        self.wedge = 180.0 - np.degrees(np.arctan2(sine, dot(flute, cut.normal)))
        ahead = (tangent[:2].T * gouge.section.flute_tangent(u)).sum(1)
        self.tangent = tangent * np.where(ahead < 0, -1.0, 1.0) / sine


def _odd(edge: Edge) -> NDArray[np.bool_]:
    """(n - 1,) whether the edge turns, or its bevel does, far more between two stations than it does around them."""
    odd = np.diff(edge.cut.grind) != 0
    for vector in (edge.tangent, edge.normal):
        turned = _between(vector[:, :-1], vector[:, 1:])
        around = np.lib.stride_tricks.sliding_window_view(np.pad(turned, _AROUND, mode="reflect"), 2 * _AROUND + 1)
        odd |= turned > np.maximum(_ODD * np.median(around, axis=1), np.radians(_TURN_DEG))
    return odd


def _between(a: Floats, b: Floats) -> Floats:
    """Angles (…,) rad between unit vectors (3, …)."""
    return np.asarray(2 * np.arcsin(np.minimum(np.linalg.norm(a - b, axis=0) / 2, 1.0)))


def _ends(edge: Edge, k: NDArray[np.intp]) -> tuple[Floats, Floats]:
    return edge.point[:, k], edge.tangent[:, k]


def _arc(start: tuple[Floats, Floats], stop: tuple[Floats, Floats]) -> Floats:
    """Lengths (n,) mm of smooth pieces between points with tangents, from chord and tangents as `Edge.arc` has them."""
    chord = stop[0] - start[0]
    c = np.linalg.norm(chord, axis=0)
    a, b = (tangent - chord / np.maximum(c, 1e-300) for tangent in (start[1], stop[1]))
    return np.where(c > 0, c * (1 + (2 * dot(a, a) - dot(a, b) + 2 * dot(b, b)) / 30), 0.0)
