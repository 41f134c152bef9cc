"""Grind one tool of an invented workshop that restores turned stair balusters, and say where to look."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from gougeform.commands.grind import grind_named, output_arguments, print_missing_picture, print_tables

if TYPE_CHECKING:
    from gougeform.tell.job import Done

RECIPE = "baluster-square-10-relief-foot"

STORY = """\
A workshop restores a staircase: forty balusters, each with tight coves between
beads. The tool is a detail gouge made from a square 10 mm bar, ground on a foot
jig to a fingernail edge, with a relief behind it that keeps the heel off the
wood."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform demo` takes."""
    output_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    """Grind the demo tool."""
    print(STORY, end="\n\n", flush=True)
    done = grind_named(RECIPE, arguments)
    print_tables(done)
    print()
    print(where_to_look(done))
    print_missing_picture(done)
    return 0


def where_to_look(done: Done) -> str:
    """What each file is good for, in the words of a person at the grinder, picture first."""
    uses = {
        "head.png": "first of all: the ground head, each surface in the colour of its grind",
        "edge.csv": "all along the edge, for a spreadsheet: angle, bevel, how the jig stands",
        ".3mf": "the tool as a solid, for a viewer or a slicer (knows it is in mm)",
        ".stl": "the same for older programs (choose mm when asked)",
        ".vtu": "the same with surfaces and edge angles named, for a mesh viewer",
        "result.json": "all numbers above, for other programs",
        "recipe.toml": "the whole recipe in one file: change a number and grind it again",
    }
    folder = done.files[0].parent
    lines = [f"Where to look, in {folder}:"]
    for end, use in uses.items():
        for path in done.files:
            if path.name.endswith(end):
                lines += [f"  {path.name}", f"      {use}"]
    lines += [
        "",
        "Try a change: open recipe.toml, set wing_length_mm to 8, then",
        f"  gougeform grind {_quoted(folder / 'recipe.toml')} -o {_quoted(Path('out') / 'shorter-wing')}",
    ]
    return "\n".join(lines)


def _quoted(path: Path) -> str:
    import shlex

    return shlex.quote(str(path))
