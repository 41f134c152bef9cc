"""List the profile library with one line about each entry, or print one of its files to copy from.

gougeform profiles               everything
gougeform profiles jigs          one kind
gougeform profiles jig foot-65   that file, as it is read: every field with its unit
"""

from __future__ import annotations

import argparse

from gougeform.present.answer import Answer
from gougeform.read.library import KINDS


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform profiles` takes."""
    parser.add_argument("kind", nargs="?", metavar="KIND", help=f"only these: {', '.join(KINDS)}")
    parser.add_argument("name", nargs="?", metavar="NAME", help="print the file of this entry")


def answer(given: argparse.Namespace) -> Answer:
    """What the library holds."""
    from gougeform.tool.library import answer as library

    return library(given.kind, given.name)
