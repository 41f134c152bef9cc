"""A section made larger or smaller as a whole: bar and flute alike, their lengths along the bar kept."""

from __future__ import annotations

from typing import TypeVar

from gougeform.part import Part
from gougeform.read.complaints import validated

P = TypeVar("P", bound=Part)

_ALONG = ("length_mm", "run_out_mm")


def scaled(part: P, share: float, where: str) -> P:
    """The part with its section `share` times as large. Raises InputError (under `where`) beyond the limits."""
    sizes = {
        name: [[x * share, y * share] for x, y in value] if isinstance(value, tuple) else value * share
        for name, value in part.plain().items()
        if name.endswith("_mm") and name not in _ALONG
    }
    return validated(type(part), part.plain() | sizes, where)
