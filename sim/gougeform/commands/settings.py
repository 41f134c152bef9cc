"""Find the settings that give the edge you want.

  gougeform settings RECIPE --want nose=35 --want wing50=44
  gougeform settings RECIPE --want nose=35 --want wing50=47 --free distance --stops cant=30,35,40,45

Wants: nose, wingNN (NN per cent of the wing's length along the edge, as wing50), wing_length, land. Degrees and mm.
Free settings: distance, projection, cant, tilt (table), roll (steady), arm_length, wing_length, fullness, shoulder …
With none named, as many are free as angles are wanted, the distance first.
"""

from __future__ import annotations

import argparse

from gougeform.commands import Named, free_argument, numbers, recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform settings` takes."""
    recipe_argument(parser)
    parser.add_argument("--want", action=Named, metavar="NAME=VALUE", help="what the edge should be")
    free_argument(parser)
    stops = "a setting that has only these notches"
    parser.add_argument("--stops", action=Named, value=numbers, metavar="NAME=A,B,…", help=stops)


def answer(given: argparse.Namespace) -> Answer:
    """The settings that give the wanted edge."""
    from gougeform.settings.answers.solve import answer as settings

    return settings(given.recipe, given.want, given.free, given.stops)
