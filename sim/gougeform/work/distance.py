"""Signed distances to solids of revolution: exact, a few pieces of the meridian for each point.

A table over the half plane names, for every cell, the pieces that can be nearest to a point in it: it leaves out only
those that cannot. Obstacles are further solids: of several the smallest distance counts. Lengths mm.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gougeform.numerics.compiled import compiled, inlined, inner
from gougeform.work.bends import SIZES_MM, bends_up, outward_corners, runs
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Marks = NDArray[np.uint32]  # as indices they need no check for below zero

_NEAR_MM, _FAR_MM = 12.0, 700.0  # around the wood: two tables, one with small cells
_NEAR_CELLS, _FAR_CELLS = 40_000, 10_000
_BLOCK = 16  # cells a side that share a first choice of pieces
_HALF = np.sqrt(0.5) * (1 + 1e-9)  # a point of a cell is within this times its size of its middle

# Columns of a piece.
_TURN, _A, _B, _C, _D, _E, _F, _G, _START, _END, _SOLID = 0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16


class Pieces(NamedTuple):
    """One or more solids made ready, as compiled functions take it.

    head: size and place of both tables. piece: (m, 17). begin, end: (cells,) which of `item` may be nearest there.
    local: (near cells, SIZES + 3) how much the distance may bend up there; nearest: (near cells,) the outward corner.
    corner: (k, 5) as `outward_corners` gives them.
    """

    head: Floats
    piece: Floats
    begin: Marks
    end: Marks
    item: Marks
    local: NDArray[np.float32]
    nearest: Ints
    corner: Floats


@inlined
def piece_distance(p: Floats, x: float, rho: float) -> float:
    """Signed distance, mm, of a point to a single piece (17,), positive out of the wood."""
    dx, dy = x - p[_A], rho - p[_B]
    if p[_TURN] == 0:
        s = dx * p[_C] + dy * p[_D]
        if 0 < s < p[_E]:
            return p[_C] * dy - p[_D] * dx
        last = s > 0
    else:
        far = np.sqrt(dx * dx + dy * dy)
        if dx * p[_D] + dy * p[_E] >= far * p[_F]:
            return (p[_C] - far) * p[_TURN]
        # Both ends are as far from the middle: the nearer one lies on the point's side of it.
        last = (p[_D] * dy - p[_E] * dx) * p[_TURN] > 0
    k = _END if last else _START
    dx, dy = x - p[k], rho - p[k + 1]
    size = np.sqrt(dx * dx + dy * dy)
    return size if dx * p[k + 2] + dy * p[k + 3] >= 0 else -size


@inlined
def cell_of(f: Pieces, x: float, rho: float) -> int:
    """The cell that holds a point, near ones first; -1 where none does."""
    h = f.head
    i, j = (x - h[0]) * h[1], rho * h[1]
    if 0 <= i < h[2] and j < h[3]:
        return int(i) * int(h[3]) + int(j)
    i, j = (x - h[4]) * h[5], rho * h[5]
    if 0 <= i < h[6] and j < h[7]:
        return int(h[2] * h[3]) + int(i) * int(h[7]) + int(j)
    return -1


@inlined
def distance(f: Pieces, x: float, rho: float) -> float:
    """Signed distance, mm, of a point at x along the lathe and rho ≥ 0 from its axis; negative in the wood."""
    cell = cell_of(f, x, rho)
    begin, end = (f.begin[cell], f.end[cell]) if cell >= 0 else (0, len(f.piece))
    out = best = np.inf
    solid = 0.0
    for k in range(begin, end):
        p = f.piece[f.item[k] if cell >= 0 else k]
        if p[_SOLID] != solid:
            out, best, solid = min(out, best), np.inf, p[_SOLID]
        d = piece_distance(p, x, rho)
        if abs(d) < abs(best):
            best = d
    return min(out, best)


@inner
def dip(f: Pieces, x: float, rho: float, radius: float, least: float) -> float:
    """By how much, mm, the distance in a flat patch may fall below the `least` at its corners: see `bends`.

    The corners lie within `radius` of x and rho.
    """
    bend = np.inf
    cell, h = cell_of(f, x, rho), f.head
    deep = 2 * radius + max(-least, 0.0)
    if 0 <= cell < len(f.local) and deep <= 2 * SIZES_MM[-1]:
        row = f.local[cell]
        dx = x - h[0] - (cell // int(h[3]) + 0.5) / h[1]
        dy = rho - (cell % int(h[3]) + 0.5) / h[1]
        off = np.sqrt(dx * dx + dy * dy)
        if least > radius or row[len(SIZES_MM)] - off > deep:
            level = 0
            while deep > 2 * SIZES_MM[level]:
                level += 1
            bend = row[level]
        c = f.corner[f.nearest[cell]]
        away = min(row[len(SIZES_MM) + 1] - off, np.sqrt((x - c[0]) ** 2 + (rho - c[1]) ** 2))
        bend = max(bend, 1 / (away - radius) if away > radius else np.inf)
    bend = max(bend, 1 / (rho - radius) if rho > radius else np.inf)
    if least > radius:
        bend = min(bend, 1 / (least - radius))
    return min(bend * radius * radius / 2, radius)


@inner
def at_corner(f: Pieces, x: float, rho: float, radius: float, least: float, corner: Floats) -> float:
    """A lower bound, mm, of the distance in a flat patch across an outward corner of the wood: see `bends`.

    The patch's corners, x and rho in corner (4, 4), lie within `radius` of x and rho; the distance there is at least
    `least`. -inf where other parts of the wood are near.
    """
    cell, h = cell_of(f, x, rho), f.head
    deep = 2 * radius + max(-least, 0.0)
    if not 0 <= cell < len(f.local) or deep > 2 * SIZES_MM[-1]:
        return -np.inf
    dx = x - h[0] - (cell // int(h[3]) + 0.5) / h[1]
    dy = rho - (cell % int(h[3]) + 0.5) / h[1]
    c = f.corner[f.nearest[cell]]
    wide = np.sqrt((x - c[0]) ** 2 + (rho - c[1]) ** 2) + deep
    if c[2] < 0 or wide > c[4] or f.local[cell, len(SIZES_MM) + 2] - np.sqrt(dx * dx + dy * dy) <= deep:
        return -np.inf
    for k in range(4):
        corner[k, 2] = _beyond(f.piece[int(c[2])], corner[k, 0], corner[k, 1])
        corner[k, 3] = _beyond(f.piece[int(c[3])], corner[k, 0], corner[k, 1])
    # The largest value over t in 0 … 1 of the least of four straight lines: at an end, or where two of them cross.
    best = max(_least(corner, 0.0), _least(corner, 1.0))
    for i in range(4):
        for k in range(i):
            rise, fall = corner[i, 2] - corner[i, 3], corner[k, 2] - corner[k, 3]
            if rise * fall < 0:
                t = (corner[k, 3] - corner[i, 3]) / (rise - fall)
                if 0 < t < 1:
                    best = max(best, _least(corner, t))
    bend = 1 / (rho - radius) if rho > radius else np.inf
    for k in range(2, 4):
        p = f.piece[int(c[k])]
        if p[_TURN] < 0:
            bend = max(bend, 1 / (p[_C] - deep) if p[_C] > deep else np.inf)
    return best - min(bend * radius * radius / 2, radius)


@inlined
def _least(corner: Floats, t: float) -> float:
    out = np.inf
    for k in range(4):
        out = min(out, t * corner[k, 2] + (1 - t) * corner[k, 3])
    return out


@inlined
def _beyond(p: Floats, x: float, rho: float) -> float:
    """Signed distance from the whole line or circle of a piece."""
    dx, dy = x - p[_A], rho - p[_B]
    if p[_TURN] == 0:
        return p[_C] * dy - p[_D] * dx
    return (p[_C] - np.sqrt(dx * dx + dy * dy)) * p[_TURN]


@inner
def _choose(
    piece: Floats, mine: Marks, count: int, x: float, rho: float, more: float, least: Floats, far: Floats, out: Marks
) -> int:
    """Of the pieces mine[:count] those that are at most `more` further than the least of their solid, into out."""
    for k in range(len(least)):
        least[k] = np.inf
    for k in range(count):
        p = piece[mine[k]]
        far[k] = abs(piece_distance(p, x, rho))
        least[int(p[_SOLID])] = min(least[int(p[_SOLID])], far[k])
    found = 0
    for k in range(count):
        if far[k] <= least[int(piece[mine[k], _SOLID])] + more:
            out[found], far[found] = mine[k], far[k]
            found += 1
    return found


@compiled
def _table(
    piece: Floats,
    low: float,
    cell: float,
    nx: int,
    ny: int,
    corner: Floats,
    bead: Floats,
    run: Ints,
    begin: Marks,
    end: Marks,
    item: Marks,
    local: NDArray[np.float32],
    nearest: Ints,
    spare: Floats,
    marks: Marks,
) -> int:
    """Fill one table, with how the distance bends in each cell if `local` has room for it; how many items it has.

    -1 where `item` is too short. spare (3, m), marks (3, m): room to work in, every piece in the first row.
    """
    m, bends, used = len(piece), len(local) > 0, 0
    block, few, far, close, least = marks[1], marks[2], spare[0], spare[1], spare[2]
    half, margin = cell * _HALF, 4 * SIZES_MM[-1] if bends else 0.0
    for bi in range(0, nx, _BLOCK):
        for bj in range(0, ny, _BLOCK):
            x, rho, size = low + (bi + _BLOCK / 2) * cell, (bj + _BLOCK / 2) * cell, _BLOCK * half
            share = _choose(piece, marks[0], m, x, rho, 2 * size + margin, least, far, block)
            for i in range(bi, min(bi + _BLOCK, nx)):
                for j in range(bj, min(bj + _BLOCK, ny)):
                    here, x, rho = i * ny + j, low + (i + 0.5) * cell, (j + 0.5) * cell
                    n = _choose(piece, block, share, x, rho, 2 * half + margin, least, far, few)
                    if used + n > len(item):
                        return -1
                    begin[here] = used
                    used += _choose(piece, few, n, x, rho, 2 * half, least, close, item[used:])
                    end[here] = used
                    if bends:
                        _bends(piece, few, far, n, x, rho, half, least, corner, bead, run, local, nearest, here)
    return used


@inner
def _bends(
    piece: Floats,
    few: Marks,
    far: Floats,
    n: int,
    x: float,
    rho: float,
    half: float,
    least: Floats,
    corner: Floats,
    bead: Floats,
    run: Ints,
    local: NDArray[np.float32],
    nearest: Ints,
    here: int,
) -> None:
    bends_up(local[here], few, far, n, least, half, bead, run, piece[:, _SOLID])
    one = two = third = np.inf
    for k in range(len(corner)):
        d = np.sqrt((x - corner[k, 0]) ** 2 + (rho - corner[k, 1]) ** 2)
        if d < one or k == 0:
            one, two, nearest[here] = d, one, k
        elif d < two:
            two = d
    for k in range(n):
        if few[k] != corner[nearest[here], 2] and few[k] != corner[nearest[here], 3]:
            third = min(third, far[k])
    local[here, len(SIZES_MM) + 1], local[here, len(SIZES_MM) + 2] = two - 1e-4, third - 1e-4


def field_of(meridian: Meridian) -> Pieces:
    """Make a workpiece and its obstacles ready for distances."""
    solids = [meridian, *meridian.obstacles]
    piece = np.ascontiguousarray(np.concatenate([_rows(one, k) for k, one in enumerate(solids)]))
    corners, number = [], 0
    for one in solids:
        rows = outward_corners(one)
        rows[rows[:, 2] >= 0, 2:4] += number
        corners.append(rows)
        number += one.count
    corner = np.ascontiguousarray(np.concatenate([*corners, np.full((1, 5), [np.inf, 0.0, -1.0, -1.0, 0.0])]))
    bead = np.concatenate([np.where(one.turn < 0, one.radius, np.inf) for one in solids])
    run = np.concatenate([runs(one) for one in solids]).astype(np.int32)
    low, high = (pick([one.box[k] for one in solids], axis=0) for k, pick in ((0, np.min), (1, np.max)))
    head, parts = [], []
    for around, cells, bends in ((_NEAR_MM, _NEAR_CELLS, True), (_FAR_MM, _FAR_CELLS, False)):
        width, height = high[0] - low[0] + 2 * around, high[1] + around
        cell = float(np.sqrt(width * height / cells))
        shape = int(np.ceil(width / cell)), int(np.ceil(height / cell))
        head += [low[0] - around, 1 / cell, *shape]
        count, m = shape[0] * shape[1], len(piece)
        begin, end = np.zeros((2, count), np.uint32)
        local, nearest = np.empty((count * bends, len(SIZES_MM) + 3), np.float32), np.zeros(count * bends, np.int32)
        marks, spare = np.tile(np.arange(m, dtype=np.uint32), (3, 1)), np.empty((3, m))
        items, used = 4 * count, -1
        while used < 0:
            item = np.empty(items, np.uint32)
            used = _table(
                piece,
                low[0] - around,
                cell,
                *shape,
                corner,
                bead,
                run,
                begin,
                end,
                item,
                local,
                nearest,
                spare,
                marks,
            )
            items *= 4
        parts.append((begin, end, item[:used], local, nearest))
    (begin, end, item, local, nearest), (far_begin, far_end, far_item, *_) = parts
    more = np.uint32(len(item))
    join = np.concatenate
    return Pieces(
        np.array(head, float),
        piece,
        join([begin, far_begin + more]),
        join([end, far_end + more]),
        join([item, far_item]),
        local,
        nearest,
        corner,
    )


def _rows(m: Meridian, number: int) -> Floats:
    """(m, 17): straight pieces by start, direction and length; bent ones by centre, radius, middle, cosine of half the
    turn; then both ends, each with the normal that gives a distance from it its sign, and the number of the solid.
    """
    every = np.arange(m.count)
    bent = (m.turn != 0)[:, None]
    middle = m.point(every, np.full(m.count, 0.5)) - m.centre
    middle /= np.maximum(np.linalg.norm(middle, axis=1, keepdims=True), 1e-300)
    arcs = np.column_stack([m.centre, m.radius, middle, np.cos(m.turn / 2)])
    lines = np.column_stack([m.start, m.tangent(every, np.zeros(m.count)), m.length, m.length])
    at_start, at_end = m.corner_normals
    ends = np.column_stack([m.start, at_start, m.end, at_end])
    return np.column_stack([np.sign(m.turn), np.where(bent, arcs, lines), m.turn, ends, np.full(m.count, number)])


@compiled
def _distances(f: Pieces, x: Floats, rho: Floats, out: Floats) -> None:
    for i in range(len(x)):
        out[i] = distance(f, x[i], rho[i])


@compiled
def _dips(f: Pieces, x: Floats, rho: Floats, radius: Floats, least: Floats, out: Floats) -> None:
    for i in range(len(x)):
        out[i] = dip(f, x[i], rho[i], radius[i], least[i])


class Wood:
    """A meridian with its obstacles made ready for distances; `field` is what compiled functions take."""

    def __init__(self, meridian: Meridian) -> None:
        self.meridian = meridian
        self.field = field_of(meridian)

    def distance(self, x: Floats, rho: Floats) -> Floats:
        """(n,) mm: signed distance of points at x along the lathe and rho ≥ 0 from its axis; negative in the wood."""
        x, rho = np.ascontiguousarray(x, float), np.ascontiguousarray(rho, float)
        out = np.empty(len(x))
        _distances(self.field, x, rho, out)
        return out

    def dip(self, x: Floats, rho: Floats, radius: Floats, least: Floats) -> Floats:
        """(n,) mm: by how much the distance inside flat patches may fall below the `least` (n,) at their corners.

        radius: (n,) mm, how far the corners are at most from x and rho. Proved in `gougeform.work.bends`.
        """
        x, rho, radius, least = (np.ascontiguousarray(column, float) for column in (x, rho, radius, least))
        out = np.empty(len(x))
        _dips(self.field, x, rho, radius, least, out)
        return out


@lru_cache(maxsize=8)
def wood_of(meridian: Meridian) -> Wood:
    """The same for the same meridian: many tools are tried on one workpiece."""
    return Wood(meridian)
