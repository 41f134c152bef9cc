"""Signed distances to a solid of revolution, many points at once.

A table over the half plane knows, for every cell, the few pieces of the meridian that can be nearest to a point in
it, so that each distance costs two or three pieces whatever the workpiece. They are exact: the table leaves out only
pieces that cannot be nearest. A second table holds the distance itself on a grid, for bounds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.work.bends import Bends
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_FAR_MARGIN = 700.0  # mm around the wood
_CELLS = 40_000
_FINEST_NODE = 0.05  # mm
_CHUNK = 8192  # points at once: their tables stay in the processor's cache


@dataclass(frozen=True, eq=False)
class _Table:
    """Cells of size `cell` from `low`: `shape` of them; pieces (cells, most), -1 where there are fewer."""

    low: Floats
    cell: float
    shape: tuple[int, int]
    pieces: Ints

    def row(self, x: Floats, rho: Floats) -> Ints:
        i = np.minimum(((x - self.low[0]) / self.cell).astype(np.intp), self.shape[0] - 1)
        j = np.minimum(((rho - self.low[1]) / self.cell).astype(np.intp), self.shape[1] - 1)
        return np.maximum(i, 0) * self.shape[1] + np.maximum(j, 0)

    def holds(self, x: Floats, rho: Floats) -> NDArray[np.bool_]:
        top = self.low + self.cell * np.array(self.shape)
        return (x >= self.low[0]) & (x <= top[0]) & (rho <= top[1])


@dataclass(frozen=True, eq=False)
class Wood:
    """A meridian made ready for distances: exact ones everywhere, and a grid of `nodes` to `margin` mm around it."""

    meridian: Meridian
    nodes: int = 700_000
    margin: float = 12.0

    def distance(self, x: Floats, rho: Floats) -> Floats:
        """(n,) mm: signed distance of points at x along the lathe and rho ≥ 0 from its axis; negative in the wood.

        Exact for points within 700 mm of the wood; those beyond raise nothing and are measured against every piece.
        """
        x, rho = np.asarray(x, float), np.asarray(rho, float)
        if len(x) > _CHUNK:
            parts = range(0, len(x), _CHUNK)
            return np.concatenate([self.distance(x[i : i + _CHUNK], rho[i : i + _CHUNK]) for i in parts])
        out = np.full(len(x), np.nan)
        left = np.arange(len(x))
        for table in (self._near, self._far):
            inside = table.holds(x[left], rho[left])
            if len(left) == len(x) and inside.all():
                return self._nearest(table.pieces.take(table.row(x, rho), 0), x, rho)
            here = left[inside]
            if len(here):
                out[here] = self._nearest(table.pieces[table.row(x[here], rho[here])], x[here], rho[here])
            left = left[~inside]
            if not len(left):
                return out
        every = np.broadcast_to(np.arange(self.meridian.count), (len(left), self.meridian.count))
        out[left] = self._nearest(every, x[left], rho[left])
        return out

    def _nearest(self, pieces: Ints, x: Floats, rho: Floats) -> Floats:
        best = self.meridian.piece_distance(pieces[:, 0], x, rho)
        for column in range(1, pieces.shape[1]):
            more = np.flatnonzero(pieces[:, column] >= 0)
            if not len(more):
                break
            other = self.meridian.piece_distance(pieces[more, column], x[more], rho[more])
            best[more] = np.where(np.abs(other) < np.abs(best[more]), other, best[more])
        return best

    def of_points(self, points: Floats) -> Floats:
        """(n,) mm for points (n, 3) with the lathe's axis along the first coordinate."""
        return self.distance(points[:, 0], np.hypot(points[:, 1], points[:, 2]))

    @cached_property
    def _near(self) -> _Table:
        low, high = self.meridian.box
        low, high = np.array([low[0] - self.margin, 0.0]), high + self.margin
        return self._table(low, high, float(np.sqrt(np.prod(high - low) / min(_CELLS, self.nodes))))

    @cached_property
    def _far(self) -> _Table:
        low, high = self.meridian.box
        low, high = np.array([low[0] - _FAR_MARGIN, 0.0]), high + _FAR_MARGIN
        return self._table(low, high, float(np.sqrt(np.prod(high - low) / (min(_CELLS, self.nodes) / 4))))

    def _table(self, low: Floats, high: Floats, cell: float) -> _Table:
        shape = tuple(np.ceil((high - low) / cell).astype(int))
        far = self._from_cells(low, cell, (int(shape[0]), int(shape[1])))
        # A point of the cell is within half its diagonal of the centre.
        reach = far.min(1) + 2 * cell * np.float32(np.sqrt(0.5) * (1 + 1e-5)) + np.float32(1e-4)
        near = far <= reach[:, None]
        most = int(near.sum(1).max())
        order = np.argsort(np.where(near, far, np.inf), axis=1, kind="stable")[:, :most]
        pieces = np.where(np.take_along_axis(near, order, 1), order, -1)
        return _Table(low, cell, (int(shape[0]), int(shape[1])), pieces)

    def _from_cells(self, low: Floats, cell: float, shape: tuple[int, int]) -> NDArray[np.float32]:
        """(cells, m) mm: distances of all pieces from the middles of cells."""
        i, j = np.meshgrid(*(np.arange(s) for s in shape), indexing="ij")
        x, rho = low[0] + cell * (i.ravel() + 0.5), low[1] + cell * (j.ravel() + 0.5)
        far = np.empty((len(x), self.meridian.count), np.float32)
        for piece in range(self.meridian.count):
            far[:, piece] = np.abs(self.meridian.piece_distance(np.full(len(x), piece), x, rho))
        return far

    @cached_property
    def _grid(self) -> tuple[Floats, float, Floats]:
        low, high = self.meridian.box
        low, high = np.array([low[0] - self.margin, 0.0]), high + self.margin
        step = max(float(np.sqrt(np.prod(high - low) / self.nodes)), _FINEST_NODE)
        shape = np.ceil((high - low) / step).astype(int) + 1
        x, rho = low[0] + step * np.arange(shape[0]), low[1] + step * np.arange(shape[1])
        # Nodes deep in wood or air far from the surface matter little; all are exact all the same.
        values = self.distance(np.repeat(x, shape[1]), np.tile(rho, shape[0]))
        return low, step, values.reshape(tuple(shape))

    def dip(self, x: Floats, rho: Floats, radius: Floats, least: Floats) -> Floats:
        """(n,) mm: by how much the distance inside flat patches may fall below the `least` (n,) at their corners.

        radius: (n,) mm, how far the corners are at most from x and rho. Proved in `gougeform.work.bends`.
        """
        table = self._near
        cell = table.row(x, rho)
        i, j = np.divmod(cell, table.shape[1])
        off = np.hypot(x - table.low[0] - table.cell * (i + 0.5), rho - table.low[1] - table.cell * (j + 0.5))
        return self._bends.dip(cell, off, x, rho, radius, least)

    @cached_property
    def _bends(self) -> Bends:
        table = self._near
        # The middle of a patch is within half a cell's diagonal of the cell's.
        half = table.cell * float(np.sqrt(0.5)) * (1 + 1e-5) + 1e-4
        return Bends.of(self.meridian, self._from_cells(table.low, table.cell, table.shape), half)

    @cached_property
    def _bounds(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """The grid lowered and raised by what bilinear interpolation may be off, which second differences tell.

        A smooth function is off by an eighth of them, a kink half way between two nodes by a half.
        """
        from scipy.ndimage import maximum_filter

        d = self._grid[2]
        off = np.zeros_like(d)
        off[1:-1] += np.abs(d[2:] + d[:-2] - 2 * d[1:-1])
        off[:, 1:-1] += np.abs(d[:, 2:] + d[:, :-2] - 2 * d[:, 1:-1])
        # The last terms are for coordinates given in single precision.
        low, step, _ = self._grid
        size = float(np.abs(low).max() + step * max(d.shape))
        off = 0.55 * maximum_filter(off, size=5) + 2e-5 + 4e-7 * size
        return (d - off).astype(np.float32).ravel(), (d + off).astype(np.float32).ravel()

    def at_least(self, x: NDArray[Any], rho: NDArray[Any]) -> NDArray[np.float32]:
        """Lower bounds (n,) of distances, from a grid: nearly as good as the distances and much quicker."""
        return self._between(self._bounds[0], x, rho)

    def at_least_anywhere(self, x: Floats, rho: Floats) -> Floats:
        """Lower bounds (n,) as `at_least`, and beyond its grid at least the way back to it."""
        low, step, values = self._grid
        high = low + step * (np.array(values.shape) - 1)
        away = np.hypot(np.maximum(low[0] - x, 0) + np.maximum(x - high[0], 0), np.maximum(rho - high[1], 0))
        inside = self.at_least(x, rho)
        return np.where(away > 0, np.maximum(inside, away), inside)

    def at_most(self, x: NDArray[Any], rho: NDArray[Any]) -> NDArray[np.float32]:
        """Upper bounds (n,) of distances for points within the grid; beyond it they only tell that there is no wood."""
        return self._between(self._bounds[1], x, rho)

    def _between(self, flat: NDArray[np.float32], x: NDArray[Any], rho: NDArray[Any]) -> NDArray[np.float32]:
        low, step, values = self._grid
        rows, columns = values.shape
        single = np.float32
        i = np.asarray(x, single)
        i = np.minimum(np.maximum((i - single(low[0])) * single(1 / step), single(0)), single(rows - 1.001))
        j = np.minimum(np.asarray(rho, single) * single(1 / step), single(columns - 1.001))
        i0, j0 = i.astype(np.int32), j.astype(np.int32)
        i -= i0
        j -= j0
        k = i0 * np.int32(columns) + j0
        here, right = flat[k], flat[k + np.int32(columns)]
        here += j * (flat[k + np.int32(1)] - here)
        right += j * (flat[k + np.int32(columns + 1)] - right)
        right -= here
        here += i * right
        return here
