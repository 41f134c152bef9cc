"""Cheek widths: how broad the tool is under the edge, the steel that gets in the way in a tight place.

At a distance d behind the nose the section z = -d of the ground tool is the set h(x, y) ≥ -d. Its cheek width is its
full sideways width at or below the height of the flute's floor, where it is widest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.outline import Outline
from gougeform.grind.gouge import Gouge

Floats = NDArray[np.float64]

_ROWS, _COLUMNS = 25, 17
_CLOSER, _ROUNDS = 16, 5  # a round divides the two rows beside the widest height into so many
_SETTLED = 2e-5  # mm
_STEPS = 40
_DONE = 1e-9  # mm


def cheek_widths(gouge: Gouge, behind: Floats) -> Floats:
    """Full widths (n,) mm at distances `behind` (n,) mm behind the nose; 0 where no steel is left there."""
    behind = np.asarray(behind, float)
    right = _half_width(gouge, behind, 1.0)
    return 2 * right if gouge.symmetric else right + _half_width(gouge, behind, -1.0)


def half_outline(outline: Outline, y: Floats, side: float) -> Floats:
    """How far (n,) mm the outline reaches to one side at heights y (n,) mm."""
    lo, hi = np.zeros(len(y)), np.full(len(y), 2 * float(np.abs(outline.start).max()))
    for _ in range(52):
        mid = (lo + hi) / 2
        inside = outline.contains(np.stack([side * mid, y], -1))
        lo, hi = np.where(inside, mid, lo), np.where(inside, hi, mid)
    return lo


def _half_width(gouge: Gouge, behind: Floats, side: float) -> Floats:
    outline, top = gouge.section.outline, gouge.section.y_floor
    bottom = outline.on_middle_plane(below=True)
    rows = np.linspace(bottom, top, _ROWS + 1)[1:]
    x = _reach(gouge, behind, np.broadcast_to(rows, (len(behind), _ROWS)), side)
    width, y = x.max(1), rows[x.argmax(1)]
    # It may be a hump, or a corner where the outline takes over from the ground surface: narrow the heights down.
    step, todo = (top - bottom) / _ROWS, np.flatnonzero(width > 0)
    for _ in range(_ROUNDS):
        if not len(todo):
            break
        closer = np.clip(y[todo, None] + step * np.linspace(-1.0, 1.0, _CLOSER + 1), bottom + 1e-9, top)
        x = _reach(gouge, behind[todo], closer, side)
        best, row = x.argmax(1), np.arange(len(todo))
        width[todo], y[todo] = np.maximum(width[todo], x.max(1)), closer[row, best]
        step *= 2 / _CLOSER
        # The widest place lies no further over the widest height than that stands over its neighbours.
        fall = x[row, best] - np.minimum(x[row, np.maximum(best - 1, 0)], x[row, np.minimum(best + 1, _CLOSER)])
        todo = todo[(fall > _SETTLED) & (y[todo] < top)]
    return width


def _reach(gouge: Gouge, behind: Floats, y: Floats, side: float) -> Floats:
    """Largest |x| (d, r) at which h ≥ -d, at heights y (d, r) for distances d behind the nose."""
    shape = y.shape
    # Rows repeat between distances in the first round: cut every height once.
    once, index = np.unique(y, return_inverse=True)
    outer = half_outline(gouge.section.outline, once, side)
    share = np.linspace(0.0, 1.0, _COLUMNS)
    grid = outer[:, None] * share
    points = np.stack([side * grid.ravel(), np.repeat(once, _COLUMNS)], -1)
    table = gouge.ground.heights(points).z.reshape(grid.shape)
    row = index.reshape(-1)
    level = -np.repeat(behind, shape[1])
    stands = table[row] >= level[:, None]
    last = _COLUMNS - 1 - stands[:, ::-1].argmax(1)
    none, whole = ~stands.any(1), stands[:, -1]
    lo = np.take_along_axis(grid[row], last[:, None], 1)[:, 0]
    hi = np.take_along_axis(grid[row], np.minimum(last + 1, _COLUMNS - 1)[:, None], 1)[:, 0]
    open_ = np.flatnonzero(~none & ~whole)
    a, b = lo[open_], hi[open_]
    x, todo = (a + b) / 2, np.arange(len(open_))
    for _ in range(_STEPS):
        if not len(todo):
            break
        now = x[todo]
        cut = gouge.ground.heights(np.stack([side * now, once[row[open_[todo]]]], -1))
        f = cut.z - level[open_[todo]]
        a[todo], b[todo] = np.where(f >= 0, now, a[todo]), np.where(f >= 0, b[todo], now)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = now + side * f * cut.normal[2] / cut.normal[0]
        inside = np.isfinite(newton) & (newton >= a[todo]) & (newton <= b[todo])
        x[todo] = np.where(inside, newton, (a[todo] + b[todo]) / 2)
        todo = todo[np.abs(x[todo] - now) > _DONE]
    out = np.where(none, 0.0, np.where(whole, outer[row], lo))
    out[open_] = x
    return out.reshape(shape)
