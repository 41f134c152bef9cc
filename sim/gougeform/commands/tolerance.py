"""How exact each setting must be: what it does to nose, wings and over-cut, and what all errors together may do.

  gougeform tolerance RECIPE
  gougeform tolerance RECIPE --tolerance projection=1 --tolerance distance=0.5 --tolerance cant=0

A setting is taken to be off by 0.5 mm, 0.5 degrees or 0.02 of a share unless you say otherwise; 0 leaves it out.
"""

from __future__ import annotations

import argparse

from gougeform.commands import Named, recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform tolerance` takes."""
    recipe_argument(parser)
    parser.add_argument("--tolerance", action=Named, metavar="NAME=VALUE", help="by how much a setting may be off")


def answer(given: argparse.Namespace) -> Answer:
    """How exact each setting must be."""
    from gougeform.settings.answers.tolerance import answer as tolerance

    return tolerance(given.recipe, given.tolerance)
