"""A bench as text: for the page's address (short), for a request (plain) and for a file (TOML a person can read)."""

from __future__ import annotations

import base64
import binascii
import json
import zlib
from typing import Any

from gougeform.errors import InputError
from gougeform.part import Table
from gougeform.read.writing import toml_text
from gougeform.recipe.reading import from_table
from gougeform.workbench.incoming import parsed_json, without_files
from gougeform.workbench.state import Desk, Grind, Shown, Side, Trouble, looked

_LARGEST = 512 * 1024
LONGEST_ADDRESS = 16_000
"""Characters: browsers and mail programs cut off addresses that are much longer."""
_VIEW = ("panel", "overlay", "section_mm", "look", "work")


def plain(bench: Desk) -> dict[str, Any]:
    """The bench as plain values, as it travels between page and server. A good tool's table is given once."""
    return {"a": _plain_tool(bench.a), "b": _plain_tool(bench.b), "view": {k: getattr(bench.view, k) for k in _VIEW}}


def from_plain(value: Any, grind: Grind) -> Desk:
    """The bench from plain values, each tool ground anew: nothing that comes back from a page is taken on trust.

    Raises InputError where a tool has no table that can be ground.
    """
    if not isinstance(value, dict):
        raise InputError("bench", "is missing or not a table", "load the page again")
    view = value.get("view", {})
    if not isinstance(view, dict):
        raise InputError("view", "is not a table", "load the page again")
    return Desk(_tool(value.get("a"), "a", grind), _tool(value.get("b"), "b", grind), looked(Shown(), view))


def address(bench: Desk) -> str:
    """The bench as letters an address can hold; "" where it would be longer than LONGEST_ADDRESS."""
    data = json.dumps(plain(bench), separators=(",", ":"), ensure_ascii=False).encode()
    text = base64.urlsafe_b64encode(zlib.compress(data, 9)).decode().rstrip("=")
    return text if len(text) <= LONGEST_ADDRESS else ""


def from_address(text: str, grind: Grind) -> Desk:
    """The bench an address holds. Raises InputError where it is damaged, too large, or holds no bench."""
    try:
        packed = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
        unpacker = zlib.decompressobj()
        data = unpacker.decompress(packed, _LARGEST)
        whole = unpacker.eof
    except (ValueError, binascii.Error, zlib.error) as error:
        raise InputError("address", "is damaged or cut off", "copy the whole address again") from error
    if not whole:
        raise InputError("address", "is cut off or too large", "copy the whole address again")
    return from_plain(parsed_json(data), grind)


def bench_toml(bench: Desk) -> str:
    """The bench as a TOML file: two recipes under [a] and [b], and the view."""
    view = {key: value for key, value in plain(bench)["view"].items() if value != ""}
    tools = {}
    for name, tool in (("a", bench.a), ("b", bench.b)):
        tools[name] = tool.good
    return toml_text({"bench": 1, "view": view, **tools})


def is_bench(table: Table) -> bool:
    """Whether an opened file is a bench and not a recipe."""
    return "bench" in table


def from_bench_table(table: Table, grind: Grind) -> Desk:
    """The bench of an opened file. Raises InputError where it is not one, or a tool in it cannot be ground."""
    if table.get("bench") != 1:
        raise InputError(
            "bench", f"given {str(table.get('bench'))[:20]}, allowed is 1", "save it again with this version"
        )
    extra = [key for key in table if key not in ("bench", "view", "a", "b")]
    if extra:
        raise InputError(str(extra[0])[:60], "is not part of a bench file", "allowed are bench, view, a and b")
    tools = {name: {"wanted": table.get(name)} for name in ("a", "b")}
    return from_plain({**tools, "view": table.get("view", {})}, grind)


def _plain_tool(tool: Side) -> dict[str, Any]:
    if tool.problem is None:
        return {"wanted": tool.wanted}
    return {"wanted": tool.wanted, "good": tool.good}


def _tool(value: Any, name: str, grind: Grind) -> Side:
    if not isinstance(value, dict) or not isinstance(value.get("wanted"), dict):
        raise InputError(name, "is missing or not a table", "the bench needs a recipe for each of its two tools")
    wanted = value["wanted"]
    without_files(wanted, name)
    try:
        recipe = from_table(wanted)
        grind(recipe)
        return Side(recipe.table, recipe.table)
    except InputError as error:
        good = value.get("good")
        if not isinstance(good, dict):
            raise InputError(f"{name}.{error.field}".rstrip("."), error.problem, error.hint) from error
        without_files(good, name)
        last = from_table(good)
        grind(last)
        return Side(wanted, last.table, Trouble.of(error))
