"""How far do I move for a relief, which land is left, and which angle does it get? Two of them give the third."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from gougeform.errors import InputError
from gougeform.measure.edge import WING_PER_CENT
from gougeform.measure.quantities.regrind import table as regrind_numbers
from gougeform.measure.quantities.sharpening import next_one
from gougeform.measure.quantities.sharpening import table as sharpening_numbers
from gougeform.measure.regrind import Regrind, regrinds
from gougeform.present.answer import Answer, Block, Files, Labels, Number, across, down
from gougeform.present.files import records, table, text
from gougeform.quantity import MM, shown
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.settings.bench import bench_of
from gougeform.settings.relief import MadeRelief, Middle, Relief
from gougeform.settings.ruler import COLUMNS, machine, straight_words
from gougeform.tool.costs import sharpening_block
from gougeform.tool.rows import along, near_misses

_USUAL = 10.0  # degrees more acute than the bevel, where nothing else is asked for: common practice
_HEAD = ("", *COLUMNS)
_LISTED = 24  # moves in the table


def answer(recipe: Recipe, land: float | None = None, move: float | None = None, angle: float | None = None) -> Answer:
    """The relief of two of the three, or a land's whole family, or the recipe's own, measured on the finished tool.

    land in mm. move: of pocket or rod toward the wheel in mm, of a table flatter in deg. angle: the relief's own where
    it begins, deg. Raises InputError.
    """
    return told(found_for(recipe, land, move, angle))


@dataclass(frozen=True, eq=False)
class Reliefs:
    """A relief as asked and as a ruler can set it, and the family it was chosen from, on its middle plane."""

    middle: Middle
    exact: MadeRelief
    ruler: MadeRelief
    family: list[Relief]


def found_for(recipe: Recipe, land: float | None, move: float | None, angle: float | None) -> Reliefs:
    """The relief of two of the three, as in `answer`. Raises InputError."""
    middle = Middle(recipe)
    relief, family = chosen(middle, land, move, angle)
    return Reliefs(middle, middle.made(relief), middle.made(middle.on_ruler(relief)), family)


def told(found: Reliefs) -> Answer:
    """What came of it."""
    middle, made, ruler, family = found.middle, found.exact, found.ruler, found.family
    relief = made.relief
    (price,) = regrinds(middle.gouge, made.gouge, (0.0,), made.edge)
    rows = [
        {f"move_{one.unit}": one.move, "nose_deg": one.nose, "angle_deg": one.angle, "turn_deg": one.turn,
         "land_mm": one.land} for one in family
    ]  # fmt: skip
    files = {"relief.toml": text(to_toml(made.recipe)), **({"relief.csv": table(records(rows))} if rows else {})}
    return Answer(
        blocks=[
            _relief(made, ruler),
            _land(made, ruler),
            _cost(price),
            sharpening_block(made.measures),
            *_family(relief, rows),
        ],
        notes=near_misses(made.measures),
        result={
            **numbers(made),
            "regrind": [regrind_numbers(price)],
            "sharpening": sharpening_numbers(next_one(made.measures)),
            "with_a_ruler": numbers(ruler),
            "moves": [{key: row[key] for key in (f"move_{relief.unit}", "nose_deg", "angle_deg")} for row in rows],
        },
        files=Files(files),
        recipe=made.recipe,
    )


def chosen(middle: Middle, land: float | None, move: float | None, angle: float | None) -> tuple[Relief, list[Relief]]:
    """The relief that is meant, and for a land alone all moves of a ruler that leave it. Raises InputError."""
    given = {"land": land, "move": move, "angle": angle}
    for name, value in given.items():
        if value is not None and not 0 < value < 180:
            raise InputError(name, f"given {value:g}, allowed is above 0 and below 180", "change it")
    if None not in given.values():
        raise InputError("land", "land, move and angle are all given, but two give the third", "leave one out")
    if move is not None and angle is not None:
        return middle.from_both(move, angle), []
    if land is None:
        if move is not None or angle is not None:
            raise InputError("move" if angle is None else "angle", "one number does not fix a relief", "add `land`")
        return _own(middle), []
    if move is not None:
        return middle.from_move(land, move), []
    if angle is not None:
        return middle.from_angle(land, angle), []
    family = middle.family(land)
    if not family:
        raise InputError("land", "no move of a ruler gives a relief here", "give `angle` with it")
    aim = np.degrees(middle.nose) - _USUAL
    return min(family, key=lambda one: abs(one.nose - aim)), family


def _own(middle: Middle) -> Relief:
    """The relief the recipe has."""
    if len(middle.own.grinds) < 2:
        raise InputError("land", "nothing is asked for, and the recipe has no relief", "give `land`, or two of three")
    land = middle.own.grinds[1].land_mm
    assert land is not None
    name = "tilt" if "tilt" in middle.first.names else "distance"
    return middle.from_move(land, middle.first.value(name) - middle.second.value(name))


def numbers(made: MadeRelief) -> dict[str, Any]:
    """A relief and how it is set, with units in the names."""
    relief = made.relief
    return {
        "land_mm": relief.land,
        f"move_{relief.unit}": relief.move,
        "angle_deg": relief.angle,
        "angle_measured_deg": made.angle,
        "falls_away_deg": relief.turn,
        "nose_setting_deg": relief.nose,
        "held_back_mm": made.gouge.ground.passes[1].setback,
        "first": machine(bench_of(made.recipe), made.gouge.settings[0]),
        "second": machine(relief.bench, made.gouge.settings[1]),
        "land_measured_mm": made.measures.land,
        "land_along_wing_mm": dict(zip(map(str, WING_PER_CENT), along(made.edge, made.edge.land, 1), strict=True)),
    }


def _relief(made: MadeRelief, ruler: MadeRelief) -> Block:
    table = made.relief.unit == "deg"
    straight = straight_words(bench_of(made.recipe))
    labels: Labels = {
        "land_mm": "land left at the nose",
        "move_mm": "move toward the wheel by",
        "move_deg": "tilt the table flatter by",
        "angle_measured_deg": "relief's angle where it begins",
        "falls_away_deg": "it falls away from the land by",
        "nose_setting_deg": "the second setting alone would make a nose of",
        "held_back_mm": "held back along the bar by",
        "first_mm": f"first grind: {straight}",
        "second_mm": f"relief: {straight}",
        "tilt_deg": "table tilted for",
    }
    both = [
        numbers(one)
        | {
            "first_mm": bench_of(one.recipe).measured_distance(),
            "second_mm": one.relief.bench.measured_distance(),
            "tilt_deg": one.relief.bench.value("tilt") if table else None,
        }
        for one in (ruler, made)
    ]
    return across("Relief", both, labels, _HEAD)


def _land(made: MadeRelief, ruler: MadeRelief) -> Block:
    """By arc length, as every other per cent of a wing; of the right wing, which the left one mirrors."""
    labels = {f"{name}_mm": name for name in ("nose", *(f"{p} %" for p in WING_PER_CENT))}
    lands = ((one.measures.land, *along(one.edge, one.edge.land, 1)) for one in (ruler, made))
    both = [dict(zip(labels, land, strict=True)) for land in lands]
    return across("Land along the wing", both, labels, _HEAD)


def _cost(price: Regrind) -> Block:
    loss = "the nose keeps its length" if price.in_flute is None else f"the nose loses {shown(price.nose_loss, MM)}"
    steel = f"{Number(price.steel, 'steel_mm3')} ({Number(price.grams, 'steel_g')})"
    return Block(below=f"On a tool that has the first bevel the relief takes {steel}; {loss}.")


def _family(relief: Relief, rows: list[dict[str, Any]]) -> list[Block]:
    if not rows:
        return []
    move = f"move_{relief.unit}"
    near = min(range(len(rows)), key=lambda i: abs(rows[i][move] - relief.move))
    every = len(rows) // _LISTED + 1
    shown = [
        row | {"what": "→" if i == near else ""}
        for i, row in enumerate(rows)
        if i == near or len(rows) <= _LISTED or i % every == 0
    ]
    labels: Labels = {
        "what": "",
        move: ("move", 1),
        "nose_deg": "nose setting",
        "angle_deg": "angle where it begins",
        "turn_deg": "falls away by",
    }
    arrow = f"{_USUAL:g}° more acute than the first bevel, a usual choice"
    below = f"All leave a land of {relief.land:g} mm; the arrow: {arrow}."
    return [down("How far to move, and the angle that gives", shown, labels, below)]
