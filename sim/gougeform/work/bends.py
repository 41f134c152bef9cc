"""By how much the distance to the wood may fall inside a flat patch below that at its corners: a proved bound.

Let p = Σ w c be a point of a patch's flat hull with corners c in a ball of radius r round m, and let the signed
distance d nowhere bend up by more than k in the hull: along every segment d'' ≤ k, kinks counted. Then d - k |x|² / 2
is concave there, so d(p) ≥ Σ w d(c) - k/2 Σ w |c - p|² ≥ least - k r² / 2, since
Σ w |c - p|² = Σ w |c - m|² - |p - m|² ≤ r². The same sum shows that some corner lies within r of p, and d changes by no
more than the way: it falls by r at most.

Where d bends up, and by how much at most:

- Round the lathe's axis by (slope outward) / rho ≤ 1 / (rho - r).
- Beside a piece by its own curvature: not at all by a straight or hollow one, by 1 / (R + d) at a bead of radius R.
  No point of the hull is deeper than r + depth, depth being that of the deepest corner, so by 1 / (R - r - depth).
- Where an outward corner of the wood is nearest, by one over the way to it. (Where two pieces are equally near outside
  the wood, and inside it round an inward corner, d bends down, which does no harm.)
- In a kink, without limit, where two places a, b of the surface are equally near a point of the wood at depth
  e ≤ r + depth; both are within 2 r + depth of m. Let the surface run from a to b without an outward corner, with
  beads of radius above e only, and turn by 90° at most altogether. Seen along its tangent at a it is then a graph, and
  the sine of its slope falls by at most x / R over a way of x: it stays above the disc of radius e below a, touches it
  nowhere else, and b is not on it. So kinks need two pieces within 2 r + depth of m that are not joined so: a pair.
  A straight piece and a bead of up to 180° that runs into it are no pair either: a smaller disc that touches the line
  before the bead begins lies inside the bead's circle or farther away. Nor is a piece with itself.

Out of the wood none of this counts for more than 1 / d, as for the distance from any set: d² / 2 - |x|² / 2 is concave.

Pairs and beads are looked up in cells, for a few sizes of patch. Lengths mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]

_MANY = 24  # corners that are quicker found in a tree
SIZES_MM = (0.03, 0.1, 0.3, 0.8, 2.5)
_TURN = 1e-6  # rad: joints that turn by less are smooth, as in `Meridian.inner_corners`


def outward_corners(meridian: Meridian) -> Flags:
    """(m,) whether the wood has an outward corner at the end of each piece."""
    return _joints(meridian) < -_TURN


def _joints(meridian: Meridian) -> Floats:
    """(m,) rad: how the chain turns from the end of each piece to the start of the next; 0 at an open chain's end."""
    every = np.arange(meridian.count)
    last = meridian.tangent(every, np.ones(meridian.count))
    after = np.roll(meridian.tangent(every, np.zeros(meridian.count)), -1, 0)
    turn = np.arctan2(last[:, 0] * after[:, 1] - last[:, 1] * after[:, 0], (last * after).sum(1))
    if not meridian.ring:
        turn[-1] = 0.0
    return turn


def pairs(meridian: Meridian) -> Flags:
    """(m, m) whether a kink may lie between two pieces."""
    m, joint, turn = meridian.count, _joints(meridian), np.abs(meridian.turn)
    out = ~np.eye(m, dtype=bool)
    most = np.pi / 2 + 1e-9
    for i in range(m):
        whole = turn[i]
        for step in range(1, m):
            j = i + step
            if j >= m and not meridian.ring:
                break
            before, j = (j - 1) % m, j % m
            if joint[before] < -_TURN:
                break
            whole += abs(joint[before]) + turn[j]
            line_and_bead = step == 1 and min(turn[i], turn[j]) == 0 and abs(joint[before]) <= _TURN and whole <= np.pi
            if whole > most and not line_and_bead:
                break
            out[i, j] = out[j, i] = False
            if whole > most:
                break
    return out


@dataclass(frozen=True, eq=False)
class Bends:
    """bend: (sizes, cells) 1/mm, what beads let the distance bend up for patches up to SIZES_MM, middle in the cell.

    pair: (cells,) mm from a cell's middle to the farther piece of the nearest pair; corners: of the wood, outward.
    """

    bend: NDArray[np.float32]
    pair: NDArray[np.float32]
    half: float
    corners: Floats

    @classmethod
    def of(cls, meridian: Meridian, far: NDArray[np.float32], half: float) -> Bends:
        """From distances (cells, m) mm of the pieces from the middles of cells; none reaches further than `half`."""
        bead = np.where(meridian.turn < 0, meridian.radius, np.inf)
        bend, pair = np.zeros((len(SIZES_MM), len(far)), np.float32), np.full(len(far), np.float32(np.inf))
        for i, j in zip(*np.nonzero(np.triu(pairs(meridian))), strict=True):
            np.minimum(pair, np.maximum(far[:, i], far[:, j]), out=pair)
        nearest = far.min(1)
        for number, size in enumerate(SIZES_MM):
            for i in np.flatnonzero(np.isfinite(bead)):
                own = 1 / (bead[i] - 2 * size) if bead[i] > 2 * size else np.inf
                near = far[:, i] <= nearest + np.float32(2 * half + 2 * size)
                bend[number, near] = np.maximum(bend[number, near], np.float32(own))
        place = meridian.end[outward_corners(meridian)]
        if not meridian.ring:
            place = np.concatenate([place, meridian.start[:1], meridian.end[-1:]])
        return cls(bend, pair - np.float32(1e-4), half, place)

    def dip(self, cell: Ints, off: Floats, x: Floats, rho: Floats, radius: Floats, least: Floats) -> Floats:
        """(n,) mm: by how much the distance in flat patches may fall below `least`, the smallest (n,) at their corners.

        Patches round x and rho, `off` (n,) mm from the middle of their `cell`; radius (n,): to their corners, at most.
        """
        reach = 2 * radius + np.maximum(-least, 0)
        level = np.searchsorted(2 * np.array(SIZES_MM), reach)
        known = (level < len(SIZES_MM)) & (off <= self.half)
        known &= (self.pair[cell] - off > reach) | (least > radius)
        bend = np.where(known, self.bend[np.where(known, level, 0), cell], np.inf).astype(float)
        bend = np.maximum(bend, _one_over(rho - radius))
        bend = np.maximum(bend, _one_over(self._away(x, rho) - radius))
        bend = np.minimum(bend, _one_over(least - radius))
        out: Floats = np.minimum(bend * radius**2 / 2, radius)
        return out

    def _away(self, x: Floats, rho: Floats) -> Floats:
        """(n,) mm to the nearest corner, infinite where there is none."""
        if len(self.corners) > _MANY:
            return np.asarray(self._tree.query(np.column_stack([x, rho]))[0])
        square = np.full(len(x), np.inf)
        for at, out in self.corners:
            np.minimum(square, (x - at) ** 2 + (rho - out) ** 2, out=square)
        return np.sqrt(square)

    @cached_property
    def _tree(self) -> KDTree:
        return KDTree(self.corners)


def _one_over(size: Floats) -> Floats:
    return np.where(size > 0, 1 / np.where(size > 0, size, 1.0), np.inf)
