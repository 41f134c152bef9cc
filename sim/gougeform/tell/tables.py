"""Columns of numbers as CSV text: names with units in the first line, then one row a station."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

_DIGITS = 9  # behind the point: 1e-9 mm and deg, as exact as the kernel


def csv_text(table: Mapping[str, NDArray[np.float64]]) -> str:
    """CSV of columns of equal length (n,); not-a-numbers and infinities become empty cells."""
    columns = [[_cell(float(value)) for value in values] for values in table.values()]
    rows = [",".join(row) for row in zip(*columns, strict=True)]
    return "\n".join([",".join(table), *rows]) + "\n"


def _cell(value: float) -> str:
    if not np.isfinite(value):
        return ""
    text = f"{value:.{_DIGITS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
