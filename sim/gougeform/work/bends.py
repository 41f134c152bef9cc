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

Across an outward corner there is more to be known. Let only the two pieces that meet in it lie within 2 r + depth of m,
and let f, g be the signed distances from their whole lines or circles. Near the corner the wood lies where both are
below zero (beside a bead of radius R that turns by τ into the next piece, within 2 R sin τ of the corner). So out of
the wood d ≥ max(f, g), both changing by no more than the way; and a ball in the wood crosses neither curve, so that in
the wood max(f, g) = d. For each t in 0 … 1 then d ≥ t f + (1 - t) g, which bends up as its two parts do.

Where there are several solids, the least of their distances bends down where one takes over from another, which does
no harm either. Pairs, corners and beads are looked up in cells, for a few sizes of patch. Lengths mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.numerics.compiled import inner
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]

SIZES_MM = (0.03, 0.1, 0.3, 0.8, 2.5)
_TURN = 1e-6  # rad: joints that turn by less are smooth, as in `Meridian.inner_corners`


def outward_corners(meridian: Meridian) -> Floats:
    """(k, 5): where the wood has outward corners, mm; the pieces before and after; how far both lie beyond the wood.

    The ends of a chain that is no ring count too, without pieces (-1).
    """
    joint, m = _joints(meridian), meridian.count
    before = np.flatnonzero(joint < -_TURN)
    after = (before + 1) % m
    bead = np.where(meridian.turn < 0, meridian.radius, np.inf)
    sine = np.where(joint[before] > -np.pi / 2, np.sin(-joint[before]), 1.0)
    wide = 2 * np.minimum(bead[before], bead[after]) * sine
    rows = np.column_stack([meridian.end[before], before, after, wide])
    if meridian.ring:
        return rows
    ends = np.stack([meridian.start[0], meridian.end[-1]])
    return np.concatenate([rows, np.column_stack([ends, np.full((2, 2), -1.0), np.zeros(2)])])


def _joints(meridian: Meridian) -> Floats:
    """(m,) rad: how the chain turns from the end of each piece to the start of the next; 0 at an open chain's end."""
    every = np.arange(meridian.count)
    last = meridian.tangent(every, np.ones(meridian.count))
    after = np.roll(meridian.tangent(every, np.zeros(meridian.count)), -1, 0)
    turn = np.arctan2(last[:, 0] * after[:, 1] - last[:, 1] * after[:, 0], (last * after).sum(1))
    if not meridian.ring:
        turn[-1] = 0.0
    return turn


def runs(meridian: Meridian) -> Ints:
    """(m, 2): the number of pieces, and with how many of those after it each is joined so that it is no pair with them.

    (Where a piece is no pair with one after it, it is none with those between.)
    """
    m, joint, turn = meridian.count, _joints(meridian), np.abs(meridian.turn)
    out = np.full((m, 2), m, np.int32)
    most = np.pi / 2 + 1e-9
    for i in range(m):
        whole, step = turn[i], 1
        while step < (m if meridian.ring else m - i):
            j = (i + step) % m
            bend = joint[j - 1]
            if bend < -_TURN:
                break
            whole += abs(bend) + turn[j]
            line_and_bead = step == 1 and min(turn[i], turn[j]) == 0 and abs(bend) <= _TURN and whole <= np.pi
            if whole > most:
                step += line_and_bead
                break
            step += 1
        out[i, 1] = step - 1
    return out


@inner
def bends_up(
    out: NDArray[np.float32],
    piece: NDArray[np.uint32],
    far: Floats,
    count: int,
    least: Floats,
    half: float,
    bead: Floats,
    run: Ints,
    solid: Floats,
) -> None:
    """What lets the distance bend up in a cell whose points are within `half` mm of its middle.

    From its pieces[:count], at `far` (count,) mm from the middle, at `least` in each solid: 1/mm by beads for patches
    up to each of SIZES_MM, and mm from the middle to the farther piece of the nearest pair. Puts them in order.
    """
    for k in range(len(out)):
        out[k] = 0.0
    for k in range(count):
        for level, size in enumerate(SIZES_MM):
            if far[k] <= least[int(solid[piece[k]])] + 2 * half + 2 * size:
                own = 1 / (bead[piece[k]] - 2 * size) if bead[piece[k]] > 2 * size else np.inf
                out[level] = max(out[level], own * (1 + 1e-6))
    for b in range(1, count):  # in the order of their distance
        k = b
        while k > 0 and far[k - 1] > far[k]:
            far[k - 1], far[k], piece[k - 1], piece[k] = far[k], far[k - 1], piece[k], piece[k - 1]
            k -= 1
    pair = np.inf
    for b in range(1, count):
        j = int(piece[b])
        for a in range(b):
            i = int(piece[a])
            if solid[i] == solid[j]:
                size = run[i, 0]
                if (j - i) % size > run[i, 1] and (i - j) % size > run[j, 1]:
                    pair = far[b]
        if pair < np.inf:
            break
    out[len(SIZES_MM)] = pair - 1e-4
