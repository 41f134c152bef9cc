"""The numbers of one tool by their flat names: at once what the edge gives, later what takes a moment.

They are the very numbers of `gougeform grind --json`.
"""

from __future__ import annotations

from typing import Any

from gougeform.measure.measured import RESULTS, Column
from gougeform.measure.measures import Measures
from gougeform.measure.quantities import COLUMNS

_AT_ONCE_MS = 1.0

ROWS: tuple[Column, ...] = tuple(one for one in COLUMNS.values() if one.of.told != RESULTS)
"""The rows of the page's table, in its order."""


def is_late(row: Column) -> bool:
    """Whether a row takes longer than the edge itself."""
    return row.of.cost_ms > _AT_ONCE_MS


def table_rows() -> list[dict[str, Any]]:
    """What the page has to know of each row."""
    return [
        {
            "name": row.name,
            "label": row.label,
            "unit": row.of.unit.sign.strip(),
            "digits": row.of.after_point,
            "late": is_late(row),
            "what": row.of.what,
        }
        for row in ROWS
    ]


def numbers(measures: Measures, late: bool) -> dict[str, float | None]:
    """The rows' numbers, those that take a moment or the others; None where there is none."""
    return {row.name: row.finite(measures) for row in ROWS if is_late(row) == late}
