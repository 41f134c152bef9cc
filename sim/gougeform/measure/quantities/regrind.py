"""What this grind costs a tool that has an older one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gougeform.measure.measured import Detail
from gougeform.measure.regrind import Regrind, regrinds

if TYPE_CHECKING:
    from gougeform.measure.measures import Measures


def rows(measures: Measures) -> tuple[Regrind, ...] | None:
    """Touching, a first land, and all the way; None for a tool that has no older grind. Computed once for a tool."""
    older = measures.gouge.older
    if older is None:
        return None
    return measures.once("regrinds", lambda: regrinds(older, measures.gouge, edge=measures.edge))


def table(row: Regrind) -> dict[str, Any]:
    """One row with units in its names, as results give it; bevel_mm is null for all the way."""
    return {
        "bevel_mm": row.bevel,
        "nose_loss_mm": row.nose_loss,
        "steel_removed_mm3": row.steel,
        "steel_removed_g": row.grams,
        "in_flute": row.in_flute,
    }


def _tables(measures: Measures) -> list[dict[str, Any]] | None:
    found = rows(measures)
    return None if found is None else [table(row) for row in found]


MEASURED = (Detail("regrind", _tables),)
