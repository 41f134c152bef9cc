"""Writes a plain recipe table as TOML. The standard library reads TOML but does not write it."""

from __future__ import annotations

import json
from typing import Any


def toml_text(table: dict[str, Any]) -> str:
    """A table of texts, numbers, lists of numbers and tables as TOML that reads back equal.

    Lists of tables become [[name]]. Raises TypeError for a value a recipe cannot hold.
    """
    return "\n".join(_lines(table, "")).strip() + "\n"


def _lines(table: dict[str, Any], name: str) -> list[str]:
    plain, inner = [], []
    for key, value in table.items():
        place = f"{name}.{key}" if name else key
        if isinstance(value, dict):
            inner += ["", f"[{place}]", *_lines(value, place)]
        elif isinstance(value, list) and value and all(isinstance(item, dict) for item in value):
            for item in value:
                inner += ["", f"[[{place}]]", *_lines(item, place)]
        else:
            plain.append(f"{key} = {_value(value)}")
    return plain + inner


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(float(value))
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for DEL, which JSON leaves as it is.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    raise TypeError(f"a recipe cannot hold {type(value).__name__}")
