"""Bar and flute from a drawing or from measured points: a recipe, and how far it is off.

FILE ends in .svg, .dxf or .csv. The bar is the closed line of the largest area, the flute the longest open one, drawn
from lip to lip and opening upward; a section drawn as one closed line, with its flute cut in, does too. In CSV each row
is x,y in mm; a blank line begins another line, and one that ends where it began is closed.
"""

from __future__ import annotations

import argparse

from gougeform.commands import number, recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"
LIKE = "finial-round-10-fingernail-foot"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform drawing` takes."""
    parser.add_argument("file", metavar="FILE", help="the drawing, or the points")
    parser.add_argument(
        "--scale", metavar="MM", type=number, help="mm that one unit of the file is, where it says none"
    )
    recipe_argument(parser, "--like", default=LIKE, help=f"take wheel, jig and grind from this recipe (default {LIKE})")


def answer(given: argparse.Namespace) -> Answer:
    """The recipe."""
    from gougeform.take.answers.drawing import answer as drawing

    return drawing(given.file, given.like, given.scale)
