"""How broad edge and steel are behind the nose."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gougeform.measure.cheek import CHEEK_AT_MM, PAST_EDGE_AT_MM, WELL_BELOW_MM, edge_widths, widths
from gougeform.measure.measured import Measured

if TYPE_CHECKING:
    from gougeform.measure.measures import Measures

_N = len(PAST_EDGE_AT_MM)


def _all(measures: Measures) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Past the edge and the same well below it, then the cheeks: one of them alone takes as long."""
    below = np.repeat([0.0, WELL_BELOW_MM], _N)
    return measures.once("widths", lambda: widths(measures.edge, np.tile(PAST_EDGE_AT_MM, 2), below, CHEEK_AT_MM))


def _one(key: str, label: str, take: Callable[[Measures], object], what: str, at: tuple[int, ...]) -> Measured:
    places = tuple(str(behind) for behind in at)
    return Measured(key, label, take, what, "cheeks", cost_ms=30, places=places, at="{} mm behind nose")


MEASURED = (
    _one("cheek_width_mm", "cheek width", lambda m: _all(m)[1], "width of steel at or below the flute's floor",
         CHEEK_AT_MM),
    _one("edge_width_mm", "edge width", lambda m: edge_widths(m.edge, CHEEK_AT_MM),
         "width of the edge, behind the wings of the lips", CHEEK_AT_MM),
    _one("cheek_past_edge_mm", "cheek past the edge", lambda m: _all(m)[0][:_N],
         "by how much the steel at or below the edge is wider than the edge, behind the wings than the lips",
         PAST_EDGE_AT_MM),
    _one("cheek_past_edge_below_mm", f"cheek past the edge ({WELL_BELOW_MM:g} mm below)", lambda m: _all(m)[0][_N:],
         f"the same, of steel {WELL_BELOW_MM:g} mm or more below the edge", PAST_EDGE_AT_MM),
)  # fmt: skip
