"""Reach along a workpiece of the library, as a job of the workbench."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from gougeform.errors import InputError

Tell = Callable[[float, str], None]


def workpieces() -> list[dict[str, str]]:
    """Names and titles of the library's workpieces."""
    return []
