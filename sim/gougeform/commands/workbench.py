"""Open the workbench: a page on this machine where settings are turned and the edge answers.

RECIPE and SECOND are put on the bench as tools A and B: files that end in .toml, or names of library recipes.
The page is served to this machine only and asks nothing of any other. Ctrl-C ends it.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from gougeform.commands import recipe_argument, whole

if TYPE_CHECKING:
    from gougeform.recipe.model import Recipe

USUAL_PORT = 7340
_RECIPE, _BAR, _WORK = "finial-round-10-fingernail-foot", "square-10", "coves"
"""What lies on the bench where nobody says: the same edge on a round bar and a square one, for the coves."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform workbench` takes."""
    recipe_argument(parser, nargs="?", default=_RECIPE, help="tool A (default %(default)s)")
    second = f"tool B (default: the same as A; beside the default A its edge on the bar {_BAR})"
    recipe_argument(parser, "second", nargs="?", metavar="SECOND", help=second)
    add = parser.add_argument
    add("--port", metavar="N", type=port, help=f"port (default {USUAL_PORT}, or a free one where it is taken)")
    add("--host", metavar="ADDRESS", default="127.0.0.1", help="address to listen on (default %(default)s)")
    network = "let other machines in on --host: anybody on that network can then use the workbench"
    add("--allow-network", action="store_true", help=network)
    add("--no-browser", action="store_true", help="do not open the page, only say its address")


def port(text: str) -> int:
    """A port a person typed. Raises ArgumentTypeError for what is none."""
    value = whole(text)
    if not 0 <= value < 65536:
        raise argparse.ArgumentTypeError(f"given {text[:20]}, allowed is a number from 0 to 65535")
    return value


def run(given: argparse.Namespace) -> int:
    """Serve until Ctrl-C."""
    from gougeform.workbench.server import serve

    first, second, work = given.recipe, given.second or given.recipe, ""
    if given.second is None and first.name == _RECIPE:
        second, work = on_bar(first, _BAR), _WORK
    return serve(
        (first, second),
        work=work,
        host=given.host,
        port=given.port,
        usual_port=USUAL_PORT,
        allow_network=given.allow_network,
        browser=not given.no_browser,
        say=lambda words: print(words, flush=True),
    )


def on_bar(recipe: Recipe, bar: str) -> Recipe:
    """The same edge on another bar of the library, in everything else the same tool. Raises InputError."""
    from gougeform.compare.equal import fair
    from gougeform.reach.quantities import OVERHANG_MM
    from gougeform.recipe.change import changed

    other = changed(recipe, {"bar": bar, "title": f"The same edge on the bar {bar}"})
    return fair([recipe, other], ("edge",), OVERHANG_MM)[1].recipe
