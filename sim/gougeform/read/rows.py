"""From a file of measured values (CSV) to its rows of cells, with every way that can fail said in words."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

from gougeform.errors import InputError
from gougeform.read.toml import LARGEST_FILE, read_bytes


def read_text(path: Path) -> str:
    """The text of a file.

    Raises InputError (with the file) for one that is missing, no regular file, unreadable, over 1 MiB or not UTF-8.
    """
    file, data = str(path), read_bytes(path, ".csv")
    if len(data) > LARGEST_FILE:
        raise InputError("", "is larger than 1 MiB, the most allowed", "leave some lines out", file)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError("", "is not UTF-8 text", "save it as UTF-8 CSV", file) from error


def rows(text: str, file: str, mark: str = ",") -> Iterator[list[str]]:
    """The rows of cells of a CSV text, `mark` between cells. Raises InputError with file and line for what is none."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, skipinitialspace=True)
    try:
        yield from reader
    except csv.Error as error:
        raise InputError(
            f"line {reader.line_num}", f"is no row of a table: {error}", "correct that line", file
        ) from error
