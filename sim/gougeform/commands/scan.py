"""Bar, flute and grind from a scan: a recipe, each number with its uncertainty, and how far scan and recipe differ.

FILE ends in .stl, .ply or .obj: the head of the tool and some four bar sizes behind it, open behind or closed, turned
anyhow. Such files say no unit: without --scale their numbers are mm. The face is compared with what several machines
leave; --like names those to compare with, library recipes or files of yours.
"""

from __future__ import annotations

import argparse

from gougeform.commands import RecipeWord, number
from gougeform.present.answer import Answer

FOLDER = "out/NAME"
_LIKE = ("finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod")


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform scan` takes."""
    add = parser.add_argument
    add("file", metavar="FILE", help="the scan")
    add("--scale", metavar="MM", type=number, help="mm that one unit of the file is: 25.4 for inches")
    add(
        "--like",
        metavar="RECIPE",
        type=RecipeWord,
        nargs="+",
        default=[RecipeWord(name) for name in _LIKE],
        help="machines it may have been ground on (default: a foot jig and a rod jig)",
    )


def answer(given: argparse.Namespace) -> Answer:
    """The recipe."""
    from gougeform.take.answers.scan import answer as scan

    return scan(given.file, given.like, given.scale)
