"""Where along a workpiece a tool can cut with its bevel on the wood, what stops it elsewhere, and how far it hangs out.

RECIPE is a .toml file or the name of a library recipe; the workpiece a .toml or .csv file or a name in the
library's `work` (`gougeform profiles work` lists them). Writes numbers and pictures to out/NAME-in-WORK/.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from gougeform.errors import InputError

if TYPE_CHECKING:
    from gougeform.reach.result import Reach, Terms


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform reach` takes."""
    parser.add_argument("recipe", metavar="RECIPE", help="a .toml file, or the name of a library recipe")
    work_arguments(parser)
    parser.add_argument(
        "--overhang", metavar="MM", nargs="+", default=[], help="also: what is left at these overhangs over the rest"
    )
    parser.add_argument(
        "--at", metavar="X", help="draw the tool at the place nearest to x (default: the hardest reached)"
    )
    parser.add_argument(
        "--slicing", metavar="DEG", default="0", help="only cuts whose edge is inclined by this much or more"
    )
    parser.add_argument("--all", action="store_true", help="list every place, also those where the bevel rides")
    parser.add_argument("--no-cove", action="store_true", help="leave out the tightest cove")
    parser.add_argument("--no-picture", action="store_true", help="draw nothing")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.add_argument("-o", metavar="FOLDER", dest="folder", help="write the files here (default out/NAME-in-WORK)")


def work_arguments(parser: argparse.ArgumentParser) -> None:
    """Options about workpiece, rest and force, shared with `compare`."""
    parser.add_argument(
        "--work",
        metavar="NAME",
        required=True,
        help="the workpiece: a name in the library, a .toml file, or a .csv of measured points whose first line names"
        " the columns: x_mm (along the lathe) with radius_mm or diameter_mm; without that line: x and radius",
    )
    parser.add_argument("--limit", metavar="DEG", default="10", help="reached: up to this clearance angle (10)")
    parser.add_argument("--places", metavar="N", default="60", help="how many places along the profile (60)")
    parser.add_argument("--gap", metavar="MM", default="5", help="from the wood's largest radius to the rest (5)")
    parser.add_argument("--rest", metavar="MM", help="the rest's distance from the lathe's axis, instead of the gap")
    parser.add_argument("--force", metavar="N", default="100", help="cutting force for deflections (100)")
    parser.add_argument("--deflection", metavar="MM", default="0.25", help="allowed deflection for the overhang (0.25)")


def number(text: str, option: str, *, whole: bool = False) -> float:
    """An option as a number. Raises InputError where it is none."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or (whole and value != int(value)):
        raise InputError(
            option,
            f"given {text[:40]}, allowed is a {'whole ' if whole else ''}number",
            "write it alone, like 25.4, lengths in mm",
        )
    return value


def terms_of(given: argparse.Namespace) -> Terms:
    """The terms of the options. Raises InputError."""
    from gougeform.reach.result import Terms, check_terms

    terms = Terms(
        limit_deg=number(given.limit, "--limit"),
        places=int(number(given.places, "--places", whole=True)),
        gap_mm=number(given.gap, "--gap"),
        rest_mm=None if given.rest is None else number(given.rest, "--rest"),
        force_n=number(given.force, "--force"),
    )
    check_terms(terms)
    if not 0 < number(given.deflection, "--deflection") <= 10:
        raise InputError("--deflection", f"given {given.deflection}, allowed is above 0 and at most 10 mm", "change it")
    return terms


def run(given: argparse.Namespace) -> int:
    """Search, print, write and draw."""
    from dataclasses import replace

    from gougeform.grind.gouge import shape
    from gougeform.reach.cove import tightest_cove
    from gougeform.reach.report import overhang_row, print_reach, result
    from gougeform.reach.result import at_overhang, reach
    from gougeform.recipe.reading import load
    from gougeform.tell.cautions import cautions
    from gougeform.tell.progress import step
    from gougeform.work.files import load_work

    recipe, work = load(given.recipe), load_work(given.work)
    terms = terms_of(given)
    slicing = number(given.slicing, "--slicing")
    if not 0 <= slicing < 80:
        raise InputError("--slicing", f"given {given.slicing}, allowed is from 0 to below 80 degrees", "change it")
    terms = replace(terms, fineness=replace(terms.fineness, lam_least_deg=slicing))
    wanted = [number(text, "--overhang") for text in given.overhang]
    x = None if given.at is None else number(given.at, "--at")
    low, high = work.box[:, 0]
    if x is not None and not low <= x <= high:
        raise InputError("--at", f"given {x:g}, allowed is from {low:g} to {high:g} mm, the workpiece", "change it")
    with step("searching the postures"):
        found = reach(shape(recipe), work, terms)
        found.length_mm.is_integer()  # worked out here, while the person is told what is going on
    with step("looking at the overhangs"):
        rows = [overhang_row(at_overhang(found, most), most) for most in wanted]
    cove = None
    if not given.no_cove:
        with step("looking for the tightest cove"):
            cove = tightest_cove(found.body, terms.limit_deg, terms.tolerance_mm, terms.fineness)
    folder = Path(given.folder) if given.folder is not None else Path("out") / _name(given.recipe, given.work)
    allowed = float(given.deflection)
    names = ["reach.json", "reach.csv"] + (
        [] if given.no_picture else ["profile.png", "standing.png", "standing-3d.png"]
    )
    whole = result(found, cove, rows, allowed, [str(folder / name) for name in names])
    missing = _write(found, whole, folder, given)
    if missing:
        whole["files"] = [name for name in whole["files"] if not name.endswith("-3d.png")]
    told = cautions(recipe)
    if given.json:
        print("\n".join(["Before you grind", *(f"- {line}" for line in told)]), file=sys.stderr)
        print(json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print_reach(found, cove, rows, allowed, told, sys.stdout, every_place=given.all)
        print(f"Written to {folder}:")
        for name in whole["files"]:
            print(f"  {Path(name).name}")
    if missing:
        sys.stdout.flush()
        print(f"gougeform: {missing} All other files are written.", file=sys.stderr)
    return 0


def _write(found: Reach, whole: dict[str, object], folder: Path, given: argparse.Namespace) -> str:
    """Numbers and flat pictures first, all at once; then the picture that may not come. Returns why it did not."""
    from gougeform.reach.drawing import draw_profile, draw_standing
    from gougeform.reach.report import columns
    from gougeform.reach.scene import make_scene
    from gougeform.tell.folder import publish, stage, write
    from gougeform.tell.progress import step

    x = None if given.at is None else number(given.at, "--at")
    place, feed = chosen_place(found, x)
    outcome = ""
    with stage(folder) as inner:
        write(inner / "reach.json", json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
        table = columns(whole["at"])  # type: ignore[arg-type]
        lines = [",".join(table), *(",".join(row) for row in zip(*table.values(), strict=True))]
        write(inner / "reach.csv", "\n".join(lines) + "\n")
        if not given.no_picture:
            with step("drawing"):
                draw_profile(found, inner / "profile.png")
                draw_standing(found, place, feed, inner / "standing.png")
        publish(inner, folder, instead_of=["profile.png", "standing.png", "standing-3d.png"])
    if not given.no_picture:
        with step("drawing the tool in the wood"), stage(folder) as inner:
            outcome = make_scene(found, place, feed, inner / "standing-3d.png").problem
            if not outcome:
                publish(inner, folder)
    return outcome


def chosen_place(found: Reach, x: float | None) -> tuple[int, int]:
    """Place and feed to draw: nearest to x, or the place reached that needs the largest angle, else the easiest one."""
    import numpy as np

    if x is not None:
        i = int(np.abs(found.places.point[:, 0] - x).argmin())
    elif found.reached.any():
        i = int(np.where(found.reached, found.least + 0.01 * found.depth(found.places.point), -1.0).argmax())
    else:
        i = int(found.least.argmin())
    return i, int(found.either[i])


def _name(recipe: str, work: str) -> str:
    stems = [Path(text).stem if text.lower().endswith((".toml", ".csv")) else text for text in (recipe, work)]
    return re.sub(r'[\x00-\x1f<>:"/\\|?*]', "-", "-in-".join(stems)).strip(" .") or "reach"
