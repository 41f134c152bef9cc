"""How broad the tool is behind its nose: the steel that gets in the way in a tight place, and the edge that cuts there.

At a distance d behind the nose the section z = -d of the ground tool is the set h(x, y) ≥ -d. A side of it reaches as
far out as its widest row at or below some height: the floor of the flute (cheek width), the edge in that section or a
way below it (cheek past the edge). Rows are solved by Newton's method on the heights of the ground surface, and the
widest place between two rows by tangents and cubics through rows, to 1e-6 mm; there is no mesh.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gougeform.bar.outline import Outline
from gougeform.grind.gouge import Gouge
from gougeform.measure.edge import Edge
from gougeform.numerics.roots import newton_roots

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Rows = tuple[Floats, Floats, Floats]
"""Heights y (n,) mm of rows, how far out the steel stands there (0 for none), and the slope of that over y."""

CHEEK_AT_MM = (3, 5, 10)
PAST_EDGE_AT_MM = (5, 10, 15)
WELL_BELOW_MM = 2.0
"""How far below the edge steel lies that `cheek_past_edge_below_mm` counts."""

_ROWS, _COLUMNS = 25, 17
_CLOSER = 9  # rows laid where the steel ends between two of them
_ROUNDS = 30
_SETTLED = 1e-10  # mm that the widest place may still gain
_CLOSE = 1e-5  # mm: a Newton step so short leaves its square


def cheek_widths(gouge: Gouge, behind: ArrayLike) -> Floats:
    """Full widths (n,) mm of steel at or below the flute's floor, `behind` (n,) mm behind the nose; 0 for no steel."""
    behind = np.asarray(behind, float)
    floor = np.full(behind.shape, gouge.section.y_floor)
    return _both(gouge, behind, np.stack([floor, floor])).sum(0)


def edge_places(edge: Edge, behind: ArrayLike) -> Floats:
    """(2, n, 2) mm: places of the section where the left and the right wing pass z = -behind (n,), the outermost ones.

    Behind the wings, or beside wings that end ahead of that plane, the lip stands for the edge.
    """
    behind = np.atleast_1d(np.asarray(behind, float))
    section, n = edge.gouge.section, len(behind)
    u = np.repeat([[section.u_left], [section.u_right]], n, axis=1)
    rise = (edge.cut.normal[:2] * section.flute_tangent(edge.u).T).sum(0) / -edge.cut.normal[2]
    # Between which stations a wing passes the plane for the last time: from its nose to its lip.
    z = np.stack([edge.point[2, edge.wing(side)] for side in (-1, 1)])[:, None] + behind[:, None]
    last = z.shape[2] - 1 - (z[..., ::-1] >= 0).argmax(2)
    side, which = np.nonzero((z[..., -1] < 0) & (z >= 0).any(2))
    begin, way = last[side, which], 2 * side - 1
    a, b = (edge.nose + way * (begin + i) for i in (0, 1))

    def over(at: Ints, place: Floats) -> tuple[Floats, Floats]:
        cut = edge.gouge.ground.heights(section.flute_point(place))
        slope = (cut.normal[:2] * section.flute_tangent(place).T).sum(0) / -cut.normal[2]
        return cut.z + behind[which[at]], slope

    ends = [(edge.point[2, k] + behind[which], rise[k]) for k in (a, b)]
    u[side, which] = newton_roots(over, edge.u[a], edge.u[b], ends[0], ends[1], width=1e-14, small=1e-10)
    return section.flute_point(u.ravel()).reshape(2, n, 2)


def edge_widths(edge: Edge, behind: ArrayLike) -> Floats:
    """(n,) mm across, from the left wing to the right one, `behind` (n,) mm behind the nose; behind both: the lips."""
    left, right = edge_places(edge, behind)[..., 0]
    return np.asarray(right - left)


def past_edge(edge: Edge, behind: ArrayLike, below: ArrayLike = 0.0) -> Floats:
    """(n,) mm by which the steel at or under the height of the edge is wider than the edge, never below 0.

    behind: (n,) mm behind the nose, where behind the wings the lip stands for the edge. below: (n,) or one number: only
    steel so far (mm) below the edge counts.
    """
    return widths(edge, behind, below)[0]


def widths(edge: Edge, behind: ArrayLike, below: ArrayLike = 0.0, cheek_at: ArrayLike = ()) -> tuple[Floats, Floats]:
    """`past_edge`, and `cheek_widths` at `cheek_at` (m,) mm behind the nose: both take hardly longer than one."""
    behind, at = np.atleast_1d(np.asarray(behind, float)), np.asarray(cheek_at, float)
    place = edge_places(edge, behind)
    floor = np.full((2, len(at)), edge.gouge.section.y_floor)
    top = np.concatenate([place[..., 1] - np.asarray(below, float), floor], axis=1)
    out = _both(edge.gouge, np.concatenate([behind, at]), top).sum(0)
    past = np.maximum(out[: len(behind)] - (place[1, :, 0] - place[0, :, 0]), 0.0)
    return past, out[len(behind) :]


def _both(gouge: Gouge, behind: Floats, top: Floats) -> Floats:
    """(2, n) mm: how far left and right side reach out at or below heights `top` (2, n), `behind` (n,) mm back."""
    n = len(behind)
    if gouge.symmetric:
        right = half_widths(gouge, behind, top[1], np.ones(n))
        return np.stack([right, right])
    side = np.repeat([-1.0, 1.0], n)
    return half_widths(gouge, np.tile(behind, 2), top.ravel(), side).reshape(2, n)


def half_widths(gouge: Gouge, behind: Floats, top: Floats, side: Floats) -> Floats:
    """How far (n,) mm steel reaches to `side` (n,) of -1 or 1, at or below `top` (n,) mm, `behind` (n,) mm back.

    Ahead of all steel, and where `top` lies below the bar, 0. A hump between two of the first rows is not seen where
    neither of them slopes toward it.
    """
    bottom, n = gouge.section.outline.on_middle_plane(below=True), len(behind)
    if not (top > bottom).any():
        return np.zeros(n)
    even = np.linspace(bottom, top.max(), _ROWS + 1)
    rows = np.unique(np.concatenate([even[1:], top[top > bottom]]))
    which, row = np.nonzero(rows <= top[:, None])
    solved: Rows = (rows[row], *_rows(gouge, behind[which], side[which], rows[row]))
    for _ in range(_ROUNDS):
        which, solved = _sorted(which, solved)
        ended = _ends(which, solved, even[1] - even[0])
        if not len(ended):
            break
        # The steel ends, or begins anew, between these rows, and is widest near there: lay more of them.
        y = solved[0]
        under = np.where((ended > 0) & (which[ended - 1] == which[ended]), y[ended - 1], bottom)
        between = under[:, None] + (y[ended] - under)[:, None] * np.arange(1, _CLOSER) / _CLOSER
        number = np.repeat(which[ended], _CLOSER - 1)
        more = (between.ravel(), *_rows(gouge, behind[number], side[number], between.ravel()))
        which = np.concatenate([which, number])
        solved = tuple(np.concatenate(pair) for pair in zip(solved, more, strict=True))  # type: ignore[assignment]

    def follow(number: Ints, y: Floats, guess: Floats) -> tuple[Floats, Floats]:
        return _follow(gouge, behind[number], side[number], y, guess)

    widest = np.zeros(n)
    np.maximum.at(widest, which, solved[1])
    return _between(which, solved, widest, follow)


def _sorted(which: Ints, solved: Rows) -> tuple[Ints, Rows]:
    order = np.lexsort((solved[0], which))
    y, x, slope = (column[order] for column in solved)
    return which[order], (y, x, slope)


def _ends(which: Ints, solved: Rows, step: float) -> Ints:
    """Rows that may lie under the widest place of their section, with no steel in the row below, far from it."""
    y, x, slope = solved
    alone = np.concatenate([[True], (which[1:] != which[:-1]) | (x[:-1] == 0)])
    gap = np.concatenate([[step], np.diff(y)])
    gap = np.where(np.concatenate([[True], which[1:] != which[:-1]]), step, gap)
    most = np.zeros(which.max() + 1)
    np.maximum.at(most, which, x)
    with np.errstate(invalid="ignore"):
        return np.flatnonzero(alone & (x > 0) & (slope < 0) & (x - slope * gap > most[which] + _SETTLED) & (gap > 1e-6))


def _between(
    which: Ints, solved: Rows, widest: Floats, follow: Callable[[Ints, Floats, Floats], tuple[Floats, Floats]]
) -> Floats:
    """The widest places (n,) mm, also those between two rows of `which` section: rows rise to one another there."""
    pair = np.flatnonzero((which[1:] == which[:-1]) & (solved[2][:-1] > 0) & (solved[2][1:] < 0))
    number = which[pair]
    low, high = (np.stack([column[pair + i] for column in solved]) for i in (0, 1))
    for _ in range(_ROUNDS):
        h = high[0] - low[0]
        rise, start, stop = high[1] - low[1], low[2] * h, high[2] * h
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            meet = (rise - stop) / (start - stop)  # of both tangents: where a corner is, and no wider place otherwise
            bound = low[1] + start * meet
            two, three = 3 * rise - 2 * start - stop, start + stop - 2 * rise
            q = -(two + np.where(two < 0, -1.0, 1.0) * np.sqrt(np.maximum(two**2 - 3 * three * start, 0.0)))
            first, second = q / (3 * three), start / q
            top = np.where((first > 0) & (first < 1), first, second)  # of the cubic
        bound = np.where((meet > 0) & (meet < 1), bound, np.inf)
        go = np.flatnonzero((bound > widest[number] + _SETTLED) & (h > 1e-11))
        if not len(go):
            break
        number, low, high, h = number[go], low[:, go], high[:, go], h[go]
        t = np.stack([meet[go], top[go]])
        t = np.clip(np.where((t > 0) & (t < 1), t, 0.5), 1e-3, 1 - 1e-3)
        y = low[0] + t * h
        with np.errstate(invalid="ignore"):
            guess = low[1] + t * (start[go] + t * (two[go] + t * three[go]))
        guess = np.where(np.isfinite(guess), guess, low[1] + t * (high[1] - low[1]))
        x, slope = (part.reshape(2, -1) for part in follow(np.tile(number, 2), y.ravel(), guess.ravel()))
        sure = np.isfinite(x).all(0) & np.isfinite(slope).all(0)
        number, low, high = number[sure], low[:, sure], high[:, sure]
        four = np.stack([low, *(np.stack([y[i], x[i], slope[i]])[:, sure] for i in (0, 1)), high])
        four = np.take_along_axis(four, np.argsort(four[:, :1], axis=0), 0)
        np.maximum.at(widest, number, four[:, 1].max(0))
        # Both guesses may be the same place: the first or the last of the widest, whichever has the peak beside it.
        at, last, every = four[:, 1].argmax(0), 3 - four[::-1, 1].argmax(0), np.arange(len(number))
        begin = np.where(four[last, 2, every] > 0, np.minimum(last, 2), np.maximum(at - 1, 0))
        low, high = four[begin, :, every].T, four[begin + 1, :, every].T
    return widest


def _follow(gouge: Gouge, behind: Floats, side: Floats, y: Floats, x: Floats) -> tuple[Floats, Floats]:
    """How far out (n,) mm the steel stands in rows y (n,), near x (n,), and the slope of that; NaN where it is lost."""
    outer, lean = half_outline(gouge.section.outline, y, side)
    x, slope, todo = np.clip(x, 0.0, outer), np.full(len(y), np.nan), np.arange(len(y))
    for _ in range(_ROUNDS):
        cut = gouge.ground.heights(np.stack([side[todo] * x[todo], y[todo]], -1))
        with np.errstate(invalid="ignore", divide="ignore"):
            over, fall = cut.z + behind[todo], -side[todo] * cut.normal[0] / cut.normal[2]
            slope[todo] = cut.normal[1] / cut.normal[2] / fall
            # Where the surface does not fall outward steel that stands ends further out, and none ends here otherwise.
            step = np.where(fall < 0, -over / fall, np.where(over >= 0, np.inf, np.nan))
        now = np.clip(x[todo] + step, 0.0, outer[todo])
        full = now >= outer[todo]
        slope[todo[full]] = lean[todo[full]]
        moved, x[todo] = np.abs(now - x[todo]), now
        todo = todo[moved > _CLOSE]
        if not len(todo):
            break
    x[todo] = np.nan
    return x, slope


def half_outline(outline: Outline, y: Floats, side: Floats) -> tuple[Floats, Floats]:
    """How far (n,) mm the outline reaches to `side` (n,) at heights y (n,) mm, 0 beside it, and the slope over y."""
    (x0, y0), (x1, y1), (cx, cy) = outline.start.T, outline.end.T, outline.centre.T
    at, out, bent = y[:, None], side[:, None], outline.radius > 0
    off = np.clip(at - cy, -outline.radius, outline.radius)
    half = out * np.sqrt(outline.radius**2 - off**2)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (at - y0) / (y1 - y0)
        turned = np.mod(np.arctan2(off, half) - outline.angle + 1e-9, 2 * np.pi)
        on = np.where(
            bent,
            (np.abs(at - cy) <= outline.radius * (1 + 1e-12)) & (turned <= outline.turn + 2e-9),
            (share >= 0) & (share <= 1),
        )
        x = out * np.where(bent, cx + half, x0 + share * (x1 - x0))
        lean = out * np.where(bent, -off / half, (x1 - x0) / (y1 - y0))
    best, every = np.where(on, x, -np.inf).argmax(1), np.arange(len(y))
    return np.where(on[every, best], np.maximum(x[every, best], 0.0), 0.0), lean[every, best]


def _rows(gouge: Gouge, behind: Floats, side: Floats, y: Floats) -> tuple[Floats, Floats]:
    """How far out (n,) mm steel stands in rows y (n,) of sections, 0 where there is none, and the slope of that over y.

    The outermost of several pieces counts. Over the mouth of the flute the wheel's surface goes on.
    """
    # Sections share rows: cut each once.
    once, index = np.unique(np.stack([side, y]), axis=1, return_inverse=True)
    index = index.reshape(-1)
    outer, lean = half_outline(gouge.section.outline, once[1], once[0])
    grid = outer[:, None] * np.linspace(0.0, 1.0, _COLUMNS)
    cut = gouge.ground.heights(np.stack([(once[0][:, None] * grid).ravel(), np.repeat(once[1], _COLUMNS)], -1))
    z = cut.z.reshape(grid.shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        fall = once[0][:, None] * (-cut.normal[0] / cut.normal[2]).reshape(grid.shape)
    stands = z[index] >= -behind[:, None]
    last = _COLUMNS - 1 - stands[:, ::-1].argmax(1)
    some, full = stands.any(1), stands[:, -1]
    x, slope = np.where(full, outer[index], 0.0), np.where(full, lean[index], np.inf)
    open_ = np.flatnonzero(some & ~full)
    i, k = index[open_], last[open_]

    def over(at: Ints, place: Floats) -> tuple[Floats, Floats]:
        mine = open_[at]
        cut = gouge.ground.heights(np.stack([side[mine] * place, y[mine]], -1))
        with np.errstate(invalid="ignore", divide="ignore"):
            fall = -side[mine] * cut.normal[0] / cut.normal[2]
            slope[mine] = cut.normal[1] / cut.normal[2] / fall
        return cut.z + behind[mine], fall

    ends = [(z[i, j] + behind[open_], fall[i, j]) for j in (k, k + 1)]
    x[open_] = newton_roots(over, grid[i, k], grid[i, k + 1], ends[0], ends[1], width=1e-10, small=1e-10)
    return x, slope
