"""How far the numbers of one tool may be off, told from the tool itself.

At a station everything is exact to the kernel's 1e-9 mm and 1e-8 rad. What is left comes from between stations: a kink
or a step of the edge there (two surfaces meet, or a measured flute has a corner) bends lengths and the angles at per
cents of a wing, and quadrature smooths over ridges. Each bound below is compared with finer runs in
tests/test_convergence.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gougeform.measure.edge import Edge
from gougeform.numerics.curve import through

Floats = NDArray[np.float64]

HOLLOW_MM = 1e-3
"""What `gougeform.measure.hollow.hollows` keeps; measured worst 0.0004."""
LEAST_DEG, LEAST_MM, LEAST_MM3 = 1e-3, 1e-3, 1e-3
"""No less is stated for angles, lengths and steel removed: nobody can use more, and rounding stays far below."""

_ODD = 8  # times its neighbours' median: an arc so much longer than its chord has a kink
_AROUND = 4  # arcs on each side that are its neighbours
_KINK = 3.0  # times the third-order correction: a kink in the middle of an arc asks for that much
_SIDE = 4  # stations on each side of a place that foretell the angle there
_AGAINST = 4.0  # times the better forecast's distance from the cubic
_UNSEEN = 1e-4  # measured worst 2.2e-5
_SAFETY = 2.0  # on what computed bounds say


def lengths_mm(edge: Edge) -> float:
    """How far the length of the edge (arc length, chords and cheeks are better) may be off, mm."""
    return max(LEAST_MM, _SAFETY * _kinked(edge))


def angles_deg(edge: Edge, per_cent: Sequence[int]) -> float:
    """How far the wedge angles at per cents of both wings may be off, deg.

    The stations on one side of the place foretell the angle there, and so do those on the other: where the edge is
    smooth both say the same as the cubic through the nearest. A kink among those contradicts both; one beside them
    spoils only one of the forecasts. To that comes what the place itself may be off.
    """
    off, worst = _kinked(edge), 0.0
    for side in (-1, 1):
        arc, wedge = edge.from_nose(side), edge.wedge[edge.wing(side)]
        for p in per_cent:
            at = arc[-1] * p / 100
            k = int(np.clip(np.searchsorted(arc, at), _SIDE, len(arc) - _SIDE))
            near, before, after = (
                through(arc[k + i : k + i + _SIDE], wedge[k + i : k + i + _SIDE], at) for i in (-2, -_SIDE, 0)
            )
            doubt = min(abs(before - after), _AGAINST * min(abs(near - before), abs(near - after)))
            steep = abs(wedge[k] - wedge[k - 1]) / (arc[k] - arc[k - 1])
            worst = max(worst, doubt + steep * off)
    return float(max(LEAST_DEG, _SAFETY * worst))


def steel_mm3(coarse: float, value: float) -> float:
    """How far a volume may be off (mm³), from itself on panels twice as wide, whose error is several times larger.

    A spot where one surface is lowest may lie between the rays of both: for that a share of the whole.
    """
    return float(LEAST_MM3 + _UNSEEN * abs(value) + _SAFETY * abs(coarse - value))


def _kinked(edge: Edge) -> float:
    """Mm that kinks between stations may add to the edge's length."""
    chord = np.linalg.norm(np.diff(edge.point, axis=1), axis=0)
    more = np.diff(edge.arc) / chord - 1
    around = np.lib.stride_tricks.sliding_window_view(np.pad(more, _AROUND, mode="reflect"), 2 * _AROUND + 1)
    odd = more > _ODD * np.median(around, axis=1) + 1e-12
    return float(_KINK * (chord * more)[odd].sum())
