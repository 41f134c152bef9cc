"""List the profile library with one line about each entry, or print one of its files to copy from.

gougeform profiles               everything
gougeform profiles jigs          one kind
gougeform profiles jig foot-65   that file, as it is read: every field with its unit
"""

from __future__ import annotations

import argparse

from gougeform.errors import InputError
from gougeform.read.library import KINDS, catalogue, nearest

_ONE = {"work": "work", "studies": "study"}


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform profiles` takes."""
    parser.add_argument("kind", nargs="?", metavar="KIND", help=f"only these: {', '.join(KINDS)}")
    parser.add_argument("name", nargs="?", metavar="NAME", help="print the file of this entry")


def run(arguments: argparse.Namespace) -> int:
    """Print the catalogue, or one file of it."""
    kind = None if arguments.kind is None else _kind(arguments.kind)
    if arguments.name is not None:
        print(_file(str(kind), arguments.name), end="")
        return 0
    for each, entries in catalogue().items():
        if kind not in (None, each) or not entries:
            continue
        print(each)
        width = max(len(entry.name) for entry in entries) + 2
        for entry in entries:
            own = " (own)" if entry.own else ""
            text = f"cannot be read: {entry.problem}" if entry.problem else f"{entry.title}{own}"
            print(f"  {entry.name:<{width}}{text}")
        print()
    return 0


def _kind(word: str) -> str:
    """The kind a person means, in the plural or as one thing."""
    single = {_ONE.get(kind, kind.removesuffix("s")): kind for kind in KINDS}
    if word in KINDS or word in single:
        return single.get(word, word)
    close = nearest(word, list(KINDS))
    start = f"did you mean {close}? " if close else ""
    raise InputError("KIND", f'given "{word[:60]}"', f"{start}Allowed are {', '.join(KINDS)}")


def _file(kind: str, name: str) -> str:
    """The text of one entry, with the place of its file before it."""
    found = {entry.name: entry for entry in catalogue()[kind]}
    if name not in found:
        close = nearest(name, list(found))
        start = f"did you mean {close}? " if close else ""
        raise InputError("NAME", f'given "{name[:60]}"', f"{start}`gougeform profiles {kind}` lists the names")
    path = found[name].path
    try:
        text = path.read_text(encoding="utf-8-sig", errors="replace")
    except OSError as error:
        raise InputError("", f"cannot be read: {error.strerror}", "check who may read it", str(path)) from error
    return f"# {path}\n{text.rstrip()}\n"
