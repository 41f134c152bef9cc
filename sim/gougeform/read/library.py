"""Where profile files live, and how a name finds one.

A library is a folder with the sub-folders in KINDS, each with TOML files; the file's name without
`.toml` is the entry's name. A person's own library (environment variable GOUGEFORM_LIBRARY) is looked at
before the built-in one.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from gougeform.errors import InputError
from gougeform.read.slips import renamed
from gougeform.read.toml import read_toml

KINDS = ("bars", "flutes", "wheels", "jigs", "grinds", "steels", "recipes", "handles", "work", "studies")
OWN_LIBRARY = "GOUGEFORM_LIBRARY"


@dataclass(frozen=True)
class Entry:
    """One file of a library: its kind (a member of KINDS), name, title (one line), place, and whose it is.

    problem says why the file cannot be read; None for a file that can.
    """

    kind: str
    name: str
    title: str
    path: Path
    own: bool = False
    problem: InputError | None = None


def built_in() -> Path:
    """The folder of the built-in library: inside an installed package, or beside `sim` in a checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "profiles"
    return installed if installed.is_dir() else package.parents[1] / "profiles"


def roots() -> tuple[Path, ...]:
    """The folders to look in, first one first.

    Raises InputError where GOUGEFORM_LIBRARY is set to something that is not a folder.
    """
    own = os.environ.get(OWN_LIBRARY, "")
    if not own:
        return (built_in(),)
    folder = Path(os.path.expanduser(own))
    if not os.path.isdir(folder):  # pathlib has errors of its own for a name that is too long, or of no user
        raise InputError(
            "",
            f"the environment variable {OWN_LIBRARY} is {own[:200]!r}, which is not a folder",
            f"set it to a folder with {', '.join(KINDS)} in it, or unset it",
        )
    return (folder, built_in())


def is_path(reference: str) -> bool:
    """Whether a reference means a file (ends in .toml or has a path separator) and not a library name."""
    return reference.lower().endswith(".toml") or "/" in reference or "\\" in reference


def names(kind: str) -> tuple[str, ...]:
    """All names of one kind, sorted, each once."""
    return tuple(sorted({path.stem for root in roots() for path in _files(root, kind)}))


def find(kind: str, name: str) -> Path | None:
    """The library file of that kind and name, or None."""
    if not name or is_path(name):
        return None
    for root in roots():
        for path in _files(root, kind):
            if path.stem == name:
                return path
    return None


def nearest(word: str, known: tuple[str, ...] | list[str]) -> str | None:
    """The known word most like the given one, or that begins with it, or None where nothing is like it."""
    begun = [name for name in known if len(word) > 1 and name.startswith(word)]
    if begun:
        return min(begun, key=len)
    close = get_close_matches(word, known, n=1, cutoff=0.5)
    return close[0] if close else None


def unknown_name(kind: str, name: str, field: str, file: str) -> InputError:
    """The error for a name that no library has."""
    beside = renamed(Path(name)) if kind == "recipes" else ""
    if beside:
        return InputError(field, f'given "{name[:60]}", which is not in the library\'s {kind}', beside, file)
    close = nearest(name, names(kind))
    start = f'did you mean "{close}"? ' if close else ""
    return InputError(
        field,
        f'given "{name[:60]}", which is not in the library\'s {kind}',
        f"{start}`gougeform profiles` lists all names; a path must end in .toml",
        file,
    )


def catalogue() -> dict[str, tuple[Entry, ...]]:
    """Every library entry by kind, sorted by name; a name in both libraries is listed once, as the own one.

    A file that cannot be read is listed with its problem. Raises InputError only where a library folder
    cannot be used.
    """
    known: dict[str, dict[str, Entry]] = {kind: {} for kind in KINDS}
    for root in roots():
        for kind in KINDS:
            for path in _files(root, kind):
                known[kind].setdefault(path.stem, _entry(kind, path, root != built_in()))
    return {kind: tuple(entries[name] for name in sorted(entries)) for kind, entries in known.items()}


def _entry(kind: str, path: Path, own: bool) -> Entry:
    try:
        title = read_toml(path).get("title", "")
    except InputError as error:
        return Entry(kind, path.stem, "", path, own, error)
    return Entry(kind, path.stem, title if isinstance(title, str) else "", path, own)


def _files(root: Path, kind: str) -> list[Path]:
    try:
        return sorted(path for path in (root / kind).iterdir() if path.suffix == ".toml")
    except FileNotFoundError:
        return []  # an own library need not have every sub-folder
    except OSError as error:
        raise InputError(
            "",
            f"the library folder cannot be listed: {error.strerror}",
            "check that it is a folder and who may read it",
            str(root / kind),
        ) from error
