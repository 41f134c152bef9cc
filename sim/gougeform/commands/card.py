"""One page with all settings, to print at 100 % and keep by the grinder: PDF, SVG and PNG.

RECIPE is a file that ends in .toml, or the name of a library recipe.
"""

from __future__ import annotations

import argparse

from gougeform.commands import recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform card` takes."""
    recipe_argument(parser)
    parser.add_argument("--paper", choices=("A5", "A4"), default="A5", help="size of the page (default %(default)s)")


def answer(given: argparse.Namespace) -> Answer:
    """The card."""
    from gougeform.card.answer import answer as card

    return card(given.recipe, given.paper)
