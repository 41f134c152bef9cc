"""Section, edge outline and templates of a recipe in true size: SVG and DXF, for paper, laser and drawing programs.

Circles are written as circles, all other bends as cubic pieces that lie within 1e-7 mm of the curve.
RECIPE is a file that ends in .toml, or the name of a library recipe.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from gougeform.commands import recipe_argument
from gougeform.present.answer import Answer


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform export` takes."""
    recipe_argument(parser)
    # By itself, since there is no picture that could be left out: SVG is what was asked for.
    parser.add_argument(
        "-o", "--out", metavar="FOLDER", type=Path, help="write the files here (default out/NAME/outlines)"
    )


def answer(given: argparse.Namespace) -> Answer:
    """The sheets."""
    from gougeform.take.answers.export import answer as export

    return export(given.recipe)
