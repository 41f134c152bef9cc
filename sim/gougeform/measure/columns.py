"""Which rays of the fan carry a mesh: close enough for edge and outline, with one through every corner.

A chord of flute or outline is nowhere further than half the tolerance from the curve.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.ground import Ground
from gougeform.measure.fan import Columns, Fan, joined
from gougeform.measure.winners import Height, hand_overs

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_GAP = 2e-3
"""mm between vertices: 100 times what 32 bit numbers of an STL file still tell apart 200 mm down the bar."""

_LEAST_STEP = 2e-4  # mm between columns where the surface needs them closer, at a narrow floor or a ridge's end

EDGE_STEPS = 500
ROUND_STEPS = 560
"""Chords around a whole round bar: a polygon of n sides lacks (2 pi / n)² / 6 of the circle's area, here 2.1e-5."""

_FINE = 300  # rays on each side from which the steps are laid out
_CROWDED = 0.3  # of a step: a ray this close to one through a corner is left out


def far_enough(a: Columns, b: Columns, least: float = LEAST_GAP) -> Flags:
    """(n,) whether each pair of columns is apart by more than `least` mm on flute and outline."""
    apart = [np.hypot(*(getattr(a, side) - getattr(b, side)).T) for side in ("inner", "outer")]
    return np.minimum(*apart) > least


def divisible(columns: Columns, strips: NDArray[np.intp]) -> NDArray[np.intp]:
    """Those strips (m,) between columns k and k + 1 that are wide enough for another column."""
    return strips[far_enough(columns.take(strips), columns.take(strips + 1), 2 * _LEAST_STEP)]


def first_columns(fan: Fan, ground: Ground, alone: Sequence[Height], tolerance: float) -> Columns:
    """Columns from lip to lip. ground: what lays out the steps along the edge; alone: its grinds one by one."""
    even = _even(fan, ground)
    kept = _placed(fan.lips, fan.corners)
    columns = _placed(kept, even, crowded=_CROWDED)
    if len(alone) > 1:
        columns = _placed(_placed(kept, crossings(fan, columns, alone)), even, crowded=_CROWDED)
    while True:
        strips = divisible(columns, np.flatnonzero(sagitta(fan, columns) > tolerance / 2))
        if not len(strips):
            return columns
        columns = joined(columns, fan.at((columns.phi[strips] + columns.phi[strips + 1]) / 2))


def sagitta(fan: Fan, columns: Columns) -> Floats:
    """(n - 1,) mm: how far flute and outline bow out from their chord between neighbouring columns."""
    middle = fan.at((columns.phi[:-1] + columns.phi[1:]) / 2)
    worst = np.zeros(len(middle))
    for side in ("inner", "outer"):
        point = getattr(columns, side)
        chord = np.diff(point, axis=0)
        off = getattr(middle, side) - point[:-1]
        cross = chord[:, 0] * off[:, 1] - chord[:, 1] * off[:, 0]
        worst = np.maximum(worst, np.abs(cross) / np.hypot(*chord.T))
    return worst


def crossings(fan: Fan, columns: Columns, alone: Sequence[Height]) -> Columns:
    """Columns where on flute or outline one grind hands over to another, so that creases end exactly there."""
    out = []
    for place, point, at in (
        (columns.u, fan.section.flute_point, fan.at_flute),
        (columns.v, fan.section.outline.point, fan.at_outline),
    ):
        step = np.diff(place)
        found = hand_overs(
            lambda i, t, place=place, step=step, point=point: point(place[i] + t * step[i]),  # type: ignore[misc]
            len(step),
            np.array([0.0, 1.0]),
            alone,
        )
        out.append(at(place[found.line] + found.t * step[found.line]))
    return joined(*out)


def _next(columns: Columns) -> Columns:
    return columns.take(np.arange(1, len(columns)))


def _even(fan: Fan, ground: Ground) -> Columns:
    """Columns in even steps of edge or outline, whichever asks for more; the same on both sides of the floor."""
    halves = []
    for begin, end in ((fan.phi_left, np.pi), (np.pi, fan.phi_right)):
        halves.append(fan.at(np.linspace(begin, end, _FINE + 1)))
    z = ground.heights(np.concatenate([half.inner for half in halves])).z
    edges, outlines = [], []
    for half, height in zip(halves, np.split(z, 2), strict=True):
        rise = np.diff(np.where(np.isfinite(height), height, 0.0))
        edges.append(np.sqrt((np.diff(half.inner, axis=0) ** 2).sum(1) + rise**2))
        outlines.append(np.hypot(*np.diff(half.outer, axis=0).T))
    edge_step = sum(float(e.sum()) for e in edges) / EDGE_STEPS
    outline_step = perimeter(fan) / ROUND_STEPS
    out = []
    for half, edge, outline in zip(halves, edges, outlines, strict=True):
        count = np.concatenate([[0.0], np.cumsum(np.maximum(edge / edge_step, outline / outline_step))])
        steps = int(np.ceil(count[-1]))
        out.append(np.interp(np.arange(1, steps) / steps * count[-1], count, half.phi))
    return fan.at(np.concatenate(out))


def perimeter(fan: Fan) -> float:
    """Length around the outline, mm, good to 1e-3 of it."""
    outline = fan.section.outline
    each = max(2, 64 // outline.count)
    v = (np.arange(outline.count)[:, None] + np.arange(each) / each).ravel()
    point = outline.point(v)
    return float(np.hypot(*(np.roll(point, -1, 0) - point).T).sum())


def _placed(kept: Columns, more: Columns, crowded: float = 0.0) -> Columns:
    """`kept` with those of `more` that are not too close to one of it, nor to one another.

    crowded: also drop those closer to a kept one than this part of their own spacing.
    """
    more = more.take(~np.isin(more.phi, kept.phi))  # the very same ray twice would leave a strip of no width
    both = joined(kept, more)
    if not len(more):
        return both
    fresh = ~np.isin(both.phi, kept.phi)
    if crowded:
        step = np.interp(more.phi, more.phi, np.gradient(more.phi))
        near = np.abs(more.phi[:, None] - kept.phi[None]).min(1) < crowded * step
        both = joined(kept, more.take(~near))
        fresh = ~np.isin(both.phi, kept.phi)
    while True:
        close = np.flatnonzero(~far_enough(both.take(np.arange(len(both) - 1)), _next(both)))
        drop = np.where(fresh[close], close, close + 1)
        drop = np.unique(drop[fresh[drop]])
        # One of a row of close ones at a time: the next may then stand free.
        drop = drop[np.concatenate([[True], np.diff(drop) > 1])] if len(drop) else drop
        if not len(drop):
            return both
        stay = np.ones(len(both), bool)
        stay[drop] = False
        both, fresh = both.take(stay), fresh[stay]
