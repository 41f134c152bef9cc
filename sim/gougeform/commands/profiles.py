"""List the profile library: every bar, flute, wheel, jig, grind and recipe with one line about it."""

from __future__ import annotations

import argparse

from gougeform.read.library import KINDS, catalogue


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform profiles` takes."""
    parser.add_argument("kind", nargs="?", choices=KINDS, metavar="KIND", help=f"only these: {', '.join(KINDS)}")


def run(arguments: argparse.Namespace) -> int:
    """Print the catalogue."""
    for kind, entries in catalogue().items():
        if arguments.kind not in (None, kind) or not entries:
            continue
        print(kind)
        width = max(len(entry.name) for entry in entries) + 2
        for entry in entries:
            own = " (own)" if entry.own else ""
            text = f"cannot be read: {entry.problem}" if entry.problem else f"{entry.title}{own}"
            print(f"  {entry.name:<{width}}{text}")
        print()
    return 0
