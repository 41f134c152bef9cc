"""Where results go: all files are written beside their place and renamed, so that none is ever seen half-written.

Two runs into one folder: each file is whole, and all files of one batch come from the same run, because the renames
of a batch happen under a lock on the folder (where the system has one).
"""

from __future__ import annotations

import errno
import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from gougeform.errors import InputError
from gougeform.read.library import find

if TYPE_CHECKING:
    from gougeform.recipe.model import Recipe

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
    except BrokenPipeError:  # of who reads our output, not of the disk
        raise
    except OSError as error:  # a library that was writing into the stage
        with _as_input_error(folder):
            raise error from None
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
        fresh = sorted(path.name for path in inner.iterdir())
        gone = sorted(set(instead_of) - set(fresh))
        with _undone_on_failure(folder, [*fresh, *gone]):
            for name in gone:
                (folder / name).unlink(missing_ok=True)
            for name in fresh:
                os.replace(inner / name, folder / name)
    return True


@contextmanager
def _undone_on_failure(folder: Path, names: Sequence[str]) -> Iterator[None]:
    """Where the body fails half-way, what these names were before comes back, and what is new goes."""
    kept = Path(tempfile.mkdtemp(prefix=_STAGE, dir=folder))
    try:
        before = [name for name in names if _kept_too(folder / name, kept / name)]
        try:
            yield
        except BaseException:
            for name in names:
                with suppress(OSError):
                    if name in before:
                        os.replace(kept / name, folder / name)
                    else:
                        (folder / name).unlink(missing_ok=True)
            raise
    finally:
        shutil.rmtree(kept, ignore_errors=True)


def _kept_too(place: Path, other: Path) -> bool:
    """A second name for what is there, or a copy; False where there is nothing. Raises OSError for a folder."""
    if not os.path.lexists(place):
        return False
    if place.is_dir() and not place.is_symlink():
        raise IsADirectoryError(errno.EISDIR, f"{place.name} is a folder")
    try:
        os.link(place, other, follow_symlinks=False)
    except (OSError, NotImplementedError):  # a disk that knows no second name for a file
        shutil.copy2(place, other, follow_symlinks=False)
    return True


def publish_new(inner: Path, folder: Path, names: Iterable[str]) -> None:
    """Move these files of a stage to places in `folder` where nothing is yet, all of them or none.

    Raises InputError where there is something already, and where the folder cannot be written.
    """
    placed: list[Path] = []
    try:
        for name in names:
            with _as_input_error(folder):
                _place_new(inner / name, folder / name)
            placed.append(folder / name)
    except InputError:
        for path in placed:
            path.unlink(missing_ok=True)
        raise


def refuse_taken(path: Path) -> None:
    """Raise InputError where there is something already, were it a link that leads nowhere."""
    if os.path.lexists(path):
        raise _taken(path)


def _taken(path: Path) -> InputError:
    return InputError("", "is there already, and is not overwritten", "give another name, or move it away", str(path))


def _place_new(source: Path, place: Path) -> None:
    try:
        try:
            os.link(source, place)  # in one step: it fails where another program has just made the file
        except FileExistsError:
            raise
        except OSError:  # a disk that knows no second name for a file
            with place.open("xb") as stream:
                stream.write(source.read_bytes())
    except FileExistsError:
        raise _taken(place) from None


def out_folder(recipe: Recipe) -> Path:
    """Where the files of a recipe go, if a person names no other folder."""
    return Path("out") / file_name(recipe)


def called(recipe: Recipe) -> str:
    """What a person types for a recipe: its name where the library has that very file, else its path."""
    return recipe.name if str(find("recipes", recipe.name)) == recipe.source else recipe.source or recipe.name


def file_name(recipe: Recipe) -> str:
    """A recipe's name as a file's name on any system.

    Commands write recipes that always have the same names (settings.toml), each into its own folder; the folder's name
    comes before theirs, so that what is made of two of them does not go to one place.
    """
    name = recipe.name
    if re.fullmatch(r"(settings|match|transfer|relief|recipe)(-\d+)?", name) and recipe.source:
        parent = Path(recipe.source).resolve().parent.name
        name = f"{parent}-{name}" if parent else name
    return re.sub(r'[\x00-\x1f<>:"/\\|?*]', "-", name).strip(" .") or "gouge"


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
