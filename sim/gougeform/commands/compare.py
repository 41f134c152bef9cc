"""Several tools side by side on one workpiece: numbers, overlaid shapes, and the differences in plain words.

With one RECIPE and --lands it shows what a relief is worth: one bevel against relief that leaves those lands.
Writes to out/compare-WORK/.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path

from gougeform.commands.reach import number, terms_of, work_arguments
from gougeform.errors import InputError


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform compare` takes."""
    parser.add_argument("recipes", metavar="RECIPE", nargs="+", help=".toml files, or names of library recipes")
    work_arguments(parser)
    parser.add_argument("--lands", metavar="MM", nargs="+", help="one recipe with one bevel, and with these lands")
    parser.add_argument("--no-picture", action="store_true", help="draw nothing")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("-o", metavar="FOLDER", dest="folder", help="write the files here (default out/compare-WORK)")


def run(given: argparse.Namespace) -> int:
    """Work out all tools, print and write."""
    from gougeform.compare.report import draw_comparison, print_comparison
    from gougeform.compare.tools import compare, lands, result
    from gougeform.recipe.reading import load
    from gougeform.tell.cautions import cautions
    from gougeform.tell.folder import publish, stage, write
    from gougeform.tell.progress import step
    from gougeform.work.files import load_work

    recipes, names = [load(name) for name in given.recipes], [Path(name).stem for name in given.recipes]
    if given.lands:
        if len(recipes) != 1:
            raise InputError("--lands", f"given with {len(recipes)} recipes", "name one recipe with --lands")
        recipes, names = lands(recipes[0], [number(text, "--lands") for text in given.lands])
    terms, work = terms_of(given), load_work(given.work)
    with step(f"working out {len(recipes)} tools"):
        tools = compare(recipes, work, terms, names, workers=os.cpu_count() or 1)
        whole = result(tools)
    folder = Path(given.folder) if given.folder is not None else Path("out") / f"compare-{Path(given.work).stem}"
    files = ["compare.json"] + ([] if given.no_picture else ["compare.png"])
    whole["files"] = [str(folder / name) for name in files]
    with stage(folder) as inner:
        write(inner / "compare.json", json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
        if not given.no_picture:
            draw_comparison(tools, inner / "compare.png")
        publish(inner, folder, instead_of=["compare.png"])
    told = cautions(recipes[0])
    if given.json:
        print("\n".join(["Before you grind", *(f"- {line}" for line in told)]), file=sys.stderr)
        print(json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False))
        return 0
    print_comparison(tools, told, sys.stdout)
    print(f"Written to {folder}:")
    for name in files:
        print(f"  {name}")
    return 0
