"""What is done to files and values to see whether a reader survives: broken bytes, and values of the wrong type."""

from __future__ import annotations

import datetime
import math
import random
from collections.abc import Iterator
from typing import Any

from recipes import put

DEEP: list[Any] = []
for _ in range(200):
    DEEP = [DEEP]

WRONG: list[Any] = [
    "", "x", "nan", "../../x", "a\nb", "a\0b", "x" * 5000, "é\u0301\u202e\U0001f600", "~nobody/x.toml", "/dev/null",
    0, -0.0, -1, 3.5, 10**400, -(10**400), True, math.nan, math.inf, -math.inf, 1e308, -1e308, 5e-324,
    [], [1], [[1, 2]], [["a", None]], [{}], DEEP, {}, {"a": 1}, {"from": "x"}, {"from": 3}, None,
    datetime.date(2024, 1, 2), datetime.datetime(2024, 1, 2, 3, 4), datetime.time(3, 4),
]  # fmt: skip
"""Each stands in the place of each value of a table."""


def places(table: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The ways to every value, list and table in a table; of a long list the first, second and last."""
    if way:
        yield way
    if isinstance(table, dict):
        for key, value in table.items():
            yield from places(value, (*way, key))
    elif isinstance(table, list):
        for i in sorted({0, min(1, len(table) - 1), len(table) - 1}) if table else ():
            yield from places(table[i], (*way, i))


def wrong_tables(table: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Each place of the table with each wrong value, and with one field too many."""
    for way in places(table):
        for value in WRONG:
            yield f"{'.'.join(map(str, way))} = {str(value)[:40]}", put(table, way, value)
    for name in ("", "zz", "from", "title", "a\nb", "x" * 3000, "é\u0301\u202e\U0001f600"):
        yield f"new {name[:20]!r}", table | {name: 1}


def broken(data: bytes, count: int, seed: str) -> Iterator[tuple[str, bytes]]:
    """The bytes of a good file, broken in every way of the list below, and `count` times by chance."""
    lines = data.splitlines(keepends=True)
    text = data.decode("utf-8", "replace")
    yield "as it is", data
    yield "nothing", b""
    yield "CRLF", data.replace(b"\n", b"\r\n")
    yield "CR", data.replace(b"\n", b"\r")
    yield "a mark in front", b"\xef\xbb\xbf" + data
    yield "two marks in front", b"\xef\xbb\xbf" * 2 + data
    yield "UTF-16", text.encode("utf-16")
    yield "UTF-32", text.encode("utf-32")
    yield "Latin-1", data + "# é\n".encode("latin-1")
    yield "NUL in it", data[:40] + b"\0" + data[40:]
    yield "NULs", b"\0" * 5000
    yield "a long line", data + b'x = "' + b"y" * 300_000 + b'"\n'
    yield "a long first line", b"#" * 300_000 + b"\n" + data
    yield "a long cell", data + b"1," + b"9" * 200_000 + b",2\n"
    yield "a quotation mark left open", data + b'"' + data
    yield "10 MB", data + b"# \n" * 3_500_000
    yield "deep", b"a = " + b"[" * 3000
    yield "deep tables", b"[" + b".".join([b"a"] * 3000) + b"]\n"
    yield "twice", data + data
    yield "backwards", b"".join(lines[::-1])
    yield "a numeral of other people", text.replace("1", "\u0661").encode()
    yield "a number too many digits long", data.replace(b"1", b"1" * 5000, 1)
    chance = random.Random(seed)
    for number in range(count):
        now = bytearray(data)
        how = chance.choice(["flips", "cut", "less", "more", "swap", "noise", "words"])
        if how == "flips":
            for _ in range(chance.randint(1, 8)):
                now[chance.randrange(len(now))] ^= 1 << chance.randrange(8)
        elif how == "cut":
            now = now[: chance.randrange(len(now))]
        elif how == "noise":
            now = bytearray(chance.randbytes(chance.randint(1, 400)))
        elif how == "words":
            at = chance.randrange(len(now))
            now[at:at] = chance.choice([b"nan", b"inf", b"-", b"1e999", b"[[", b"]", b'"', b"=", b"\n", b",,", b"{}"])
        else:
            some = list(lines)
            i, j = chance.randrange(len(some)), chance.randrange(len(some))
            if how == "less":
                del some[min(i, j) : max(i, j) + 1]
            elif how == "more":
                some.insert(i, some[j])
            else:
                some[i], some[j] = some[j], some[i]
            now = bytearray(b"".join(some))
        yield f"{how} {number}", bytes(now)
