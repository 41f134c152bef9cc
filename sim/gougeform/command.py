"""The command line: finds the command, loads only what it needs, and turns errors into one message and exit code 2."""

from __future__ import annotations

import argparse
import difflib
import importlib
import os
import sys

from gougeform import __version__
from gougeform.errors import InputError

COMMANDS = {
    "reach": "where along a workpiece a tool can cut, what stops it, and how far it hangs over the rest",
    "compare": "several tools side by side on one workpiece, the differences in plain words",
    "offcentre": "off-centre work: how far the wood swings under the bevel, against the land",
    "demo": "grind one tool of the baluster workshop and say where to look",
    "start": "write a first recipe of your own to fill in, and draw where to measure",
    "grind": "grind a recipe: measures, mesh, edge table and picture",
    "gauge": "setup gauges to print: stop, spacers, angle, outline, wheel, relief",
    "card": "one page with all settings, to keep by the grinder",
    "settings": "find the settings that give the edge you want",
    "transfer": "the same edge on another wheel or jig, and a wear table",
    "tolerance": "how exact each setting must be, and which matters most",
    "match": "lay the wheel on the bevel a tool has; what a regrind costs",
    "relief": "how far to move for a relief, the land, and the angle",
    "hone": "set a honing wheel to an edge; the shaped hone for the flute",
    "calibrate": "fit a jig's hidden lengths to a few measured pairs",
    "study": "ask one question of thousands of tools: a table, figures, sensitivities",
    "workbench": "open the page where you turn a knob and see the edge change",
    "profiles": "list the library: bars, flutes, wheels, jigs, grinds, recipes",
}


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit code: 0 done, 2 something in the input to change, 130 interrupted."""
    words = sys.argv[1:] if argv is None else argv
    if not words or words[0] in ("-h", "--help"):
        print(_overview())
        return 0
    if words[0] == "--version":
        print(f"gougeform {__version__}")
        return 0
    name = words[0]
    if name not in COMMANDS:
        near = difflib.get_close_matches(name, COMMANDS, 1)
        guess = f" Did you mean {near[0]}?" if near else ""
        print(f"gougeform: no command {name!r}.{guess} `gougeform --help` lists them.", file=sys.stderr)
        return 2
    try:
        return _run(name, words[1:])
    except InputError as error:
        print(f"gougeform: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("gougeform: stopped; nothing half-written is left.", file=sys.stderr)
        return 130
    except BrokenPipeError:  # the reader of our output went away, as `| head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _run(name: str, words: list[str]) -> int:
    module = importlib.import_module(f"gougeform.commands.{name}")
    parser = argparse.ArgumentParser(
        prog=f"gougeform {name}",
        description=module.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    module.arguments(parser)
    try:
        arguments = parser.parse_args(words)
    except SystemExit as leave:  # argparse has said what is wrong, or shown the help
        return int(leave.code or 0)
    code: int = module.run(arguments)
    sys.stdout.flush()
    return code


def _overview() -> str:
    width = max(map(len, COMMANDS)) + 2
    lines = [f"  {name:<{width}}{text}" for name, text in COMMANDS.items()]
    return "\n".join(
        [
            "usage: gougeform COMMAND …",
            "",
            "The edge that a wheel and a jig leave on a turning gouge, computed before steel is ground away.",
            "",
            *lines,
            "",
            "`gougeform COMMAND --help` says more. Start with `gougeform demo`.",
        ]
    )


if __name__ == "__main__":
    sys.exit(main())
