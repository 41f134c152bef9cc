"""Whether the set-up can stand: what comes nearest to the wheel while the path is made."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gougeform.measure.measured import Detail, Measured
from gougeform.measure.standing import Standing, check_stands, standings

if TYPE_CHECKING:
    from gougeform.measure.measures import Measures


def all_standings(measures: Measures) -> tuple[Standing, ...]:
    """Every body's least gap in every grind's set-up, the least first; computed once for a tool."""
    return measures.once("standings", lambda: standings(measures.gouge, measures.edge))


def standing(measures: Measures) -> Measures:
    """The same measures. Raises InputError where the set-up that made them cannot stand."""
    check_stands(measures.gouge, all_standings(measures))
    return measures


MEASURED = (
    Measured("set_up_gap_mm", "nearest to the wheel comes", lambda m: all_standings(m)[0].gap.mm,
             "least gap between the wheel and what may not touch it, over all paths", "settings", "set_up_gap_mm",
             cost_ms=30),
    Detail("set_up_gap_at", lambda m: all_standings(m)[0].words),
)  # fmt: skip
