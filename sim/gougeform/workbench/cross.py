"""A section of the ground tool square to its axis, at a distance behind the nose."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.measure.cheek import edge_widths, widths
from gougeform.measure.fan import Columns, build_fan, joined
from gougeform.measure.measures import Measures

Floats = NDArray[np.float64]

_ACROSS, _ROUND, _ROWS = 61, 64, 13
_SHARPENED = 5


def cross_section(measures: Measures, behind: float) -> dict[str, Any]:
    """The steel in the plane z = -behind: closed outlines (k, 2) mm, with the whole bar's outline, and its width.

    steel: outlines, empty ahead of all steel. bar: the outline with its flute. widths: of cheek and edge, and the cheek
    past the edge, see `gougeform.measure.cheek`.
    """
    gouge = measures.gouge
    fan, section = build_fan(gouge.section), gouge.section
    u = np.linspace(section.u_left, section.u_right, _ACROSS)[1:-1]
    v = np.linspace(section.v_left, section.v_right, _ROUND)[1:-1]
    columns = joined(fan.lips, fan.at_flute(u), fan.at_outline(np.unique(np.concatenate([v, section.corners(1e-6)]))))
    low, high, there = _steel_on_rays(gouge, columns, behind)
    which = np.arange(len(columns))
    inner, outer = columns.point(which, low), columns.point(which, high)
    loops = []
    runs = np.split(which, np.flatnonzero(np.diff(there.astype(int)) != 0) + 1)
    for run in runs:
        if there[run[0]] and len(run) > 1:
            loops.append(np.concatenate([inner[run], outer[run][::-1]]).round(4).tolist())
    bar = np.concatenate([columns.inner, columns.outer[::-1]]).round(4).tolist()
    past, cheek = widths(measures.edge, behind, cheek_at=[behind])
    broad = {
        "cheek_width_mm": float(cheek[0]),
        "edge_width_mm": float(edge_widths(measures.edge, behind)[0]),
        "cheek_past_edge_mm": float(past[0]),
    }
    return {"behind_mm": behind, "steel": loops, "bar": bar, **broad, "floor_mm": section.y_floor}


def _steel_on_rays(gouge: Gouge, columns: Columns, behind: float) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Where steel begins and ends on each ray (n,), 0 at the flute and 1 at the outline, and whether there is any."""
    n = len(columns)
    t = np.linspace(0.0, 1.0, _ROWS)
    which = np.repeat(np.arange(n), _ROWS)
    over = gouge.ground.heights(columns.point(which, np.tile(t, n))).z.reshape(n, _ROWS) + behind
    stands = over >= 0
    there = stands.any(1)
    first, last = stands.argmax(1), _ROWS - 1 - stands[:, ::-1].argmax(1)
    low = _crossing(gouge, columns, behind, np.where(first > 0, t[first - 1], 0.0), t[first], (first > 0) & there)
    high = _crossing(
        gouge, columns, behind, np.where(last < _ROWS - 1, t[np.minimum(last + 1, _ROWS - 1)], 1.0), t[last],
        (last < _ROWS - 1) & there,
    )  # fmt: skip
    return low, high, np.asarray(there)


def _crossing(
    gouge: Gouge, columns: Columns, behind: float, out: Floats, inside: Floats, open_: NDArray[np.bool_]
) -> Floats:
    """Between a place outside the steel and one inside, where the surface crosses the plane; `inside` elsewhere."""
    found = inside.copy()
    at = np.flatnonzero(open_)
    a, b = out[at], inside[at]

    def over(t: Floats) -> Floats:
        return np.asarray(gouge.ground.heights(columns.point(at, t)).z + behind)

    if not len(at):
        return found
    fa, fb = over(a), over(b)
    for _ in range(_SHARPENED):
        # Regula falsi with the Illinois weight: a bracket stays a bracket.
        with np.errstate(invalid="ignore", divide="ignore"):
            t = np.where(fb == fa, (a + b) / 2, b - fb * (b - a) / (fb - fa))
        t = np.where(np.isfinite(t), t, (a + b) / 2)
        ft = over(t)
        side = ft >= 0
        fa, fb = np.where(side, fa / 2, ft), np.where(side, ft, fb / 2)
        a, b = np.where(side, a, t), np.where(side, t, b)
        found[at] = t
    return found
