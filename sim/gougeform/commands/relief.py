"""A relief behind the first bevel: how far to move, the land that is left, and the angle. Give two, get the third.

  gougeform relief RECIPE --land 2.5 --angle 28      how far to move pocket or rod
  gougeform relief RECIPE --land 2.5 --move 6        the angle that gives
  gougeform relief RECIPE --move 6 --angle 28        the land that is left
  gougeform relief RECIPE --land 2.5                 all moves of a 0.5 mm ruler, with their angles

The angle is the relief's own, to the bar axis, where it begins at the end of the land. A move counts toward the wheel.
"""

from __future__ import annotations

import argparse

from gougeform.commands import number, recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform relief` takes."""
    recipe_argument(parser)
    add = parser.add_argument
    add("--land", type=number, metavar="MM", help="what is left of the first bevel at the nose")
    add("--move", type=number, metavar="MM", help="of pocket or rod toward the wheel (table: degrees flatter)")
    add("--angle", type=number, metavar="DEG", help="of the relief where it begins")


def answer(given: argparse.Namespace) -> Answer:
    """The third of land, move and angle."""
    from gougeform.settings.answers.relief import answer as relief

    return relief(given.recipe, given.land, given.move, given.angle)
