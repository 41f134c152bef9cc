"""Carry an edge over to another wheel or another kind of jig, and along a wheel that wears.

  gougeform transfer RECIPE --to wheel=wheel-150
  gougeform transfer RECIPE --to jig=rod-65 --free projection=50:90 --free cant
  gougeform transfer RECIPE --to jig=mine.toml        the jig (or wheel=…) that another recipe has
  gougeform transfer RECIPE --to wheel=250 --wear 250:180:15

The nose is kept exactly. The projection of a foot or rod jig may move too, so that the wings differ least, unless you
name what is free or say --keep.
"""

from __future__ import annotations

import argparse
from functools import partial

from gougeform.commands import Named, free_argument, numbers, recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform transfer` takes."""
    recipe_argument(parser)
    add = parser.add_argument
    add("--to", action=Named, value=str, metavar="wheel=…|jig=…", help="the other wheel or jig")
    free_argument(parser, "a setting beside the distance that may move")
    add("--keep", action="store_true", help="move nothing but the distance (or a table's tilt)")
    diameters = partial(numbers, between=":")
    add("--wear", metavar="NEW:WORN[:STEPS]", type=diameters, default=(), help="diameters of the wear table, in mm")


def answer(given: argparse.Namespace) -> Answer:
    """The same edge on the other machine."""
    from gougeform.settings.answers.transfer import answer as transfer

    return transfer(given.recipe, given.to, given.free, keep=given.keep, wear=given.wear)
