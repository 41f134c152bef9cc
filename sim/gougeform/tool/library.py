"""What the library holds: one line about each entry, or one of its files to copy from."""

from __future__ import annotations

from gougeform.errors import InputError
from gougeform.present.answer import Answer, Block
from gougeform.read.library import KINDS, Entry, catalogue, nearest

_ONE = {"work": "work", "studies": "study"}


def answer(kind: str | None = None, name: str | None = None) -> Answer:
    """The entries of one kind (in the plural or as one thing) or of all; with a name the text of that entry's file.

    Raises InputError for a kind or name that is not there.
    """
    chosen = KINDS if kind is None else (_kind(kind),)
    found = {each: entries for each, entries in catalogue().items() if each in chosen and entries}
    if name is not None:
        return _file(chosen[0], name, {entry.name: entry for entry in found.get(chosen[0], ())})
    return Answer(
        "",
        [Block(text=f"{each}\n{_listed(entries)}\n") for each, entries in found.items()],
        result={each: [_plain(entry) for entry in entries] for each, entries in found.items()},
    )


def _listed(entries: tuple[Entry, ...]) -> str:
    width = max(len(entry.name) for entry in entries) + 2
    return "".join(
        f"  {entry.name:<{width}}"
        + (f"cannot be read: {entry.problem}" if entry.problem else f"{entry.title}{' (own)' * entry.own}")
        + "\n"
        for entry in entries
    )


def _plain(entry: Entry) -> dict[str, str | bool]:
    problem = str(entry.problem or "")
    return {"name": entry.name, "title": entry.title, "own": entry.own, "problem": problem, "path": str(entry.path)}


def _kind(word: str) -> str:
    """The kind a person means."""
    single = {_ONE.get(kind, kind.removesuffix("s")): kind for kind in KINDS}
    if word in KINDS or word in single:
        return single.get(word, word)
    close = nearest(word, list(KINDS))
    start = f"did you mean {close}? " if close else ""
    raise InputError("kind", f'given "{word[:60]}"', f"{start}Allowed are {', '.join(KINDS)}")


def _file(kind: str, name: str, found: dict[str, Entry]) -> Answer:
    """One entry's file, with its place before it."""
    if name not in found:
        close = nearest(name, list(found))
        start = f"did you mean {close}? " if close else ""
        raise InputError("name", f'given "{name[:60]}"', f"{start}`gougeform profiles {kind}` lists the names")
    path = found[name].path
    try:
        text = path.read_text(encoding="utf-8-sig", errors="replace")
    except OSError as error:
        raise InputError("", f"cannot be read: {error.strerror}", "check who may read it", str(path)) from error
    return Answer("", [Block(text=f"# {path}\n{text.rstrip()}")], result=_plain(found[name]) | {"text": text})
