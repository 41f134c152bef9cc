"""Set a honing wheel to a ground edge, and say which shaped hone fits the flute.

  gougeform hone RECIPE --wheel 150
  gougeform hone RECIPE --wheel honing-180
  gougeform hone RECIPE --wheel flat            a belt or flat disc, as with a strop

The tool stays in the jig as it was ground; only the distance (a table: the tilt) is set anew.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from gougeform.settings.show import common_arguments, deg, finish, mm, opened

if TYPE_CHECKING:
    from rich.console import Console

    from gougeform.machine.wheel import Wheel
    from gougeform.recipe.model import Recipe
    from gougeform.settings.hone import Honing, Set


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform hone` takes."""
    common_arguments(parser, files=False)
    parser.add_argument(
        "--wheel",
        required=True,
        metavar="DIAMETER|NAME|flat",
        help="the honing wheel: its diameter in mm, a library wheel, or flat",
    )


def run(arguments: argparse.Namespace) -> int:
    """Every way to set the hone, how far each is off along the edge, and the hone for the flute."""
    from gougeform.settings.hone import honing, largest_hone

    recipe = opened(arguments)
    wheel = _wheel(recipe, arguments.wheel)
    found = honing(recipe, wheel)
    flute, floor = largest_hone(found.gouge.section)
    result = {
        "wheel": {"kind": wheel.kind, "diameter_mm": wheel.diameter_mm},
        "edge_deg": float(found.edge.wedge[found.edge.nose]),
        "chord_mm": found.chord,
        "chord_deg": found.chord_angle,
        "ways": [_result(way) for way in found.ways],
        "flute_hone": {"largest_edge_radius_mm": flute, "floor_radius_mm": floor},
        "notes": list(found.notes),
    }
    return finish(arguments, recipe, result, lambda console: _show(console, found, flute, floor))


def _wheel(recipe: Recipe, text: str) -> Wheel:
    from gougeform.errors import InputError
    from gougeform.machine.wheel import Wheel
    from gougeform.recipe.change import changed

    own = recipe.wheel
    if text in ("flat", "belt"):
        return Wheel(kind="belt", width_mm=own.width_mm, corner_radius_mm=own.corner_radius_mm)
    try:
        diameter = float(text)
    except ValueError:
        # A library wheel, read as a recipe's own would be; grinds with a wheel of their own do not matter here.
        plain = changed(recipe, {f"grind.{i}.wheel": None for i in range(len(recipe.grinds))})
        try:
            return changed(plain, {"wheel": text, **_without_centre(plain)}).wheel
        except InputError as error:
            raise InputError("--wheel", error.problem, error.hint, error.file) from error
    if not 5 <= diameter <= 1e6:
        raise InputError(
            "--wheel", f"given {text}, allowed is a diameter from 5 to 1e6 mm", "give flat for a flat hone"
        )
    return Wheel(kind="wheel", diameter_mm=diameter, width_mm=own.width_mm, corner_radius_mm=own.corner_radius_mm)


def _without_centre(recipe: Recipe) -> dict[str, Any]:
    """A belt has no centre: hold the nose instead, so that any wheel can be read."""
    if recipe.grinds[0].jig.kind == "table" or recipe.grinds[0].jig.centre_distance_mm is None:
        return {}
    return {"grind.0.nose_angle_deg": 45.0}


def _result(way: Set) -> dict[str, Any]:
    from gougeform.settings.hone import PER_CENT

    bench = way.bench
    names = ["nose", *(f"wing{p:g}" for p in PER_CENT)]
    return {
        "way": way.words,
        "problem": way.problem,
        "centre_distance_mm": None if bench is None else bench.centre_distance(),
        "rim_distance_mm": None if bench is None or bench.jig.kind == "table" else bench.value("distance"),
        "straight_distance_mm": None if bench is None else bench.measured_distance(),
        "tilt_deg": bench.value("tilt") if bench is not None and bench.jig.kind == "table" else None,
        "hone_nose_deg": way.nose,
        "off_deg": dict(zip(names, way.off.tolist(), strict=True)),
        "gap_at_heel_mm": way.at_heel,
    }


def _show(console: Console, found: Honing, flute: float, floor: float) -> None:
    from gougeform.tell.report import print_list, table

    edge = found.edge
    console.print(
        f"Edge at the nose {edge.wedge[edge.nose]:.2f}°; {found.chord:.2f} mm of bevel, its chord at"
        f" {found.chord_angle:.2f}°.",
        markup=False,
    )
    rows, stops = [], []
    for way in found.ways:
        if way.bench is None:
            stops.append(f"{way.words[:1].upper()}{way.words[1:]}: {way.problem}.")
            continue
        bench = way.bench
        setting = deg(bench.value("tilt")) if bench.jig.kind == "table" else mm(bench.measured_distance())
        centre = mm(bench.centre_distance())
        rows.append((way.words, setting, centre, deg(way.off[0]), deg(way.off[2]), deg(way.off[4]), mm(way.at_heel, 3)))
    tilted = any(way.bench is not None and way.bench.jig.kind == "table" for way in found.ways)
    head = ("", "tilt" if tilted else "rim", "centre", "nose", "wing 50", "wing 95", "heel")
    below = (
        "Rim: straight to pocket or rod. Nose and wings: the hone's angle less the edge's; above zero it works on the"
        " edge alone and blunts it, below zero it rubs on the heel. Heel: air there with the hone on the edge, below"
        " zero the heel is in the way."
    )
    console.print(table("Setting the hone", head, rows, below))
    print_list(console, "Not possible", stops)
    words = (
        f"Largest edge radius that touches the floor and no wall: {flute:.2f} mm."
        if flute < float("inf")
        else "The floor is flat: a flat hone fits."
    )
    if flute < floor - 1e-6:
        words += f" The floor alone would take {floor:.2f} mm; the walls come in."
    print_list(console, "Shaped hone for the flute", [words])
    print_list(console, "Notes", found.notes)
