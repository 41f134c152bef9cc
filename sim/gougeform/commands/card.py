"""One page with all settings, to print at 100 % and keep by the grinder: PDF, SVG and PNG.

RECIPE is a file that ends in .toml, or the name of a library recipe.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform card` takes."""
    parser.add_argument("recipe", metavar="RECIPE", help="a .toml file, or the name of a library recipe")
    parser.add_argument("--paper", choices=("A5", "A4"), default="A5", help="size of the page (default %(default)s)")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of lines")
    parser.add_argument("-o", metavar="FOLDER", dest="folder", help="write the files here (default out/NAME)")


def run(arguments: argparse.Namespace) -> int:
    """Draw the card and say where it is."""
    from gougeform.tell.progress import step

    with step("grinding the recipe and drawing its card"):
        from gougeform.card.card import write_card
        from gougeform.card.content import content
        from gougeform.grind.gouge import shape
        from gougeform.measure.measures import measure
        from gougeform.recipe.reading import load
        from gougeform.tell.cautions import cautions
        from gougeform.tell.folder import file_name, publish, stage

        recipe = load(arguments.recipe)
        measures = measure(shape(recipe))
        folder = Path("out") / file_name(recipe) if arguments.folder is None else Path(arguments.folder)
        with stage(folder) as inner:
            files = [folder / path.name for path in write_card(measures, inner / "card", arguments.paper)]
            publish(inner, folder)
    card = content(measures)
    if arguments.json:
        print("\n".join(["Before you grind", *(f"- {line}" for line in cautions(recipe))]), file=sys.stderr)
        result = {
            "title": card.title,
            "steps": [{"what": s.what, "value": s.value, "help": s.help} for s in card.steps],
            "wear": [list(row) for row in card.wear],
            "tolerance": card.tolerance,
            "files": [str(path) for path in files],
        }
        print(json.dumps(result, indent=1, ensure_ascii=False, allow_nan=False))
        return 0
    from gougeform.tell.report import console_for, print_list, table

    console = console_for(sys.stdout)
    console.print(card.title, style="bold", markup=False)
    console.print()
    rows = [(f"{number}  {s.what}", s.value) for number, s in enumerate(card.steps, 1)]
    console.print(table("Set in this order", ("", ""), rows, card.tolerance))
    print_list(console, "Before you grind", cautions(recipe))
    print(f"Written to {folder}, {arguments.paper}, to print at 100 %:")
    for path in files:
        print(f"  {path.name}")
    return 0
