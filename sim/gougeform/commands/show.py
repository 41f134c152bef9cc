"""See it happen: the head, the tool on its wheel, or the tool in the wood, as picture and as a page that turns.

RECIPE is a .toml file or the name of a library recipe. Writes PNG, HTML (one file, no network) and GLB to out/NAME/.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from gougeform.commands import recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform show` takes."""
    recipe_argument(parser)
    add = parser.add_argument
    add("--at", choices=["wheel"], help="the tool on its wheel: what is ground, and what would collide")
    work = "the tool in a workpiece, as `gougeform reach` takes it"
    add("--work", metavar="NAME", help=work)
    add("--film", action="store_true", help="also a film of it, as MP4 and GIF")


def answer(given: argparse.Namespace) -> Answer:
    """One scene."""
    from gougeform.show.answer import answer as show
    from gougeform.work.files import load_work

    work = None if given.work is None else load_work(given.work)
    return show(given.recipe, work, name=Path(given.work or "work").stem, wheel=given.at == "wheel", film=given.film)
