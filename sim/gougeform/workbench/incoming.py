"""What comes from a browser and is not trusted: recipes may name the library, never a file of this machine."""

from __future__ import annotations

import json
from typing import Any

from gougeform.errors import InputError
from gougeform.part import Table
from gougeform.read.complaints import shown
from gougeform.read.library import is_path
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.recipe.sections import LIBRARY_OF

LARGEST_UPLOAD = 256 * 1024
"""Bytes of an opened file: a measured flute of 5000 points has about 100 kB."""
_DEEPEST = 12
_REFERRING = {*LIBRARY_OF, "from", "handle"}


def without_files(table: Any, where: str = "", depth: int = 0) -> None:
    """Raise InputError where a table refers to a file by path, at any depth: only names of the library are followed."""
    if depth > _DEEPEST:
        raise InputError(where, "nests tables too deeply", "write it flat")
    if isinstance(table, list):
        for i, item in enumerate(table):
            _no_path(item, f"{where}.{i}")
            without_files(item, f"{where}.{i}", depth + 1)
    elif isinstance(table, dict):
        for key, value in table.items():
            place = f"{where}.{key}" if where else str(key)
            if key in _REFERRING:
                _no_path(value, place)
            if isinstance(value, dict | list) and key != "points_mm":
                without_files(value, place, depth + 1)


def _no_path(value: Any, where: str) -> None:
    if isinstance(value, str) and is_path(value):
        raise InputError(
            where[:120],
            f"given {shown(value)}: the workbench does not read other files for a recipe",
            "write the table itself in its place (`gougeform grind` writes a recipe.toml that has everything in it),"
            " or use a name of the library",
        )


def parsed_upload(data: bytes) -> Table:
    """The table in an opened TOML file. Raises InputError where it is too large or no TOML."""
    from gougeform.read.toml import parse_toml

    if len(data) > LARGEST_UPLOAD:
        raise InputError(
            "", f"has {len(data) // 1024} KiB, allowed are {LARGEST_UPLOAD // 1024} KiB", "open a recipe or bench file"
        )
    return parse_toml(data, "")


def parsed_json(data: bytes) -> dict[str, Any]:
    """The object of a request. Raises InputError where it is no JSON object or has numbers that are not finite."""

    def refuse(word: str) -> Any:
        raise InputError("", f"the request has {word} in it, allowed are finite numbers", "send it again")

    try:
        value = json.loads(data, parse_constant=refuse)
    except (ValueError, RecursionError) as error:
        raise InputError("", "the request is not JSON", "load the page again") from error
    if not isinstance(value, dict):
        raise InputError("", "the request is not a JSON object", "load the page again")
    return value


def good_recipe(value: Any) -> Recipe:
    """The recipe of a tool's table as it came from a page. Raises InputError."""
    if not isinstance(value, dict):
        raise InputError("recipe", "is missing or not a table", "load the page again")
    without_files(value)
    return from_table(value)
