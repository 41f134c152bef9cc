"""A file of what is finished, one line each, appended and flushed as it comes: a kill loses none of it.

A line is a JSON list of a checksum and the record. The checksum covers the record and whose journal it is, so what was
changed on the disk, or belongs to another question, is never taken for an answer: such lines are blanked and counted.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from hashlib import blake2b, sha256
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from gougeform.errors import InputError

_FORMAT = "1"  # part of every checksum: what another format wrote is not taken for a record


class Journal:
    """The journal at `path` of what `key` says was asked, open for appending by this process alone.

    damaged: how many lines did not fit their checksums when it was opened; what they held is to be computed again.
    """

    def __init__(self, path: Path, key: str, *, restart: bool = False) -> None:
        """Open or start it. restart: throw away what is there.

        Raises InputError where it cannot be written, another run has it open, or none of it belongs to this key.
        """
        self.path, self.damaged = path, 0
        self._key = sha256(f"{_FORMAT} {key}".encode()).digest()
        self._head = self._line(json.dumps({"journal": key}).encode())
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file: IO[bytes] = open(path, "a+b")  # noqa: SIM115
        except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
            why = (error.strerror if isinstance(error, OSError) else None) or str(error)
            raise InputError("", f"cannot be written: {why}", "name another folder", str(path)) from error
        try:
            self._lock()
            if restart:
                self._file.truncate(0)
            self._mend()
        except BaseException as error:
            with suppress(OSError):  # what could not be written a moment ago still cannot
                self._file.close()
            if isinstance(error, OSError):
                raise self._not_kept(error) from error
            raise

    def _lock(self) -> None:
        try:
            import fcntl
        except ImportError:  # a system without it: two runs into one folder are the person's own care there
            return
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            hint = "wait for it, or name another folder"
            raise InputError("", "another run is writing this", hint, str(self.path)) from error

    def _mend(self) -> None:
        """Drop a last line that was cut short, blank those that do not fit, and begin a new journal with its head."""
        at, fit, wrong = 0, False, []
        self._file.seek(0)
        for line in self._file:
            if self._fits(line):
                fit = True
            elif line.strip() or not line.endswith(b"\n"):
                wrong.append((at, line))
            at += len(line)
        torn = wrong.pop() if wrong and not wrong[-1][1].endswith(b"\n") else None
        if wrong and not fit:
            raise InputError(
                "",
                "holds what was computed for something else (other values, another version), or is damaged",
                "name another folder, or ask for a restart, which throws it away",
                str(self.path),
            )
        self.damaged = len(wrong) + (torn is not None)
        if torn is not None:
            self._file.truncate(torn[0])
        with open(self.path, "r+b") as stream:  # in place: a kill meanwhile leaves a line that still does not fit
            for begin, line in wrong:
                stream.seek(begin)
                stream.write(b" " * (len(line) - 1))
        if not fit:
            self._file.write(self._head)
            self._file.flush()

    def _line(self, record: bytes) -> bytes:
        return b'["%s", %s]\n' % (blake2b(record, digest_size=8, key=self._key).hexdigest().encode(), record)

    def _fits(self, line: bytes) -> bool:
        return line == self._line(line[21:-2])

    def records(self) -> Iterator[Any]:
        """What is kept, in the order it was added."""
        self._file.flush()
        with open(self.path, "rb") as stream:
            for line in stream:
                if line != self._head and self._fits(line):
                    yield json.loads(line[21:-2])

    def add(self, records: Iterable[Any]) -> None:
        """Keep records, each anything that JSON can hold: they are the system's to write down when this returns.

        Raises InputError (disk full).
        """
        try:
            for record in records:
                self._file.write(self._line(json.dumps(record, ensure_ascii=False).encode()))
            self._file.flush()
        except OSError as error:
            raise self._not_kept(error) from error

    def close(self) -> None:
        """Let go of the file, with everything on the disk. Raises InputError (disk full)."""
        try:
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
        except OSError as error:
            raise self._not_kept(error) from error

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _not_kept(self, error: OSError) -> InputError:
        hint = "make room, then give the same command again: what is finished is kept"
        return InputError("", f"cannot be written: {error.strerror}", hint, str(self.path))
