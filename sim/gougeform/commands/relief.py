"""A relief behind the first bevel: how far to move, the land that is left, and the angle. Give two, get the third.

  gougeform relief RECIPE --land 2.5 --angle 28      how far to move pocket or rod
  gougeform relief RECIPE --land 2.5 --move 6        the angle that gives
  gougeform relief RECIPE --move 6 --angle 28        the land that is left
  gougeform relief RECIPE --land 2.5                 all moves of a 0.5 mm ruler, with their angles

The angle is the relief's own, to the bar axis, where it begins at the end of the land. A move counts toward the wheel.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from gougeform.settings.show import amount, common_arguments, deg, files_in, finish, mm, opened, out_folder

if TYPE_CHECKING:
    from rich.console import Console

    from gougeform.settings.relief import Made, Middle, Relief

_USUAL = 10.0  # degrees more acute than the bevel, where nothing else is asked for: common practice


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform relief` takes."""
    common_arguments(parser)
    parser.add_argument("--land", type=float, metavar="MM", help="what is left of the first bevel at the nose")
    parser.add_argument(
        "--move", type=float, metavar="MM", help="of pocket or rod toward the wheel (table: degrees flatter)"
    )
    parser.add_argument("--angle", type=float, metavar="DEG", help="of the relief where it begins")


def run(arguments: argparse.Namespace) -> int:
    """Find the third of land, move and angle; measure it on the finished tool; write the recipe."""
    import numpy as np

    from gougeform.errors import InputError
    from gougeform.recipe.write import to_toml
    from gougeform.settings.relief import Middle

    recipe = opened(arguments)
    for name in ("land", "move", "angle"):
        value = getattr(arguments, name)
        if value is not None and not (np.isfinite(value) and 0 < value < 180):
            raise InputError(f"--{name}", f"given {value:g}, allowed is above 0 and below 180", "change it")
    land, move, angle = arguments.land, arguments.move, arguments.angle
    if None not in (land, move, angle):
        raise InputError("--land", "land, move and angle are all given, but two give the third", "leave one out")
    middle = Middle(recipe)
    family: list[Relief] = []
    if land is None and move is None and angle is None:
        if len(recipe.grinds) < 2:
            raise InputError(
                "--land", "nothing is asked for, and the recipe has no relief", "give --land, or two of three"
            )
        relief = _own(middle)
    elif move is not None and angle is not None:
        relief = middle.from_both(move, angle)
    elif land is not None and move is not None:
        relief = middle.from_move(land, move)
    elif land is not None and angle is not None:
        relief = middle.from_angle(land, angle)
    elif land is not None:
        family = middle.family(land)
        if not family:
            raise InputError("--land", "no move of a ruler gives a relief here", "give --angle with it")
        aim = np.degrees(middle.nose) - _USUAL
        relief = min(family, key=lambda one: abs(one.nose - aim))
    else:
        raise InputError("--move" if move is not None else "--angle", "one number does not fix a relief", "add --land")
    made, ruler = middle.made(relief), middle.made(middle.on_ruler(relief))
    with files_in(out_folder(arguments, recipe)) as files:
        files.text("relief.toml", to_toml(made.recipe))
        if family:
            head = ["move_" + relief.unit, "nose_deg", "angle_deg", "turn_deg", "land_mm"]
            files.csv("relief.csv", head, [[r.move, r.nose, r.angle, r.turn, r.land] for r in family])
    result = {
        **_result(made),
        "with_a_ruler": _result(ruler),
        "moves": [{f"move_{r.unit}": r.move, "nose_deg": r.nose, "angle_deg": r.angle} for r in family],
        "files": files.names,
    }
    return finish(arguments, made.recipe, result, lambda console: _show(console, middle, made, ruler, family))


def _own(middle: Middle) -> Relief:
    """The relief the recipe has."""
    land = middle.own.grinds[1].land_mm
    assert land is not None
    name = "tilt" if middle.first.jig.kind == "table" else "distance"
    return middle.from_move(land, middle.first.value(name) - middle.second.value(name))


def _result(made: Made) -> dict[str, Any]:
    from gougeform.settings.ruler import machine

    relief, setback = made.relief, made.gouge.ground.passes[1].setback
    return {
        "land_mm": relief.land,
        f"move_{relief.unit}": relief.move,
        "angle_deg": relief.angle,
        "angle_measured_deg": made.angle,
        "falls_away_deg": relief.turn,
        "nose_setting_deg": relief.nose,
        "held_back_mm": setback,
        "first": machine(_first(made), made.gouge.settings[0]),
        "second": machine(relief.bench, made.gouge.settings[1]),
        "land_measured_mm": float(made.edge.land[made.edge.nose]),
    }


def _first(made: Made):  # type: ignore[no-untyped-def]
    from gougeform.settings.bench import bench_of

    return bench_of(made.recipe)


def _show(console: Console, middle: Middle, made: Made, ruler: Made, family: list[Relief]) -> None:
    from gougeform.settings.ruler import straight_words
    from gougeform.tell.report import table

    relief, unit = made.relief, made.relief.unit
    both = (made, ruler)
    way = "tilt the table flatter by" if unit == "deg" else "move toward the wheel by"
    rows = [
        ("land left at the nose", *(mm(m.relief.land) for m in both)),
        (way, *(amount(m.relief.move, unit) for m in both)),
        ("relief's angle where it begins", *(deg(m.angle) for m in both)),
        ("it falls away from the land by", *(deg(m.relief.turn) for m in both)),
        ("the second setting alone would make a nose of", *(deg(m.relief.nose) for m in both)),
        ("held back along the bar by", *(mm(m.gouge.ground.passes[1].setback) for m in both)),
    ]
    if unit == "mm":
        first = _first(made)
        rows += [
            (f"first grind: {straight_words(first)}", *(mm(_first(m).measured_distance()) for m in both)),
            (f"relief: {straight_words(first)}", *(mm(m.relief.bench.measured_distance()) for m in both)),
        ]
    else:
        rows += [("table tilted for", *(deg(m.relief.bench.value("tilt")) for m in both))]
    console.print(table("Relief", ("", "asked", "with a ruler"), rows))
    k, n = made.edge.nose, len(made.edge.land)
    places = [(f"{p} %", k + round((n - 1 - k) * p / 100)) for p in (25, 50, 75, 95)]
    rows = [("nose", *(mm(m.edge.land[k]) for m in both))]
    rows += [(name, *(mm(m.edge.land[i]) for m in both)) for name, i in places]
    console.print(table("Land along the wing", ("", "asked", "with a ruler"), rows))
    if family:
        near = min(range(len(family)), key=lambda i: abs(family[i].move - relief.move))
        rows = [
            (
                ("→ " if i == near else "  ") + amount(one.move, unit, 1),
                deg(one.nose),
                deg(one.angle),
                deg(one.turn),
            )
            for i, one in enumerate(family)
            if i == near or len(family) <= 24 or i % (len(family) // 24 + 1) == 0
        ]
        below = (
            f"All leave a land of {relief.land:g} mm; the arrow: {_USUAL:g}° more acute than the first bevel, a usual"
            " choice."
        )
        head = ("move", "nose setting", "angle where it begins", "falls away by")
        console.print(table("How far to move, and the angle that gives", head, rows, below))
