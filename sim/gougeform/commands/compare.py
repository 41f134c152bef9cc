"""Several tools side by side on one workpiece: numbers, overlaid shapes, and the differences in plain words.

With one RECIPE and --lands it shows what a relief is worth: one bevel against relief that leaves those lands.
Writes to out/compare-WORK/.
"""

from __future__ import annotations

import argparse
import os

from gougeform.commands import number, recipe_argument
from gougeform.commands.reach import asked, work_arguments
from gougeform.present.answer import Answer

FOLDER = "out/compare-WORK"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform compare` takes."""
    recipe_argument(parser, "recipes", nargs="+", help=".toml files, or names of library recipes")
    work_arguments(parser)
    lands = "one recipe with one bevel, and with these lands"
    parser.add_argument("--lands", metavar="MM", type=number, nargs="+", default=(), help=lands)


def answer(given: argparse.Namespace) -> Answer:
    """The tools side by side."""
    from gougeform.compare.answer import answer as compare

    return compare(given.recipes, **asked(given), land=given.lands, workers=os.cpu_count() or 1)
