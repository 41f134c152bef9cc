"""Where results go: all files are written beside their place and renamed, so that none is ever seen half-written.

Two runs into one folder: each file is whole, and all files of one batch come from the same run, because the renames
of a batch happen under a lock on the folder (where the system has one).
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

from gougeform.errors import InputError

_STAGE = ".gougeform-"
_FORGOTTEN_S = 3600.0  # a stage older than this was left by a run that was killed outright


@contextmanager
def stage(folder: Path) -> Iterator[Path]:
    """A private folder inside `folder` (made if missing) to write into; gone afterwards, however the body ends.

    Raises InputError where the folder cannot be made or written.
    """
    with _as_input_error(folder):
        made, inner = _open(folder)
        _sweep(folder, inner)
    try:
        yield inner
    except InputError as error:  # a person knows the folder, not the stage in it
        raise replace(error, file=error.file.replace(str(inner), str(folder))) from error.__cause__
    finally:
        shutil.rmtree(inner, ignore_errors=True)
        for empty in made:
            with suppress(OSError):  # not empty: the run left results, as it should
                empty.rmdir()


def publish(
    inner: Path, folder: Path, *, instead_of: Iterable[str] = (), only_if: tuple[str, bytes] | None = None
) -> bool:
    """Move every file of a stage to its place in `folder`, all of them or, by `only_if`, none.

    instead_of: names in the folder that the batch makes untrue, removed where the batch does not bring them.
    only_if: (name, content): publish only while that file still is what this run wrote. Returns whether it did.
    Raises InputError where the folder cannot be written.
    """
    with _as_input_error(folder), _locked(folder):
        if only_if is not None and not _still(folder / only_if[0], only_if[1]):
            return False
        fresh = sorted(inner.iterdir())
        for name in set(instead_of) - {path.name for path in fresh}:
            (folder / name).unlink(missing_ok=True)
        for path in fresh:
            os.replace(path, folder / path.name)
    return True


def write(path: Path, text: str) -> None:
    """Write a text file as UTF-8 with plain newlines.

    Raises InputError where it cannot be written.
    """
    with _as_input_error(path):
        path.write_text(text, encoding="utf-8", newline="\n")


@contextmanager
def _as_input_error(place: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        why = (error.strerror if isinstance(error, OSError) else None) or str(error)
        if isinstance(error, FileExistsError | NotADirectoryError):
            why = "there is a file where a folder is needed"
        raise InputError(
            "", f"cannot be written: {why}", "name another folder with -o, or change who may write there", str(place)
        ) from error


def _open(folder: Path) -> tuple[list[Path], Path]:
    """Make the folder and a stage in it; returns the folders that were new, innermost first, and the stage."""
    for last_try in (False, False, True):
        missing = []
        for each in (folder, *folder.parents):
            if each.exists():
                break
            missing.append(each)
        folder.mkdir(parents=True, exist_ok=True)
        try:
            return missing, Path(tempfile.mkdtemp(prefix=_STAGE, dir=folder))
        except FileNotFoundError:  # another run that failed has just tidied the empty folder away
            if last_try:
                raise
    raise AssertionError("unreachable")


def _sweep(folder: Path, mine: Path) -> None:
    """Remove what runs that were killed outright have left."""
    for old in folder.glob(f"{_STAGE}*"):
        with suppress(OSError):
            if old != mine and time.time() - old.stat().st_mtime > _FORGOTTEN_S:
                shutil.rmtree(old, ignore_errors=True)


def _still(path: Path, content: bytes) -> bool:
    try:
        return path.read_bytes() == content
    except FileNotFoundError:
        return False


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    try:
        import fcntl
    except ImportError:  # a system without it: each file is whole all the same
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
