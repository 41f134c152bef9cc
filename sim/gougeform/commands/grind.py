"""Grind a recipe: print its measures and write mesh, edge table, numbers and a picture to out/NAME/.

RECIPE is a file that ends in .toml, or the name of a library recipe (`gougeform profiles recipes` lists them).
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from gougeform.errors import InputError

if TYPE_CHECKING:
    from gougeform.tell.job import Done

DEFAULT_TOLERANCE_MM = 0.01


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform grind` takes."""
    parser.add_argument("recipe", metavar="RECIPE", help="a .toml file, or the name of a library recipe")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    output_arguments(parser)


def output_arguments(parser: argparse.ArgumentParser) -> None:
    """The options about what is written, shared by the commands that grind."""
    parser.add_argument("--no-picture", action="store_true", help="do not draw the head")
    parser.add_argument(
        "--tolerance",
        metavar="MM",
        default=str(DEFAULT_TOLERANCE_MM),
        help="largest distance between mesh and true surface (default %(default)s)",
    )
    parser.add_argument("-o", metavar="FOLDER", dest="folder", help="write the files here (default out/NAME)")


def run(arguments: argparse.Namespace) -> int:
    """Do the job and print its tables, or with --json its result."""
    done = grind_named(arguments.recipe, arguments)
    if arguments.json:
        from gougeform.tell.cautions import cautions
        from gougeform.tell.doubts import doubts

        recipe = done.measures.gouge.recipe
        lines = [f"- {line}" for line in (*cautions(recipe), *(f"{doubt}." for doubt in doubts(recipe)))]
        print("\n".join(["Before you grind", *lines]), file=sys.stderr)
        print(json.dumps(done.result, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print_tables(done)
    print_missing_picture(done)
    return 0


def grind_named(recipe_name: str, arguments: argparse.Namespace) -> Done:
    """Do the job for a recipe's name or path, with what `output_arguments` has read."""
    tolerance = tolerance_mm(arguments.tolerance)
    from gougeform.tell.progress import step

    with step("reading the recipe"):
        from gougeform.recipe.reading import load
        from gougeform.tell.folder import file_name
        from gougeform.tell.job import do

        recipe = load(recipe_name)
    folder = Path("out") / file_name(recipe) if arguments.folder is None else Path(arguments.folder)
    return do(recipe, folder, tolerance, picture=not arguments.no_picture)


def print_tables(done: Done) -> None:
    """Measures, and where the files are, on standard output."""
    from gougeform.tell.report import print_report

    print_report(done.measures, sys.stdout, done.result["stated_error"]["mesh_mm"])
    print(f"Written to {done.files[0].parent}:")
    for path in done.files:
        print(f"  {path.name}")


def print_missing_picture(done: Done) -> None:
    """Why there is no picture, on standard error."""
    if done.without_picture:
        sys.stdout.flush()
        print(f"gougeform: {done.without_picture} All other files are written.", file=sys.stderr)


def tolerance_mm(text: str) -> float:
    """The option as a number; the mesh has limits of its own. Raises InputError where it is none, or not above 0."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise InputError(
            "--tolerance",
            f"given {text[:40]}, allowed is a number of mm above 0",
            f"leave it out for {DEFAULT_TOLERANCE_MM:g} mm",
        )
    return value
