"""Find the setting at which the wheel lies on the bevel a tool has now; or what going from one grind to another costs.

  gougeform match RECIPE --old FACTORY                     lay the wheel of RECIPE's machine on FACTORY's bevel
  gougeform match RECIPE --measured nose=40 --measured wing50=52 --measured wing_length=6
  gougeform match RECIPE --old FACTORY --regrind           grind FACTORY's tool to RECIPE: steel and length it costs

wing50 is half way along the edge from nose to lip, not half the wing length back along the bar (`gougeform grind`
lists both). RECIPE says which bar, wheel and jig you have. Free are distance and projection, unless you name others.
"""

from __future__ import annotations

import argparse

from gougeform.commands import Named, free_argument, recipe_argument
from gougeform.errors import InputError
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform match` takes."""
    recipe_argument(parser)
    add = parser.add_argument
    recipe_argument(parser, "--old", help="the grind the tool has now (RECIPE's own `older` if left out)")
    add("--measured", action=Named, metavar="NAME=VALUE", help="or what is measured on the tool")
    add("--regrind", action="store_true", help="no matching: the cost of grinding RECIPE as it stands")
    free_argument(parser)


def answer(given: argparse.Namespace) -> Answer:
    """The match, or the price of a regrind."""
    from gougeform.settings.answers.match import answer as match
    from gougeform.settings.answers.match import regrind

    if not given.regrind:
        return match(given.recipe, given.old, given.measured, given.free)
    if given.free:
        raise InputError("free", "given together with `regrind`, which turns nothing", "leave one of them out")
    return regrind(given.recipe, given.old, given.measured)
