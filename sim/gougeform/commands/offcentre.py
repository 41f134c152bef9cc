"""A cylinder turned off its own centre: how far the wood's tangent swings in a turn, and what a short land is worth.

Model: the tool is held in one direction, set to the mean tangent, and its straight bevel lies on the cylinder. Where
the tangent swings so that the bevel digs in, it lifts the edge off the wood. A short land lifts it less.
"""

from __future__ import annotations

import argparse

from gougeform.commands import number, recipe_argument
from gougeform.present.answer import Answer

_BEVELS = (1.0, 2.0, 3.0, 5.0, 8.0, 10.0)


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform offcentre` takes."""
    add = parser.add_argument
    add("--radius", metavar="MM", type=number, required=True, help="radius of the cylinder")
    add("--offset", metavar="MM", type=number, required=True, help="its axis from the lathe's axis")
    recipe_argument(parser, "--recipe", help="take bevel and land of this tool's nose too")
    add("--bevel", metavar="MM", type=number, nargs="+", default=_BEVELS, help="lengths of bevel or land")


def answer(given: argparse.Namespace) -> Answer:
    """Swing, travel, and lift against bevel length."""
    from gougeform.reach.offcentre import OffCentre
    from gougeform.reach.offcentre import answer as offcentre

    return offcentre(OffCentre(given.radius, given.offset), given.bevel, given.recipe)
