"""Where along a line across the section one ground surface hands over to another: the lowest of several heights."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.ground import Ground
from gougeform.numerics.roots import bracketed_roots

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Height = Callable[[Floats], Floats]
"""Heights z (n,) mm over section points (n, 2) mm."""

_CLOSE = 1e-9  # mm: heights nearer than this are the same, the kernel finds them no better


def surfaces(ground: Ground, shift: float = 0.0) -> list[Height]:
    """The height of each grind alone, moved along the bar by `shift` mm."""

    def height(points: Floats, one: Ground) -> Floats:
        return one.heights(points).z + shift

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


def hand_overs(
    point: Callable[[Ints, Floats], Floats], count: int, samples: Floats, heights: Sequence[Height]
) -> HandOvers:
    """Find the hand-overs on `count` lines, looked for between samples (k,) of t in [0, 1].

    point(line, t) gives section points (m, 2). A surface that is lowest only between two samples is not seen.
    """
    k = len(samples)
    line, t = np.repeat(np.arange(count), k), np.tile(samples, count)
    z = _all(heights, point(line, t)).reshape(len(heights), count, k)
    lowest = z.argmin(0)
    at, i = np.nonzero(lowest[:, :-1] != lowest[:, 1:])
    pending = (at, samples[i], samples[i + 1], lowest[at, i], lowest[at, i + 1])
    z_low, z_high = z[:, at, i], z[:, at, i + 1]
    found: list[tuple[Ints, Floats, Ints, Ints]] = []
    while len(pending[0]):
        at, low, high, a, b = pending
        rows = np.arange(len(at))

        def difference(which: Ints, x: Floats, at: Ints = at, a: Ints = a, b: Ints = b) -> Floats:
            p, out = point(at[which], x), np.zeros(len(x))
            for number, height in enumerate(heights):
                for sign, one in ((1, a), (-1, b)):
                    mine = one[which] == number
                    if mine.any():
                        out[mine] += sign * height(p[mine])
            return out

        root = bracketed_roots(
            difference,
            low,
            high,
            z_low[a, rows] - z_low[b, rows],
            z_high[a, rows] - z_high[b, rows],
            width=1e-14,
            small=_CLOSE,
        )
        if len(heights) == 2:
            found.append((at, root, a, b))
            break
        z_root = _all(heights, point(at, root))
        c = z_root.argmin(0)
        between = (c != a) & (c != b) & (z_root.min(0) < np.minimum(z_root[a, rows], z_root[b, rows]) - _CLOSE)
        found.append((at[~between], root[~between], a[~between], b[~between]))
        # A third surface is lower still where the two meet: look on both sides of that place.
        two = [
            np.concatenate([x[between], y[between]]) for x, y in ((at, at), (low, root), (root, high), (a, c), (c, b))
        ]
        z_low, z_high = (
            np.concatenate([x[:, between], y[:, between]], axis=1) for x, y in ((z_low, z_root), (z_root, z_high))
        )
        pending = (two[0], two[1], two[2], two[3], two[4])
    if not found:
        none = np.zeros(0, np.intp)
        return HandOvers(lowest[:, 0], none, np.zeros(0), none, none)
    at, root, a, b = (np.concatenate(column) for column in zip(*found, strict=True))
    order = np.lexsort((root, at))
    return HandOvers(lowest[:, 0], at[order], root[order], a[order], b[order])


def _all(heights: Sequence[Height], points: Floats) -> Floats:
    return np.stack([height(points) for height in heights])
