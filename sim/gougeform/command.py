"""The command line: finds the command, asks its question, tells the answer, and turns errors into one message.

A command is a module of `gougeform.commands`: `arguments(parser)` says what it takes, `answer(given)` asks, `FOLDER`
says where its files go if it writes any. Whatever all commands have in common stands here.
"""

from __future__ import annotations

import argparse
import difflib
import importlib
import os
import re
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any, NoReturn

from gougeform import __version__
from gougeform.children import ONE_THREAD
from gougeform.errors import InputError
from gougeform.present.progress import step

COMMANDS = {
    "reach": "where along a workpiece a tool can cut, what stops it, and how far it hangs over the rest",
    "show": "see it happen: the tool on its wheel or in the wood, as picture, film and a page that turns",
    "choose": "which bar, flute and grind reach this work: a short list, and what each wish costs",
    "compare": "several tools side by side on one workpiece, the differences in plain words",
    "offcentre": "off-centre work: how far the wood swings under the bevel, against the land",
    "demo": "grind one tool of the baluster workshop and say where to look",
    "start": "write a first recipe of your own to fill in, and draw where to measure",
    "drawing": "bar and flute from a drawing or points (SVG, DXF, CSV): a recipe",
    "scan": "bar, flute and grind from a scan (STL, PLY, OBJ): a recipe",
    "grind": "grind a recipe: measures, mesh, edge table and picture",
    "gauge": "setup gauges to print: stop, spacers, angle, outline, wheel, relief",
    "export": "section, edge outline and templates 1:1, as SVG and DXF",
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
    "cautions": "how not to get hurt at the wheel: the full list",
}


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with the words as every other error is said."""

    def error(self, message: str) -> NoReturn:
        problem = message.removeprefix("argument ").rstrip(".")
        raise InputError("", problem, f"`{self.prog} --help` says what it takes")


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit code: 0 done, 2 something in the input to change, 130 interrupted."""
    words = sys.argv[1:] if argv is None else argv
    for name, value in ONE_THREAD.items():  # before NumPy loads
        os.environ.setdefault(name, value)
    if not words or words[0] in ("-h", "--help"):
        print(_overview())
        return 0
    if words[0] == "--version":
        print(f"gougeform {__version__}")
        return 0
    try:
        code = _run(words[0], words[1:])
        sys.stdout.flush()
    except InputError as error:
        print(f"gougeform: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("gougeform: stopped; nothing half-written is left.", file=sys.stderr)
        return 130
    except BrokenPipeError:  # the reader of our output went away, as `| head` does
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code


def _run(name: str, words: list[str]) -> int:
    if name not in COMMANDS:
        near = difflib.get_close_matches(name, COMMANDS, 1)
        guess = f"did you mean {near[0]}? " if near else ""
        raise InputError("", f"no command {name!r}", f"{guess}`gougeform --help` lists them")
    module = importlib.import_module(f"gougeform.commands.{name}")
    parser = _Parser(
        prog=f"gougeform {name}",
        description=module.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    module.arguments(parser)
    folder = getattr(module, "FOLDER", "")
    if folder:
        parser.add_argument("-o", "--out", metavar="FOLDER", type=Path, help=f"write the files here (default {folder})")
        parser.add_argument("--no-picture", action="store_true", help="draw nothing")
    runs = hasattr(module, "run")  # and tells by itself
    if not runs:
        parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")
    try:
        given = parser.parse_args(words)
    except SystemExit:  # argparse has shown the help
        return 0
    say = _dashed(parser)
    try:
        given = _read(given)
        return int(module.run(given)) if runs else _told(module, given, say)
    except InputError as error:
        field = error.field if error.file else say(error.field, bare=True)
        raise replace(error, field=field, problem=say(error.problem), hint=say(error.hint)) from error


def _read(given: argparse.Namespace) -> argparse.Namespace:
    """What was given, with recipes for the words that name them."""
    from gougeform.commands import RecipeWord

    def one(value: Any) -> Any:
        if isinstance(value, list):
            return [one(item) for item in value]
        if not isinstance(value, RecipeWord):
            return value
        with step("reading the recipe"):
            from gougeform.recipe.reading import load

            return load(str(value))

    return argparse.Namespace(**{name: one(value) for name, value in vars(given).items()})


def _told(module: ModuleType, given: argparse.Namespace, say: Callable[[str], str]) -> int:
    """Ask, write the files, and print the answer, or with --json its result and the cautions on standard error."""
    answer = module.answer(given)
    from gougeform.present.files import written
    from gougeform.present.json import json_text, whole
    from gougeform.present.terminal import tell, tell_beside

    done = written(answer, getattr(given, "out", None), pictures=not getattr(given, "no_picture", False))
    blocks = [replace(one, below=say(one.below), points=[say(point) for point in one.points]) for one in answer.blocks]
    answer = replace(answer, blocks=blocks, notes=[say(note) for note in answer.notes])
    if given.json:
        tell_beside(answer, sys.stderr)
        files, earlier = map(str, (*answer.written, *done.paths)), map(str, done.earlier)
        print(say(json_text(whole(answer, done.folder, [*files], [*earlier]))), end="")
    else:
        tell(answer, done, sys.stdout)
    sys.stdout.flush()
    for problem in done.problems:
        print(f"gougeform: {problem} All other files are written.", file=sys.stderr)
    return 130 if answer.stopped else 0


def _dashed(parser: argparse.ArgumentParser) -> Callable[..., str]:
    """Turns a question's parameters into this command's options: `land` in backquotes, or a field that begins so."""
    options = {one.dest: one.option_strings[-1] if one.option_strings else str(one.metavar) for one in parser._actions}
    shown = {_without_unit(dest): option for dest, option in options.items()}

    def say(text: str, *, bare: bool = False) -> str:
        pattern = r"^(\w+)(?= |$)" if bare else r"`(\w+)`"
        return re.sub(pattern, lambda found: shown.get(_without_unit(found[1]), found[0]), text)

    return say


def _without_unit(name: str) -> str:
    return re.sub(r"_(mm|deg|n)$", "", name)


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
