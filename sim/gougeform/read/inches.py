"""Lengths so small that they look like inches: said beside whatever else is wrong, and noted where nothing is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from gougeform.errors import InputError

INCH_MM = 25.4
WHEEL_MM = 25.0
BAR_MM = 2.0
WORK_MM = 5.0
"""Below these wheels, bars and workpieces are hardly met, as inches they are usual: common practice, no source."""

_LEAST = {
    ("wheel", "diameter_mm"): WHEEL_MM,
    ("bar", "diameter_mm"): BAR_MM,
    ("bar", "side_mm"): BAR_MM,
}


def inches_hint(value_mm: float, least_mm: float) -> str:
    """The end of a sentence for a length below `least_mm`; "" for any other."""
    return f"; if it is inches write {INCH_MM * value_mm:g}" if 0 < value_mm < least_mm else ""


def looks_like_inches(table: Mapping[str, Any]) -> list[str]:
    """A sentence, without its full stop, for each such length in a recipe's table, complete or as a person wrote it."""
    grinds = table.get("grind")
    parts: list[tuple[str, str, object]] = [(name, name, table.get(name)) for name in ("bar", "wheel")]
    for i, grind in enumerate(grinds if isinstance(grinds, list) else []):
        if isinstance(grind, Mapping):
            parts.append((f"grind.{i}.wheel", "wheel", grind.get("wheel")))
    found = []
    for place, section, part in parts:
        for (of, field), least in _LEAST.items():
            value = part.get(field) if of == section and isinstance(part, Mapping) else None
            if isinstance(value, int | float) and not isinstance(value, bool) and (hint := inches_hint(value, least)):
                found.append(f"{place}.{field} is {value:g} mm, which is very small{hint}")
    return found


def hinted(error: InputError, table: Mapping[str, Any]) -> InputError:
    """The error with what looks like inches in its recipe's table; often that is the true fault, in another field."""
    words = [line for line in looks_like_inches(table) if line not in error.hint]
    return replace(error, hint=". ".join([*([error.hint] if error.hint else []), *words])) if words else error
