"""Find the setting at which the wheel lies on the bevel a tool has now; or what going from one grind to another costs.

  gougeform match RECIPE --old FACTORY                     lay the wheel of RECIPE's machine on FACTORY's bevel
  gougeform match RECIPE --measured nose=40 --measured wing50=52 --measured wing_length=6
  gougeform match RECIPE --old FACTORY --regrind           grind FACTORY's tool to RECIPE: steel and length it costs

wing50 is half way along the edge from nose to lip, not half the wing length back along the bar (`gougeform grind`
lists both). RECIPE says which bar, wheel and jig you have. Free are distance and projection, unless you name others.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from gougeform.settings.show import (
    COOL,
    INK,
    SOFT,
    WARM,
    amount,
    common_arguments,
    deg,
    files_in,
    finish,
    line,
    mm,
    opened,
    out_folder,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from rich.console import Console

    from gougeform.recipe.model import Recipe
    from gougeform.settings.match import Cost, Match


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform match` takes."""
    common_arguments(parser)
    parser.add_argument("--old", metavar="RECIPE", help="the grind the tool has now (RECIPE's own `older` if left out)")
    parser.add_argument(
        "--measured", action="append", default=[], metavar="NAME=VALUE", help="or what is measured on the tool"
    )
    parser.add_argument("--regrind", action="store_true", help="no matching: the cost of grinding RECIPE as it stands")
    parser.add_argument(
        "--free", action="append", default=[], metavar="NAME[=FROM:TO]", help="a setting that may change"
    )


def run(arguments: argparse.Namespace) -> int:
    """Match or price, print, and write the recipe, the gap as CSV and its chart."""
    from gougeform.errors import InputError
    from gougeform.recipe.change import changed
    from gougeform.recipe.write import to_toml
    from gougeform.settings.bench import bench_of
    from gougeform.settings.match import cost, match
    from gougeform.settings.ruler import machine
    from gougeform.settings.wants import read_frees
    from gougeform.tell.progress import step

    recipe = opened(arguments)
    old, misses = _old(arguments, recipe)
    if arguments.regrind:
        if arguments.free:
            raise InputError("--free", "given together with --regrind, which turns nothing", "leave one of them out")
        # The tool is the old one, whatever bar and flute the recipe of the new grind has.
        other = _other_steel(recipe, old)
        recipe = changed(recipe, {"bar": old.table["bar"], "flute": old.table["flute"], "older": None})
        price = cost(old, recipe)
        notes = [other] if other else []
        result = {"old": old.title or old.name, **_price(price), "notes": notes, "files": []}
        return finish(arguments, recipe, result, lambda console: _show_price(console, old, price, notes))
    frees = read_frees(bench_of(recipe), arguments.free, [], []) if arguments.free else None
    with step("laying the wheel on the old bevel"):
        found = match(old, recipe, frees)
    bench = bench_of(found.recipe)
    notes = [*found.notes]
    if arguments.measured:
        notes.append(
            "Only the edge was measured: the old bevel behind it is taken as ground on this very wheel and jig. So"
            " there is no light by that assumption; what a bevel from another wheel would show, --old tells."
        )
    elif other := _other_steel(recipe, old):
        notes.append(other)
    with files_in(out_folder(arguments, recipe)) as files:
        files.text("match.toml", to_toml(found.recipe))
        rows = [
            [float(place), float(reach), float(gap)]
            for i, place in enumerate(found.bevel.place)
            for reach, gap in zip(found.bevel.reach[i], found.best.gap[i], strict=True)
        ]
        files.csv("gap.csv", ["place_per_cent", "from_edge_mm", "gap_mm"], rows)
        title = f"{recipe.title or recipe.name}\nlight between this wheel and the old bevel"
        files.chart("gap", lambda top, low: _draw(top, low, found), title, panels=2, size=(7.5, 5.6))
    result = {
        "old": old.title or old.name,
        "measured_missed_by": misses,
        "settings": {name: bench.value(name) for name in bench.names},
        **machine(bench, found.cost.measures.gouge.settings[0]),
        "largest_light_mm": found.best.largest,
        "rms_gap_mm": found.best.rms,
        "equal_settings": found.equal,
        **_price(found.cost),
        "notes": notes,
        "files": files.names,
    }
    return finish(arguments, found.recipe, result, lambda console: _show(console, found, misses, notes))


def _other_steel(recipe: Recipe, old: Recipe) -> str:
    """What to say where the recipe's bar or flute is not the old tool's, on which everything is computed."""
    if (recipe.bar, recipe.flute) == (old.bar, old.flute):
        return ""
    return (
        f"All numbers are on the old tool's bar and flute ({old.title or old.name}), not on the recipe's own: its edge"
        " on its own bar has other angles."
    )


def _old(arguments: argparse.Namespace, recipe: Recipe) -> tuple[Recipe, dict[str, float]]:
    from gougeform.errors import InputError
    from gougeform.recipe.reading import load
    from gougeform.settings.match import old_from_angles
    from gougeform.settings.wants import read_wants

    if arguments.old and arguments.measured:
        raise InputError("--old", "given together with --measured", "keep one of them")
    if arguments.measured:
        return old_from_angles(recipe, read_wants(arguments.measured, "--measured"))
    if arguments.old:
        return load(arguments.old), {}
    if recipe.older is None:
        raise InputError("--old", "nothing says what the tool is now", "give --old RECIPE, or --measured nose=…")
    return recipe.older, {}


def _price(price: Cost) -> dict[str, Any]:
    density = price.measures.gouge.recipe.bar.steel.density_g_cm3
    return {
        "nose_angle_deg": price.measures.nose_angle,
        "wing_angle_deg": {str(p): v for p, v in price.measures.wing_angles.items()},
        "nose_loss_mm": price.nose_loss,
        "steel_removed_mm3": price.steel,
        "steel_removed_g": price.steel * density / 1000,
        "such_regrinds": price.regrinds,
    }


def _price_rows(price: Cost) -> list[tuple[str, str]]:
    density = price.measures.gouge.recipe.bar.steel.density_g_cm3
    flute = price.measures.gouge.recipe.flute.length_mm
    # Nothing lost in a computation is not nothing lost at the wheel, so no number can be given.
    often = "not told: takes nothing off the nose" if price.regrinds is None else str(price.regrinds)
    return [
        ("nose angle after", deg(price.measures.nose_angle)),
        ("wing angle after, at 50 %", deg(price.measures.wing_angles[50])),
        ("tool gets shorter by", mm(price.nose_loss, 3)),
        ("steel removed", f"{price.steel:.1f} mm³ ({price.steel * density / 1000:.2f} g)"),
        (f"such regrinds in {flute:g} mm of flute", often),
    ]


def _show_price(console: Console, old: Recipe, price: Cost, notes: list[str]) -> None:
    from gougeform.tell.report import print_list, table

    console.print(f"The tool as it is: {old.title or old.name}", markup=False)
    console.print(table("Regrinding it to this", ("", ""), _price_rows(price)))
    print_list(console, "Notes", notes)


def _show(console: Console, found: Match, misses: dict[str, float], notes: list[str]) -> None:
    import numpy as np

    from gougeform.settings.names import NAMES
    from gougeform.tell.report import print_list, setting_rows, table

    head, *rows = setting_rows(found.cost.measures.gouge)
    console.print(table("Set the machine to", head, rows))
    turned = ", ".join(f"{name} {amount(v, NAMES[name].unit)}" for name, v in found.best.values.items())
    console.print(f"Turned to fit: {turned}.", markup=False)
    bevel, best = found.bevel, found.best
    rows = []
    for place in (0, 25, 50, 75, 95):
        i = int(abs(bevel.place - place).argmin())
        on = np.flatnonzero(bevel.first[i])
        gap = best.gap[i, on]
        end = "heel" if len(on) == bevel.first.shape[1] else "end of the land"
        first = "edge" if gap.argmin() == 0 else end if gap.argmin() == len(gap) - 1 else "between"
        touch = "all along" if best.light[i] < 5e-4 else first
        name = "nose" if place == 0 else f"{bevel.place[i]:.0f} %"
        rows.append((name, mm(bevel.reach[i, on[-1]]), mm(best.light[i], 3), touch))
    below = f"Largest light anywhere {best.largest:.3f} mm." + (
        f" {found.equal} other settings lie as well; this one costs least steel." if found.equal else ""
    )
    console.print(
        table("Light between wheel and old bevel", ("place", "bevel", "light", "touches first at"), rows, below)
    )
    console.print(table("What grinding there costs", ("", ""), _price_rows(found.cost)))
    if any(abs(miss) > 0.005 for miss in misses.values()):
        off = ", ".join(f"{name} by {miss:+.2f}" for name, miss in misses.items() if abs(miss) > 0.005)
        notes = [*notes, f"No grind of this jig has all the measured numbers; the nearest one taken misses {off}."]
    print_list(console, "Notes", notes)


def _draw(top: Axes, low: Axes, found: Match) -> None:
    import numpy as np

    bevel, best = found.bevel, found.best
    line(top, bevel.place, best.light, "light", WARM)
    top.fill_between(bevel.place, 0, best.light, color=WARM, alpha=0.15, linewidth=0)
    top.set_ylabel("light, mm")
    top.set_xlabel("place along the edge: per cent of each wing, 0 at the nose")
    if best.largest < 1e-3:
        top.text(0.5, 0.5, "it lies flat: no light anywhere", ha="center", color=SOFT, transform=top.transAxes)
    top.set_ylim(bottom=0, top=max(1.15 * best.largest, 0.01))
    for place, color, style in ((0, INK, "-"), (25, COOL, "--"), (50, WARM, "-."), (75, SOFT, ":")):
        i = int(abs(bevel.place - place).argmin())
        label = "nose" if place == 0 else f"{bevel.place[i]:.0f} % of the wing"
        line(low, bevel.reach[i], best.gap[i], label, color, style)
    low.axhline(0, color=SOFT, linewidth=0.8)
    most = max(float(np.nanmax(np.abs(best.gap))) * 1.2, 0.01)
    low.set_ylim(-most, most)
    low.set_ylabel("gap, mm (below 0: bites)")
    low.set_xlabel("from the edge down the bevel, mm")
    low.legend(frameon=False, ncols=4, loc="upper left")
