"""Grind a recipe: print its measures and write mesh, edge table, numbers and a picture to out/NAME/.

RECIPE is a file that ends in .toml, or the name of a library recipe (`gougeform profiles recipes` lists them).
"""

from __future__ import annotations

import argparse

from gougeform.commands import number, recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform grind` takes."""
    recipe_argument(parser)
    tolerance_argument(parser)


def tolerance_argument(parser: argparse.ArgumentParser) -> None:
    """How exact the mesh shall be."""
    what = "largest distance between mesh and true surface (default %(default)s)"
    parser.add_argument("--tolerance", metavar="MM", type=number, default=0.01, help=what)


def answer(given: argparse.Namespace) -> Answer:
    """The edge this recipe makes."""
    from gougeform.tool.grind import answer as grind

    return grind(given.recipe, given.tolerance)
