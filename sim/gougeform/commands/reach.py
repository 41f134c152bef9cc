"""Where along a workpiece a tool can cut with its bevel on the wood, what stops it elsewhere, and how far it hangs out.

RECIPE is a .toml file or the name of a library recipe; the workpiece a .toml or .csv file or a name in the
library's `work` (`gougeform profiles work` lists them). Writes numbers and pictures to out/NAME-in-WORK/.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from gougeform.commands import number, recipe_argument, whole
from gougeform.present.answer import Answer

FOLDER = "out/NAME-in-WORK"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform reach` takes."""
    recipe_argument(parser)
    work_arguments(parser)
    add = parser.add_argument
    overhang = "also: what is left at these overhangs over the rest"
    add("--overhang", metavar="MM", type=number, nargs="+", default=(), help=overhang)
    at = "draw the tool at the place nearest to x (default: the hardest reached)"
    add("--at", metavar="X", type=number, help=at)
    slicing = "only cuts whose edge is inclined by this much or more"
    add("--slicing", metavar="DEG", type=number, default=0.0, help=slicing)
    add("--all", action="store_true", help="list every place, also those where the bevel rides")
    add("--no-cove", action="store_true", help="leave out the tightest cove")


def work_arguments(parser: argparse.ArgumentParser) -> None:
    """Options about workpiece, rest and force, shared with `compare`."""
    add = parser.add_argument
    work = (
        "the workpiece: a name in the library, a .toml file, or a .csv of measured points whose first line names the"
        " columns: x_mm (along the lathe) with radius_mm or diameter_mm; without that line: x and radius"
    )
    add("--work", metavar="NAME", required=True, help=work)
    limit = "reached: up to this clearance angle (%(default)g)"
    add("--limit", metavar="DEG", type=number, default=10.0, help=limit)
    places = "how many places along the profile (%(default)s)"
    add("--places", metavar="N", type=whole, default=60, help=places)
    gap = "from the wood's largest radius to the rest (%(default)g)"
    add("--gap", metavar="MM", type=number, default=5.0, help=gap)
    add("--rest", metavar="MM", type=number, help="the rest's distance from the lathe's axis, instead of the gap")
    steep = "no cut with an edge inclined by more, which slides along itself (%(default)g)"
    add("--inclination-max", metavar="DEG", type=number, default=75.0, help=steep)
    wing = "how much of each wing may cut, from the nose, in per cent (%(default)g)"
    add("--wing", metavar="PERCENT", type=number, default=95.0, help=wing)
    bed = "the lathe's bed, so far below its axis, which the handle must miss"
    add("--bed", metavar="MM", type=number, help=bed)
    add("--force", metavar="N", type=number, default=100.0, help="cutting force for deflections (%(default)g)")
    deflection = "allowed deflection for the overhang (%(default)g)"
    add("--deflection", metavar="MM", type=number, default=0.25, help=deflection)


def asked(given: argparse.Namespace) -> dict[str, Any]:
    """Workpiece, its name and the terms, as questions of reach take them."""
    from gougeform.reach.hold import Hold
    from gougeform.reach.result import Terms
    from gougeform.reach.search import Fineness
    from gougeform.work.files import load_work

    fineness = Fineness(inclination_max_deg=given.inclination_max, wing=given.wing / 100)
    hold = Hold(bed_mm=given.bed)
    terms = Terms(given.limit, given.places, given.gap, given.rest, given.force, fineness=fineness, hold=hold)
    return {"work": load_work(given.work), "name": Path(given.work).stem, "terms": terms}


def answer(given: argparse.Namespace) -> Answer:
    """Where the tool can cut."""
    from gougeform.reach.answer import answer as reach

    chosen = {name: getattr(given, name) for name in ("overhang", "at", "slicing", "deflection")}
    return reach(given.recipe, **asked(given), **chosen, cove=not given.no_cove, every_place=given.all)
