"""A smooth outline through measured points: circular arcs that meet without a bend, and corners where there are some.

At a point the outline runs as the circle through it and its two neighbours does there, so points of a circle give that
circle again. Two arcs join each pair of neighbours (a biarc with both legs alike; derived from the two tangents). A
point where the outline turns by more than CORNER_DEG, and CORNER_TIMES as far as on one side of it, was meant as a
corner and stays one. Lengths mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.outline import Outline, ring

Floats = NDArray[np.float64]

CORNER_DEG, CORNER_TIMES = 15.0, 3.0
_STRAIGHT = 1e-7  # rad: an arc that turns less, or the other way, is a straight piece
_ON_PLANE = 1e-9  # mm


def smooth_outline(points: Floats) -> Outline:
    """Arcs and corners through points (n, 2), in order round the bar, closed by itself.

    Where readings make the bar hollow the piece stays straight. Raises InputError as `gougeform.bar.outline.ring` does.
    """
    p = ring(points)
    return _from_top(_arcs(p, _corners(p)))


def coarse_mm(points: Floats) -> float:
    """How far (mm) the smooth outline may be off the bar between its points, told from the points themselves.

    Each point in turn is left out: how far it lies from the arcs through the others is the error of a gap twice as wide
    as there is, which makes it four times as large where the bar bends evenly; half of it is stated.
    """
    p = ring(points)
    corner = _corners(p)
    worst = 0.0
    for k in np.flatnonzero(~corner):
        if len(p) > 4:
            off, _ = _arcs(np.delete(p, k, 0), np.delete(corner, k)).nearest(p[k : k + 1])
            worst = max(worst, float(np.abs(off[0])))
    return worst / 2


def _corners(p: Floats) -> NDArray[np.bool_]:
    """(n,) whether a point was meant as a corner."""
    chord = np.roll(p, -1, 0) - p
    way = np.arctan2(chord[:, 1], chord[:, 0])
    turn = np.abs(np.angle(np.exp(1j * (way - np.roll(way, 1)))))
    beside = np.minimum(np.roll(turn, 1), np.roll(turn, -1))
    return (turn > np.radians(CORNER_DEG)) & (turn > CORNER_TIMES * beside)


def _arcs(p: Floats, corner: NDArray[np.bool_]) -> Outline:
    """The pieces through points (n, 2) in order, two between each pair, begun at the first. corner: (n,) which are."""
    after = np.roll(p, -1, 0) - p
    long = np.linalg.norm(after, axis=1, keepdims=True)
    unit = after / long
    tangent = unit / long + np.roll(unit / long, 1, 0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    out, into = tangent.copy(), np.roll(tangent, -1, 0)
    # From a corner one arc runs to the next point, whose tangent decides it; between two corners it is straight.
    last = np.roll(corner, -1)
    mirrored = 2 * (into * unit).sum(1, keepdims=True) * unit - into
    back = 2 * (out * unit).sum(1, keepdims=True) * unit - out
    out = np.where(corner[:, None], np.where(last[:, None], unit, mirrored), out)
    into = np.where(last[:, None], np.where(corner[:, None], unit, back), into)
    v = after
    both = out + into
    bend = 1 - (out * into).sum(1)
    reach = (v * both).sum(1)
    with np.errstate(invalid="ignore", divide="ignore"):
        leg = np.where(
            bend > 1e-12,
            (np.sqrt(reach**2 + 2 * bend * (v * v).sum(1)) - reach) / (2 * bend),
            (v * v).sum(1) / (2 * reach),
        )
    stop = p + v
    middle = (p + stop + leg[:, None] * (out - into)) / 2
    begin = np.stack([p, middle], 1).reshape(-1, 2)
    finish = np.stack([middle, stop], 1).reshape(-1, 2)
    way = middle - p
    # The first arc's tangent is `out`; the second one's begins where the first ends, mirrored on its chord.
    chord = way / np.linalg.norm(way, axis=1, keepdims=True)
    second = 2 * (out * chord).sum(1, keepdims=True) * chord - out
    tangents = np.stack([out, second], 1).reshape(-1, 2)
    return _outline(begin, tangents, finish)


def _outline(begin: Floats, tangent: Floats, finish: Floats) -> Outline:
    """Arcs from `begin` (m, 2) along `tangent` to `finish`; straight where they hardly turn, or turn the other way."""
    chord = finish - begin
    long = np.linalg.norm(chord, axis=1)
    sine = (tangent[:, 0] * chord[:, 1] - tangent[:, 1] * chord[:, 0]) / long
    turn = 2 * np.arcsin(np.clip(sine, -1.0, 1.0))
    bent = turn > _STRAIGHT
    radius = np.where(bent, long / (2 * np.where(bent, np.sin(turn / 2), 1.0)), 0.0)
    left = np.stack([-tangent[:, 1], tangent[:, 0]], 1)
    centre = np.where(bent[:, None], begin + radius[:, None] * left, 0.0)
    spoke = begin - centre
    angle = np.where(bent, np.arctan2(spoke[:, 1], spoke[:, 0]), 0.0)
    return Outline(begin, finish, centre, radius, angle, np.where(bent, turn, 0.0))


def _from_top(one: Outline) -> Outline:
    """The same outline begun where it crosses the middle plane at the top; a piece that runs across is cut there."""
    top = one.on_middle_plane(below=False)
    off, place = one.nearest(np.array([[0.0, top]]))
    assert abs(off[0]) < 1e-6
    k, share = int(place[0]), float(place[0] % 1)
    parts = [one.start, one.end, one.centre, one.radius, one.angle, one.turn]
    at = np.array([0.0, top])
    if np.abs(one.start[k] - at).max() < _ON_PLANE:
        order = [np.roll(part, -k, 0) for part in parts]
    elif np.abs(one.end[k] - at).max() < _ON_PLANE:
        order = [np.roll(part, -(k + 1), 0) for part in parts]
    else:
        order = [np.concatenate([np.roll(part, -k, 0), part[k : k + 1]]) for part in parts]
        start, end, _, _, angle, turn = order
        start[0], end[-1] = at, at
        angle[0] += share * turn[0]
        turn[0], turn[-1] = (1 - share) * turn[0], share * turn[-1]
    return Outline(*order)
