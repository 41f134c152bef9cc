"""The usual slips of a person who has never written TOML: what a bad line, file or name most likely was meant to be.

Nothing is mended here. Each function returns words for a hint, or "" where it does not recognise the slip.
"""

from __future__ import annotations

import re
from pathlib import Path

_NUMBER = r"[-+]?\d+(?:\.\d+)?"
_VALUE = re.compile(r"^\s*[\w.-]+\s*=\s*(?P<value>.*?)\s*(?:#.*)?$")
_FOREIGN = (
    (b"{\\rtf", "a word processor's rich text"),
    (b"PK\x03\x04", "a word processor's document or a packed archive"),
    (b"\xd0\xcf\x11\xe0", "a word processor's document"),
    (b"%PDF", "a PDF"),
)
_LONGEST = 200
_CURLY = "“”„‟«»‘’‚"


def in_line(line: str) -> str:
    """What is wrong with one line that TOML refuses, and what to write; "" where that is not clear."""
    stripped = line.strip()[:_LONGEST]  # what is longer is no line of a recipe
    if any(sign in stripped for sign in _CURLY):
        return 'these quotation marks are curled: type straight ones, "'
    key = re.match(r"^[\w.-]+(?:[ \t]+[\w.-]+)*", stripped)
    if key and re.match(r"^[\w.-]+\s*:", stripped):
        return f"write = where the colon is: {stripped.replace(':', ' =', 1)}"
    if key and "=" not in stripped and not stripped.startswith("["):
        return "a line is NAME = VALUE, a [table], or begins with #; this one has no ="
    if key and " " in key[0].strip() and re.match(r"^[\w. \t-]+=", stripped):
        return "a name has no space in it: write _ there"
    found = _VALUE.match(stripped)
    return "" if found is None else _in_value(found["value"])


def _in_value(value: str) -> str:
    if not value:
        return "there is nothing after the =: write the value there, or a # in front of the line"
    if re.match(r"^\d{1,3}([.,]\d{3})+[.,]\d+$", value):
        return "a number has one point and nothing between thousands: write 1200.5"
    number = re.match(r"^([-+]?\d+)\s*,\s*(\d+)$", value)
    if number:
        return f"a number has a point and no comma: write {number[1]}.{number[2]}"
    if re.match(rf"^{_NUMBER}\s*/\s*\d+", value):
        return "a number has no fraction line: for inches work the fraction out and take it times 25.4"
    if re.match(rf"^({_NUMBER})\s*(\"|''|in\b|inch|″)", value):
        return "lengths are in mm and stand alone: take the inches times 25.4 and leave the sign off"
    unit = re.match(rf"^({_NUMBER})\s*(mm|cm|m/s|rpm|deg\w*|°)\.?$", value, re.IGNORECASE)
    if unit:
        aside = " (in mm: cm times 10)" if unit[2].lower() == "cm" else ""
        return f"the unit stands in the name and not after the number: write {unit[1]}{aside}"
    if re.match(r"^[-+]?0\d", value):
        return "a number has no 0 in front: write 9.5 and not 09.5"
    if re.match(r"^[-+]?\.\d", value) or re.match(r"^[-+]?\d+\.$", value):
        return "a number has digits on both sides of the point: write 0.5, or 5.0"
    if value[0] in "\"'" and value.count(value[0]) == 1:
        return f"the quotation mark {value[0]} is opened and not closed"
    if re.match(r"^[^\W\d][\w.-]*$", value):
        return f'a word stands in quotation marks: write "{value}"'
    return ""


def foreign(data: bytes) -> str:
    """What kind of file these bytes are that are no plain text, for "is …"; "" where they may be text."""
    for start, what in _FOREIGN:
        if data.startswith(start):
            return what
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or (len(data) > 3 and 0 in data[:4] and any(data[:4])):
        return "UTF-16 text, as some editors save it"
    return ""


def renamed(path: Path) -> str:
    """Where a file is meant that stands there under another ending: its name and what to do; "" where there is none."""
    try:
        if path.is_file():
            return (
                f"its name must end in .toml: rename it to {path.name.removesuffix('.txt').removesuffix('.toml')}.toml"
            )
        for other in (f"{path.name}.txt", f"{path.name}.toml", f"{path.stem}.txt"):
            if path.name and path.with_name(other).is_file():
                if other.endswith(".toml"):
                    return f"did you mean {path.with_name(other)}?"
                return f"there is {other} beside it: an editor has put .txt behind the name; rename it to {path.name}"
    except (OSError, ValueError):  # a name no file can have
        return ""
    return ""
