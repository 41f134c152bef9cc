"""All measured quantities, found by listing this folder: a file with a list MEASURED is all that a new one needs."""

from __future__ import annotations

import pkgutil
from importlib import import_module

from gougeform.measure.measured import Column, Detail, Measured, columns

GROUPS = ("edge", "cheeks", "settings", "steel")
"""The order of groups in every view; other groups follow."""


def _listed() -> list[Measured | Detail]:
    files = sorted(file.name for file in pkgutil.iter_modules(__path__))
    return [one for name in files for one in import_module(f"{__name__}.{name}").MEASURED]


def _rank(one: Measured) -> int:
    return GROUPS.index(one.group) if one.group in GROUPS else len(GROUPS)


_FOUND = _listed()

QUANTITIES: tuple[Measured, ...] = tuple(sorted((one for one in _FOUND if isinstance(one, Measured)), key=_rank))
"""Every quantity, taken from `gougeform.measure.measures.Measures`."""

DETAILS: tuple[Detail, ...] = tuple(one for one in _FOUND if isinstance(one, Detail))
"""What else the JSON of a run says of the tool."""

COLUMNS: dict[str, Column] = columns(QUANTITIES)
"""Every number by its flat name."""
