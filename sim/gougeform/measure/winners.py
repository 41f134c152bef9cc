"""Where along a line across the section one ground surface hands over to another: the lowest of several heights."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.ground import Ground
from gougeform.numerics.roots import newton_roots

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Height = Callable[[Floats], tuple[Floats, Floats]]
"""Heights z (n,) mm over section points (n, 2) mm, and their slopes dz/dx and dz/dy (2, n); NaN costs time, no more."""

PointOf = Callable[[Ints, Floats], Floats]
"""Section points (m, 2) mm of lines at t (m,) in 0 … 1."""

_NUDGE = 1e-6  # of a line: its direction only serves Newton's steps
_CLOSE = 1e-9  # mm: heights nearer than this are the same, the kernel finds them no better


def surfaces(ground: Ground, shift: float = 0.0) -> list[Height]:
    """The height of each grind alone, moved along the bar by `shift` mm."""

    def height(points: Floats, one: Ground) -> tuple[Floats, Floats]:
        cut = one.heights(points)
        with np.errstate(divide="ignore", invalid="ignore"):  # infinite on an upright wall
            return cut.z + shift, -cut.normal[:2] / cut.normal[2]

    return [partial(height, one=Ground((each,))) for each in ground.passes]


@dataclass(frozen=True, eq=False)
class HandOvers:
    """first: (n,) which surface is lowest where each line begins.

    line, t, before, after: (m,) the hand-overs in order of line and t; t runs from 0 to 1 along a line.
    """

    first: Ints
    line: Ints
    t: Floats
    before: Ints
    after: Ints


def hand_overs(point: PointOf, count: int, samples: Floats, heights: Sequence[Height]) -> HandOvers:
    """Find the hand-overs on `count` lines, looked for between samples (k,) of t in [0, 1].

    point(line, t) gives section points (m, 2). A surface that is lowest only between two samples is not seen.
    """
    k = len(samples)
    line, t = np.repeat(np.arange(count), k), np.tile(samples, count)
    z, slope = _all(heights, point, line, t)
    z, slope = z.reshape(-1, count, k), slope.reshape(-1, count, k)
    lowest = z.argmin(0)
    at, i = np.nonzero(lowest[:, :-1] != lowest[:, 1:])
    pending = (at, samples[i], samples[i + 1], lowest[at, i], lowest[at, i + 1])
    z_low, z_high = (np.stack([z[:, at, j], slope[:, at, j]]) for j in (i, i + 1))
    found: list[tuple[Ints, Floats, Ints, Ints]] = []
    while len(pending[0]):
        at, low, high, a, b = pending
        rows = np.arange(len(at))

        def difference(which: Ints, x: Floats, at: Ints = at, a: Ints = a, b: Ints = b) -> tuple[Floats, Floats]:
            value, slope = np.zeros((2, len(x)))
            for number, height in enumerate(heights):
                for sign, one in ((1, a), (-1, b)):
                    mine = one[which] == number
                    if mine.any():
                        z, rise = _along(height, point, at[which[mine]], x[mine])
                        with np.errstate(invalid="ignore"):  # upright walls of both
                            value[mine] += sign * z
                            slope[mine] += sign * rise
            return value, slope

        with np.errstate(invalid="ignore"):
            ends = [(z[a, rows] - z[b, rows], rise[a, rows] - rise[b, rows]) for z, rise in (z_low, z_high)]
        root = newton_roots(difference, low, high, *ends, width=1e-14, small=_CLOSE)
        if len(heights) == 2:
            found.append((at, root, a, b))
            break
        z_root = np.stack(_all(heights, point, at, root))
        least = z_root[0]
        c = least.argmin(0)
        between = (c != a) & (c != b) & (least.min(0) < np.minimum(least[a, rows], least[b, rows]) - _CLOSE)
        found.append((at[~between], root[~between], a[~between], b[~between]))
        # A third surface is lower still where the two meet: look on both sides of that place.
        two = [
            np.concatenate([x[between], y[between]]) for x, y in ((at, at), (low, root), (root, high), (a, c), (c, b))
        ]
        z_low, z_high = (
            np.concatenate([x[..., between], y[..., between]], axis=2) for x, y in ((z_low, z_root), (z_root, z_high))
        )
        pending = (two[0], two[1], two[2], two[3], two[4])
    if not found:
        none = np.zeros(0, np.intp)
        return HandOvers(lowest[:, 0], none, np.zeros(0), none, none)
    at, root, a, b = (np.concatenate(column) for column in zip(*found, strict=True))
    order = np.lexsort((root, at))
    return HandOvers(lowest[:, 0], at[order], root[order], a[order], b[order])


def _all(heights: Sequence[Height], point: PointOf, line: Ints, t: Floats) -> tuple[Floats, Floats]:
    """Heights (h, m) of all surfaces at places t (m,) of lines, and their slopes dz/dt (h, m) there."""
    z, rise = zip(*(_along(height, point, line, t) for height in heights), strict=True)
    return np.stack(z), np.stack(rise)


def _along(height: Height, point: PointOf, line: Ints, t: Floats) -> tuple[Floats, Floats]:
    """Height and slope dz/dt (m,) at places t (m,) of lines. Lines bend: a difference gives their direction."""
    here = point(line, t)
    z, slope = height(here)
    step = np.where(t < 0.5, _NUDGE, -_NUDGE)  # a line ends at 0 and 1
    way = (point(line, t + step) - here).T / step
    with np.errstate(invalid="ignore"):
        return z, slope[0] * way[0] + slope[1] * way[1]
