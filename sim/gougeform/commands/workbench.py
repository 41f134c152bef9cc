"""Open the workbench: a page on this machine where settings are turned and the edge answers.

RECIPE and SECOND are put on the bench as tools A and B: files that end in .toml, or names of library recipes.
The page is served to this machine only and asks nothing of any other. Ctrl-C ends it.
"""

from __future__ import annotations

import argparse

from gougeform.errors import InputError

USUAL_PORT = 7340
_RECIPE = "baluster-square-10-fingernail-foot"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform workbench` takes."""
    parser.add_argument("recipe", metavar="RECIPE", nargs="?", default=_RECIPE, help="tool A (default %(default)s)")
    parser.add_argument("second", metavar="SECOND", nargs="?", help="tool B (default: the same as A)")
    parser.add_argument(
        "--port", metavar="N", default=None, help=f"port (default {USUAL_PORT}, or a free one where it is taken)"
    )
    parser.add_argument(
        "--host", metavar="ADDRESS", default="127.0.0.1", help="address to listen on (default %(default)s)"
    )
    parser.add_argument(
        "--allow-network",
        action="store_true",
        help="let other machines in on --host: anybody on that network can then use the workbench",
    )
    parser.add_argument("--no-browser", action="store_true", help="do not open the page, only say its address")


def run(arguments: argparse.Namespace) -> int:
    """Serve until Ctrl-C."""
    port = port_number(arguments.port)
    from gougeform.recipe.reading import load

    first = load(arguments.recipe)
    second = first if arguments.second is None else load(arguments.second)
    from gougeform.workbench.server import serve

    return serve(
        (first, second),
        host=arguments.host,
        port=port,
        usual_port=USUAL_PORT,
        allow_network=arguments.allow_network,
        browser=not arguments.no_browser,
        say=lambda words: print(words, flush=True),
    )


def port_number(text: str | None) -> int | None:
    """A port a person typed; None for none. Raises InputError."""
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 6 and int(text) < 65536):
        raise InputError(
            "--port",
            f"given {text[:20]!r}, allowed is a number from 0 to 65535",
            "leave --port out: a free one is taken",
        )
    return int(text)
