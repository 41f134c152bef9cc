"""The rows of a study as they are finished: one line of JSON each, appended and flushed, so that a kill loses none.

The first line says which study the rows belong to. Numbers are written so that they read back bit for bit. A last
line that a kill has cut short is dropped when the file is opened again.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from gougeform.errors import InputError
from gougeform.study.worker import CONSTRAINT, FAILED, OK, Row

NAME = "rows.jsonl"


class Journal:
    """The journal of one study in its folder, open for appending by this process alone."""

    def __init__(self, folder: Path, fingerprint: str, *, restart: bool = False) -> None:
        """Open or start it.

        Raises InputError where the folder cannot be written, another run has it open, or it belongs to another study.
        """
        self.path = folder / NAME
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._file: IO[bytes] = open(self.path, "a+b")  # noqa: SIM115
        except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
            why = (error.strerror if isinstance(error, OSError) else None) or str(error)
            raise InputError("", f"cannot be written: {why}", "name another folder with -o", str(self.path)) from error
        try:
            self._lock()
            self._begin(fingerprint, restart)
        except BaseException as error:
            with suppress(OSError):  # what could not be written a moment ago still cannot
                self._file.close()
            if isinstance(error, OSError):
                raise _not_kept(error, self.path) from error
            raise

    def _lock(self) -> None:
        try:
            import fcntl
        except ImportError:  # a system without it: two runs into one folder are the person's own care there
            return
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise InputError(
                "", "another run is writing this study", "wait for it, or name another folder with -o", str(self.path)
            ) from error

    def _begin(self, fingerprint: str, restart: bool) -> None:
        if restart:
            self._file.truncate(0)
        self._file.seek(0)
        first = self._file.readline()
        if first.endswith(b"\n"):
            if first.strip() != json.dumps({"study": fingerprint}).encode():
                raise InputError(
                    "",
                    "holds the rows of another study, or of this one with another version of gougeform or other values",
                    "name another folder with -o, or say --restart to throw those rows away",
                    str(self.path),
                )
        else:
            self._file.truncate(0)
            self._file.write(json.dumps({"study": fingerprint}).encode() + b"\n")
        self._drop_torn_line()
        self._file.seek(0, os.SEEK_END)
        self._file.flush()

    def _drop_torn_line(self) -> None:
        size = self._file.seek(0, os.SEEK_END)
        back = min(size, 1 << 20)  # a row is a few hundred bytes
        self._file.seek(size - back)
        tail = self._file.read(back)
        self._file.truncate(size - back + tail.rfind(b"\n") + 1)

    def add(self, rows: list[Row]) -> None:
        """Keep finished rows: they are the system's to write down when this returns. Raises InputError (disk full)."""
        lines = [
            json.dumps([n, s, r, [None if math.isnan(x) else x for x in v]], ensure_ascii=False) for n, s, r, v in rows
        ]
        try:
            self._file.write(("\n".join(lines) + "\n").encode())
            self._file.flush()
        except OSError as error:
            raise _not_kept(error, self.path) from error

    def rows(self, size: int, outputs: int) -> Iterator[Row]:
        """Every row that is kept of a study of so many tools and outputs, in the order they were finished.

        Raises InputError where the file cannot be read.
        """
        self._file.flush()
        with open(self.path, "rb") as stream:
            next(stream)
            for at, line in enumerate(stream, start=2):
                try:
                    number, status, reason, values = _row(json.loads(line), size, outputs)
                except (ValueError, TypeError, RecursionError) as error:
                    raise InputError(
                        "",
                        f"is damaged in line {at}",
                        "delete that line (its tools are computed again), or say --restart",
                        str(self.path),
                    ) from error
                yield number, status, reason, values

    def close(self) -> None:
        """Let go of the file, with everything on the disk."""
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
        except OSError as error:
            raise _not_kept(error, self.path) from error

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _not_kept(error: OSError, path: Path) -> InputError:
    hint = "make room, then give the same command again: what is finished is kept"
    return InputError("", f"cannot be written: {error.strerror}", hint, str(path))


def _row(line: Any, size: int, outputs: int) -> Row:
    """A row as `Journal.add` writes it. Raises ValueError or TypeError for anything else."""
    number, status, reason, values = line
    if not (
        type(number) is int
        and 0 <= number < size
        and status in (OK, CONSTRAINT, FAILED)
        and isinstance(reason, str)
        and isinstance(values, list)
        and len(values) in (0, outputs)
        and all(x is None or isinstance(x, int | float) for x in values)
    ):
        raise ValueError("no row of this study")
    return number, status, reason, [math.nan if x is None else float(x) for x in values]
