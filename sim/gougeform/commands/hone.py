"""Set a honing wheel to a ground edge, and say which shaped hone fits the flute.

  gougeform hone RECIPE --wheel 150
  gougeform hone RECIPE --wheel honing-180
  gougeform hone RECIPE --wheel flat            a belt or flat disc, as with a strop

The tool stays in the jig as it was ground; the distance (a table: the tilt) is set anew, and, where that lays the hone
better on the wings, the projection. A honing wheel turns away from the edge, always.
"""

from __future__ import annotations

import argparse

from gougeform.commands import recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform hone` takes."""
    recipe_argument(parser)
    what = "the honing wheel: its diameter in mm, a library wheel, or flat"
    parser.add_argument("--wheel", required=True, metavar="DIAMETER|NAME|flat", help=what)


def answer(given: argparse.Namespace) -> Answer:
    """Every way to set the hone."""
    from gougeform.settings.answers.hone import answer as hone

    return hone(given.recipe, given.wheel)
