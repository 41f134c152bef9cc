"""From a file on disk to a plain TOML table, with every way that can fail said in words."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.read.slips import foreign, in_line, renamed

LARGEST_FILE = 1024 * 1024
"""In bytes. A recipe is a page of text: anything larger is a mistake."""

_DIGITS = re.compile(r"\d{4000,}")
# The standard reader needs a time that grows with the square of a key's parts.
_DEEP_KEY = re.compile(r"^[ \t\[]*[\w-]+(?:[ \t]*\.[ \t]*[\w-]+){60}", re.MULTILINE)


def read_toml(path: Path) -> dict[str, Any]:
    """The table in a TOML file.

    Raises InputError (with the file, and line and column where there is one) for a file that is missing,
    not a regular file, unreadable, over 1 MiB, not UTF-8 or not TOML.
    """
    return parse_toml(read_bytes(path), str(path))


def parse_toml(data: bytes, file: str) -> dict[str, Any]:
    """The table in a TOML text; `file` is only for messages. Raises InputError like read_toml."""
    if len(data) > LARGEST_FILE:
        raise InputError("", "is larger than 1 MiB, the most allowed", "give a recipe file", file)
    what = foreign(data)
    if what:
        raise InputError("", f"is {what}, not plain text", "save it as plain text with the encoding UTF-8", file)
    try:
        # -sig: some editors put a mark in front of UTF-8, which TOML itself does not know.
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            "",
            f"is not UTF-8 text: byte 0x{data[error.start]:02x} at {_place(data, error.start)}",
            "save the file as UTF-8",
            file,
        ) from error
    deep = _DEEP_KEY.search(text)
    if deep:
        raise InputError("", f"has a key of more than 60 parts at {_place(text, deep.start())}", "shorten it", file)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        where = f"line {place[1]}, column {place[2]}" if place else f"the end ({_place(text, len(text))})"
        what = re.sub(r"\s*\(at [^()]*\)$", "", str(error))
        hint = _hint(text, int(place[1]), what) if place else "close the quotation mark or bracket that is still open"
        raise InputError("", f"is not TOML: {what[:120]} at {where}", hint, file) from error
    except RecursionError as error:
        raise InputError("", "nests lists or tables too deeply", "write it flat", file) from error
    except ValueError as error:  # a number or date that Python itself refuses
        digits = _DIGITS.search(text)
        where = f" at {_place(text, digits.start())}" if digits else ""
        raise InputError(
            "", f"has a value that cannot be read{where}: {str(error)[:80]}", "correct it", file
        ) from error


def _hint(text: str, number: int, what: str) -> str:
    """What to change in a line (its number from 1) that the standard reader refuses with `what`."""
    if what.startswith(("Cannot overwrite", "Cannot declare")):
        return "the same name stands there twice: keep one of them"
    line = "".join(letter if letter.isprintable() else " " for letter in text.split("\n")[number - 1]).strip()
    slip = in_line(line)
    return f"line {number} says {line[:60]} – {slip}" if slip else "correct that line"


def read_bytes(path: Path, ending: str = ".toml") -> bytes:
    """The bytes of a file, of a large one no more than show that it is over LARGEST_FILE.

    ending: how such a file's name ends, for messages. Raises InputError (with the file) for one that is missing, no
    regular file or unreadable.
    """
    file = str(path)
    try:
        if not path.exists():
            hint = (renamed(path) if ending == ".toml" else "") or "check the name and the folder"
            raise InputError("", "there is no such file", hint, file)
        if not path.is_file():
            what = "a folder" if path.is_dir() else "not a regular file"
            raise InputError("", f"is {what}", f"name a {ending} file", file)
        with path.open("rb") as stream:
            return stream.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        why = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise InputError("", f"cannot be read: {why}", "check the name and who may read it", file) from error


def _place(text: str | bytes, offset: int) -> str:
    """Line and column (from 1) of an offset; columns of bytes count bytes."""
    before = text[:offset]
    newline = b"\n" if isinstance(before, bytes) else "\n"
    return f"line {before.count(newline) + 1}, column {offset - before.rfind(newline)}"  # type: ignore[arg-type]
