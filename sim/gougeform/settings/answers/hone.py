"""How is a honing wheel set to this edge, and which shaped hone fits the flute?"""

from __future__ import annotations

import math
from typing import Any

from gougeform.errors import InputError
from gougeform.machine.wheel import Wheel
from gougeform.present.answer import Answer, Block, Labels, down
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.settings.hone import PER_CENT, Set, honing, largest_hone


def answer(recipe: Recipe, wheel: str | float) -> Answer:
    """Every way to set the hone, how far each is off along the edge, and the hone for the flute.

    wheel: the honing wheel's diameter (mm), its name in the library, or "flat". Raises InputError.
    """
    fields = honing_wheel(recipe, str(wheel))
    found = honing(recipe, fields)
    flute, floor = largest_hone(found.gouge.section)
    edge = float(found.edge.wedge[found.edge.nose])
    ways = [_way(way) for way in found.ways]
    stops = [f"{one['way'][:1].upper()}{one['way'][1:]}: {one['problem']}." for one in ways if one["problem"]]
    bevel = f"Edge at the nose {edge:.2f}°; {found.chord:.2f} mm of bevel, its chord at {found.chord_angle:.2f}°."
    return Answer(
        blocks=[
            Block(below=bevel),
            _ways(ways),
            Block("Not possible", points=stops),
            Block("Shaped hone for the flute", points=[_shaped(flute, floor)]),
        ],
        notes=found.notes,
        result={
            "wheel": {"kind": fields.kind, "diameter_mm": fields.diameter_mm},
            "edge_deg": edge,
            "chord_mm": found.chord,
            "chord_deg": found.chord_angle,
            "ways": ways,
            "flute_hone": {"largest_edge_radius_mm": flute, "floor_radius_mm": floor},
        },
        recipe=recipe,
    )


def honing_wheel(recipe: Recipe, text: str) -> Wheel:
    """The honing wheel that a diameter in mm, a name of the library or "flat" means. Raises InputError."""
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
            file = "" if error.file == recipe.source else error.file
            raise InputError("wheel", error.problem, error.hint, file) from error
    if not 5 <= diameter <= 1e6:
        raise InputError("wheel", f"given {text}, allowed is a diameter from 5 to 1e6 mm", "give flat for a flat hone")
    return Wheel(kind="wheel", diameter_mm=diameter, width_mm=own.width_mm, corner_radius_mm=own.corner_radius_mm)


def _without_centre(recipe: Recipe) -> dict[str, Any]:
    """A belt has no centre: hold the nose instead, so that any wheel can be read."""
    return {"grind.0.nose_angle_deg": 45.0} if recipe.grinds[0].jig.distance == "centre_distance_mm" else {}


def _way(way: Set) -> dict[str, Any]:
    bench = way.bench
    has = () if bench is None else bench.names
    names = ["nose", *(f"wing{p:g}" for p in PER_CENT)]
    return {
        "way": way.words,
        "problem": way.problem,
        "centre_distance_mm": None if bench is None else bench.centre_distance(),
        "rim_distance_mm": bench.value("distance") if bench is not None and "distance" in has else None,
        "straight_distance_mm": None if bench is None else bench.measured_distance(),
        "tilt_deg": bench.value("tilt") if bench is not None and "tilt" in has else None,
        "hone_nose_deg": way.nose,
        "off_deg": dict(zip(names, way.off.tolist(), strict=True)),
        "gap_at_heel_mm": way.at_heel,
    }


def _ways(ways: list[dict[str, Any]]) -> Block:
    possible = [one | {f"{k}_deg": v for k, v in one["off_deg"].items()} for one in ways if not one["problem"]]
    tilted = any(one["tilt_deg"] is not None for one in possible)
    labels: Labels = {
        "way": "",
        **({"tilt_deg": "tilt"} if tilted else {"straight_distance_mm": "rim"}),
        "centre_distance_mm": "centre",
        "nose_deg": "nose",
        "wing50_deg": "wing 50",
        "wing95_deg": "wing 95",
        "gap_at_heel_mm": ("heel", 3),
    }
    below = (
        "Rim: straight to pocket or rod. Nose and wings: the hone's angle less the edge's; above zero it works on the"
        " edge alone and blunts it, below zero it rubs on the heel. Heel: air there with the hone on the edge, below"
        " zero the heel is in the way."
    )
    return down("Setting the hone", possible, labels, below)


def _shaped(flute: float, floor: float) -> str:
    if not math.isfinite(flute):
        return "The floor is flat: a flat hone fits."
    walls = f" The floor alone would take {floor:.2f} mm; the walls come in." if flute < floor - 1e-6 else ""
    return f"Largest edge radius that touches the floor and no wall: {flute:.2f} mm.{walls}"
