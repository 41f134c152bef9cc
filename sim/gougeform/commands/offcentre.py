"""A cylinder turned off its own centre: how far the wood's tangent swings in a turn, and what a short land is worth.

Model: the tool is held in one direction, set to the mean tangent, and its straight bevel lies on the cylinder. Where
the tangent swings so that the bevel digs in, it lifts the edge off the wood. A short land lifts it less.
"""

from __future__ import annotations

import argparse
import json
import math
import sys

from gougeform.commands.reach import number


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform offcentre` takes."""
    parser.add_argument("--radius", metavar="MM", required=True, help="radius of the cylinder")
    parser.add_argument("--offset", metavar="MM", required=True, help="its axis from the lathe's axis")
    parser.add_argument("--recipe", metavar="RECIPE", help="take bevel and land of this tool's nose too")
    parser.add_argument(
        "--bevel", metavar="MM", nargs="+", default=["1", "2", "3", "5", "8", "10"], help="lengths of bevel or land"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a table")


def run(given: argparse.Namespace) -> int:
    """Print swing, travel, and lift against bevel length."""
    import numpy as np

    from gougeform.reach.offcentre import OffCentre
    from gougeform.tell.report import console_for, table

    work = OffCentre(number(given.radius, "--radius"), number(given.offset, "--offset"))
    rows: list[tuple[str, float]] = [("", number(text, "--bevel")) for text in given.bevel]
    if given.recipe:
        rows += _of_recipe(given.recipe)
    rows.sort(key=lambda row: row[1])
    size = np.array([length for _, length in rows])
    lift = work.lift(size)
    out = {
        "radius_mm": work.radius,
        "offset_mm": work.offset,
        "tangent_swing_deg": math.degrees(work.swing),
        "swing_in_a_turn_deg": 2 * math.degrees(work.swing),
        "travel_mm": work.travel,
        "worst_bevel_mm": work.tangent_at,
        "bevels": [
            {"bevel_mm": length, "what": what or None, "lift_mm": float(a)}
            for (what, length), a in zip(rows, lift, strict=True)
        ],
    }
    if given.json:
        print(json.dumps(out, indent=1, ensure_ascii=False, allow_nan=False))
        return 0
    console = console_for(sys.stdout)
    console.print(f"A cylinder of radius {work.radius:g} mm turned {work.offset:g} mm off its centre", style="bold")
    console.print()
    swing = math.degrees(work.swing)
    facts = [
        ("the wood's tangent swings", f"{swing:.2f}° to each side, {2 * swing:.2f}° in a turn"),
        ("its surface comes and goes", f"{work.travel:g} mm"),
    ]
    console.print(table("In one turn", ("", ""), facts))
    shown = [
        (f"{length:.2f} mm" + (f"  {what}" if what else ""), f"{a:.3f} mm")
        for (what, length), a in zip(rows, lift, strict=True)
    ]
    below = (
        "A model: a straight bevel held in one direction, set to the mean tangent. Lift: how far it lifts the edge off"
        f" the wood at the worst of a turn; from {work.tangent_at:.1f} mm on a longer bevel is no worse."
    )
    console.print(table("Against the length of bevel or land", ("bevel", "lift"), shown, below))
    return 0


def _of_recipe(name: str) -> list[tuple[str, float]]:
    from gougeform.grind.gouge import shape
    from gougeform.measure.edge import measure_edge
    from gougeform.recipe.reading import load

    edge = measure_edge(shape(load(name)))
    bevel, land = float(edge.bevel[edge.nose]), float(edge.land[edge.nose])
    out = [("whole bevel of the tool", bevel)]
    return out if math.isnan(land) else [("land of the tool", land), *out]
