"""Carry an edge over to another wheel or another kind of jig, and along a wheel that wears.

  gougeform transfer RECIPE --to wheel=wheel-150
  gougeform transfer RECIPE --to jig=rod-65 --free projection=50:90 --free cant
  gougeform transfer RECIPE --to wheel=250 --wear 250:180:15

The nose is kept exactly. The projection of a foot or rod jig may move too, so that the wings differ least, unless you
name what is free or say --keep.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from gougeform.settings.show import (
    COOL,
    INK,
    SOFT,
    WARM,
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

    from gougeform.settings.transfer import Carried, Worn

_WORN_TO = 0.7  # of its new diameter, unless --wear says otherwise
_STEPS = 15


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform transfer` takes."""
    common_arguments(parser)
    parser.add_argument("--to", action="append", default=[], metavar="wheel=…|jig=…", help="the other wheel or jig")
    parser.add_argument(
        "--free",
        action="append",
        default=[],
        metavar="NAME[=FROM:TO]",
        help="a setting beside the distance that may move",
    )
    parser.add_argument("--keep", action="store_true", help="move nothing but the distance (or a table's tilt)")
    parser.add_argument("--wear", metavar="NEW:WORN[:STEPS]", help="diameters of the wear table, in mm")


def run(arguments: argparse.Namespace) -> int:
    """Carry over, compare along the whole edge, and table the settings of a wearing wheel."""
    from gougeform.errors import InputError
    from gougeform.recipe.write import to_toml
    from gougeform.settings.bench import bench_of
    from gougeform.settings.ruler import machine
    from gougeform.settings.transfer import carry_over, read_targets, wear
    from gougeform.settings.wants import read_frees

    recipe = opened(arguments)
    if arguments.keep and arguments.free:
        raise InputError("--keep", "given together with --free", "keep one of them")
    changes = read_targets(recipe, arguments.to) if arguments.to or not arguments.wear else {}
    bench = _target_bench(recipe, changes)
    texts = arguments.free or (["projection"] if bench.jig.kind != "table" and bench.path.path == "traced" else [])
    frees = () if arguments.keep or not texts else read_frees(bench, texts, [], [])
    carried = carry_over(recipe, changes, frees)
    after = bench_of(carried.recipe)
    worn: list[Worn] = []
    if arguments.wear or after.wheel.diameter_mm is not None:
        worn = wear(carried.recipe, _diameters(arguments.wear, after.wheel.diameter_mm), carried.before)
    settings = machine(after, carried.gouge.settings[0])
    with files_in(out_folder(arguments, recipe)) as files:
        files.text("transfer.toml", to_toml(carried.recipe))
        files.csv(
            "transfer.csv",
            ["share_of_edge", "difference_deg"],
            [list(row) for row in zip(carried.share.tolist(), carried.difference.tolist(), strict=True)],
        )
        name = recipe.title or recipe.name
        title = f"{name}\nthe edge there ({', '.join(arguments.to or ['the same machine'])}) against the edge before"
        files.chart("transfer", lambda top, low: _draw(top, low, carried), title, panels=2, size=(7.5, 5.6))
        if worn:
            files.csv("wear.csv", _wear_head(worn), [_wear_row(one) for one in worn])
            panels = 1 if worn[0].straight_distance is None else 2
            title = f"{name}\nas the wheel wears: how to set it, and what that does to the edge"
            size = (7.5, 1.4 + 2.1 * panels)
            files.chart("wear", lambda *axes: _draw_wear(axes, worn), title, panels=panels, size=size)
    result = {
        "to": arguments.to,
        "settings": {name: after.value(name) for name in after.names},
        "moved": carried.reset,
        **settings,
        "nose_deg": float(carried.after.wedge[carried.after.nose]),
        "largest_difference_deg": carried.largest,
        "mean_difference_deg": carried.mean,
        "with_only_the_distance_moved": {
            "largest_difference_deg": carried.kept[0],
            "mean_difference_deg": carried.kept[1],
        },
        "wear": [dict(zip(_wear_head(worn), _wear_row(one), strict=True)) for one in worn],
        "notes": carried.notes,
        "files": files.names,
    }
    return finish(arguments, carried.recipe, result, lambda console: _show(console, carried, worn))


_WEAR_COLUMNS = [
    "diameter_mm",
    "centre_distance_mm",
    "rim_distance_mm",
    "straight_distance_mm",
    "nose_deg",
    "largest_difference_deg",
    "mean_difference_deg",
    "nose_if_left_deg",
]


def _wear_head(worn: list[Worn]) -> list[str]:
    return [*_WEAR_COLUMNS, *(f"relief_{n}_straight_distance_mm" for n in range(1, len(worn[0].reliefs) + 1))]


def _wear_row(one: Worn) -> list[float | None]:
    return [
        one.diameter,
        one.centre_distance,
        one.rim_distance,
        one.straight_distance,
        one.nose,
        one.largest,
        one.mean,
        one.left,
        *one.reliefs,
    ]


def _target_bench(recipe, changes):  # type: ignore[no-untyped-def]
    from gougeform.grind.gouge import shape
    from gougeform.measure.edge import measure_edge
    from gougeform.settings.bench import bench_of
    from gougeform.settings.transfer import on_other

    return bench_of(on_other(recipe, changes, measure_edge(shape(recipe)))[0])


def _diameters(text: str | None, new: float | None) -> list[float]:
    import numpy as np

    from gougeform.errors import InputError
    from gougeform.settings.names import number

    if text is None:
        assert new is not None
        return np.linspace(new, _WORN_TO * new, _STEPS).tolist()
    parts = text.split(":")
    if len(parts) not in (2, 3):
        raise InputError("--wear", f'given "{text[:40]}", allowed is NEW:WORN or NEW:WORN:STEPS', "write 200:140:15")
    begin, end = (number(part, "--wear", "a diameter") for part in parts[:2])
    count = number(parts[2], "--wear", "the steps") if len(parts) == 3 else float(_STEPS)
    if not (begin > end > 0):
        raise InputError(
            "--wear", f"given {begin:g} to {end:g} mm, allowed is from a larger to a smaller one", "turn them"
        )
    if count != int(count) or not 2 <= count <= 500:
        raise InputError("--wear", f"given {count:g} steps, allowed is a whole number from 2 to 500", "change it")
    return np.linspace(begin, end, int(count)).tolist()


def _show(console: Console, carried: Carried, worn: list[Worn]) -> None:
    from gougeform.tell.report import print_list, setting_rows, table

    head, *rows = setting_rows(carried.gouge)
    console.print(table("Settings there", head, rows))
    before, after = carried.before, carried.after
    rows = [
        ("nose", deg(before.wedge[before.nose], 3), deg(after.wedge[after.nose], 3)),
        ("wing length", mm(before.wing_length(1), 3), mm(after.wing_length(1), 3)),
        ("largest difference along the edge", "", deg(carried.largest, 3)),
        ("mean difference along the edge", "", deg(carried.mean, 3)),
    ]
    console.print(table("The edge", ("", "before", "there"), rows))
    if carried.reset:
        moved = ", ".join(f"{name} {value:.2f}" for name, value in carried.reset.items())
        console.print(
            f"Moved so that the wings differ least: {moved}. With nothing moved but the distance they would differ by"
            f" {deg(carried.kept[0])} at most, {deg(carried.kept[1])} in the mean.",
            markup=False,
        )
    print_list(console, "Notes", carried.notes)
    if worn:
        table_bench = worn[0].rim_distance is None
        head = ("wheel", "centre distance", "rim, straight", "nose", "wings, most", "mean", "nose if left")
        rows = [
            (
                mm(one.diameter, 1),
                mm(one.centre_distance),
                mm(one.straight_distance),
                deg(one.nose),
                deg(one.largest),
                deg(one.mean),
                deg(one.left),
            )
            for one in worn
        ]
        below = (
            "A table is tilted to the wheel at the contact, so its nose stays as the wheel wears."
            if table_bench
            else "Re-set to these, the nose stays; the wings differ by the columns beside. Last: what the nose would be"
            " with pocket or rod left where it stood for the new wheel."
        )
        console.print(table("As the wheel wears", head, rows, below))


def _draw(top: Axes, low: Axes, carried: Carried) -> None:
    place = 200 * (carried.share - 0.5)
    for edge, color, style, label in (
        (carried.before, INK, "-", "before"),
        (carried.after, WARM, "--", "there"),
    ):
        from gougeform.settings.transfer import along

        line(top, place, along(edge, carried.share), label, color, style)
    top.set_ylabel("edge angle, degrees")
    top.legend(frameon=False)
    line(low, place, carried.difference, "difference", COOL)
    low.axhline(0, color=SOFT, linewidth=0.8)
    low.set_ylabel("there less before, degrees")
    low.set_xlabel("place along the edge: per cent of each wing, 0 at the nose")


def _draw_wear(panels: tuple[Axes, ...], worn: list[Worn]) -> None:
    """Settings over the wheel's diameter (a table has none to draw), and what happens to the edge."""
    x = [one.diameter for one in worn]
    low = panels[-1]
    if len(panels) > 1:
        top = panels[0]
        top.set_ylabel("setting, mm")
        line(top, x, [one.straight_distance for one in worn], "rim to pocket or rod, straight", INK, marker=".")
        line(top, x, [one.centre_distance for one in worn], "wheel's centre to pocket or rod", COOL, "--", marker=".")
        line(low, x, [one.left - worn[0].nose for one in worn], "nose, if pocket or rod is left", WARM, "--")
    line(low, x, [one.largest for one in worn], "wings at most, re-set", COOL, "-.")
    line(low, x, [one.nose - worn[0].nose for one in worn], "nose, re-set", INK)
    low.set_ylabel("change of the edge, degrees")
    for axes in panels:
        axes.invert_xaxis()
        axes.legend(frameon=False)
    low.set_xlabel("wheel's diameter, mm, new to worn")
