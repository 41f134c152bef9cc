"""Grind one tool of an invented workshop that restores turned stair balusters, and say where to look."""

from __future__ import annotations

import argparse
from dataclasses import replace

from gougeform.commands import RecipeWord
from gougeform.commands.grind import tolerance_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"
_STORY = (
    "A workshop restores a staircase: forty balusters, each with tight coves between beads. The tool is a detail gouge"
    " made from a square 10 mm bar, ground on a foot jig to a fingernail edge, with a relief behind it that keeps the"
    " heel off the wood."
)
_USES = {
    "head.png": "first of all: the ground head, each surface in the colour of its grind",
    "edge.csv": "all along the edge, for a spreadsheet: angle, bevel, how the jig stands",
    ".3mf": "the tool as a solid, for a viewer or a slicer (knows it is in mm)",
    ".stl": "the same for older programs (choose mm when asked)",
    ".vtu": "the same with surfaces and edge angles named, for a mesh viewer",
    "result.json": "all numbers above, for other programs",
    "recipe.toml": "the whole recipe in one file: change a number and grind it again",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform demo` takes."""
    tolerance_argument(parser)
    parser.set_defaults(recipe=RecipeWord("baluster-square-10-relief-foot"))


def answer(given: argparse.Namespace) -> Answer:
    """The demo tool, what each of its files is good for, and a change to try."""
    from gougeform.present.answer import Block, Next, WrittenFile
    from gougeform.tool.grind import answer as grind

    made = grind(given.recipe, given.tolerance)
    assert made.files is not None
    change = Next(
        "grind",
        [WrittenFile("recipe.toml")],
        {"out": "out/shorter-wing"},
        "try a change: open recipe.toml, set wing_length_mm to 8, then",
    )
    blocks = [Block(below=_STORY), *made.blocks]
    return replace(made, blocks=blocks, files=replace(made.files, uses=_USES), next=[change])
