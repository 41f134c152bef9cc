"""Several tools side by side on one workpiece: numbers, overlaid shapes, and the differences in plain words.

Tools are first made equal in what --equal names (several together, as edge stiffness), by changing bar size, web and
flute opening; bars that differ in their section alone are given the same edge unless you say otherwise.
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
    add = parser.add_argument
    add("--lands", metavar="MM", type=number, nargs="+", default=(), help=lands)
    what = "make them equal first, by bar size, web and flute opening: edge, flute, width, stiffness, mass or nothing"
    add("--equal", metavar="WHAT", nargs="+", default=(), help=what)
    far = "stiffness at these overhangs, and the one that stiffness is made equal at"
    add("--overhang", metavar="MM", type=number, nargs="+", default=(), help=far)


def answer(given: argparse.Namespace) -> Answer:
    """The tools side by side."""
    from gougeform.compare.answer import answer as compare

    more = {"land": given.lands, "equal": given.equal, "overhang": given.overhang}
    return compare(given.recipes, **asked(given), **more, workers=os.cpu_count() or 1)
