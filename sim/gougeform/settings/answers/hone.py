"""How is a honing wheel set to this edge, and which shaped hone fits the flute?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.machine.jig import DISTANCES
from gougeform.machine.wheel import Wheel
from gougeform.measure.measures import measure
from gougeform.measure.quantities.standing import standing
from gougeform.present.answer import Answer, Block, Files, Labels, Next, WrittenFile, down
from gougeform.present.files import chart, line, text
from gougeform.present.palette import INK, SOFT, WARM
from gougeform.present.progress import step
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.settings.hone import PER_CENT, Honing, Set, honing, largest_hone
from gougeform.settings.names import NAMES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

AWAY = (
    "A honing wheel turns AWAY from the edge: its face runs from heel to edge. Turned as for grinding the edge digs in"
    " and the tool is thrown."
)
_HOW = (
    "Use a machine that turns that way, or work from its other side; turn it by hand first, with the plug out.",
    "A little compound on the face; light passes, two or three a side, until the burr is gone: more round the edge.",
    "Then the flute, by hand, with a shaped hone laid flat in it, off the edge and never into it.",
)
_CONTACT_DEG = 35.0  # above the horizontal on the person's side, as it is drawn
_SHOWN_MM, _FLAT_MM = 30.0, 1e4  # of the tool; radius that stands for a flat hone


def answer(recipe: Recipe, wheel: str | float) -> Answer:
    """Every way to set the hone, how far each is off along the edge, and the hone for the flute.

    wheel: the honing wheel's diameter (mm), its name in the library, or "flat". Raises InputError.
    """
    fields = honing_wheel(recipe, str(wheel))
    with step("laying the hone on the edge"):
        found = honing(recipe, fields)
    flute, floor = largest_hone(found.gouge.section)
    edge = float(found.edge.wedge[found.edge.nose])
    ways = [_way(way) for way in found.ways]
    stops = [f"{one['way'][:1].upper()}{one['way'][1:]}: {one['problem']}." for one in ways if one["problem"]]
    bevel = f"Edge at the nose {edge:.2f}°; {found.chord:.2f} mm of bevel, its chord at {found.chord_angle:.2f}°."
    best = _best(found)
    set_up, refused = _on_hone(recipe, fields, best)
    files = {
        **({} if set_up is None else {"hone.toml": text(to_toml(set_up))}),
        **chart("hone", lambda axes: _draw(axes, fields, edge, found.chord), _title(recipe), size=(7.5, 4.6)),
    }
    return Answer(
        blocks=[
            Block(below=bevel),
            _ways(found.ways),
            Block("Not possible", points=stops),
            Block("How it is done", points=[*_HOW, _shaped(flute, floor)]),
        ],
        verdict=AWAY,
        notes=[*found.notes, *refused],
        result={
            "wheel": {"kind": fields.kind, "diameter_mm": fields.diameter_mm},
            "edge_deg": edge,
            "chord_mm": found.chord,
            "chord_deg": found.chord_angle,
            "ways": ways,
            "flute_hone": {"largest_edge_radius_mm": flute, "floor_radius_mm": floor},
        },
        files=Files(files),
        next=[]
        if set_up is None or not set_up.grinds[0].jig.pivot_noun
        else [
            Next(
                "gauge", ["spacer", WrittenFile("hone.toml")], why=f"a block to print for this setting ({best.words})"
            ),
        ],
        recipe=changed(recipe, {"wheel": fields.plain(), **_without_centre(recipe), **_one_wheel(recipe)}),
    )


def _best(found: Honing) -> Set:
    """The way tangent at the edge that is off least along the wings; any of them where they are not compared."""
    tangent = [one for one in found.ways if one.ruler is not None and one.words.startswith("tangent")]
    return min(tangent, key=lambda one: one.wings if math.isfinite(one.wings) else math.inf, default=found.ways[0])


def _one_wheel(recipe: Recipe) -> dict[str, Any]:
    """Changes that leave no grind a wheel or relief of its own."""
    gone: dict[str, Any] = {f"grind.{i}": None for i in range(1, len(recipe.grinds))}
    return gone | ({} if recipe.grind[0].wheel is None else {"grind.0.wheel": None})


def _on_hone(recipe: Recipe, wheel: Wheel, way: Set) -> tuple[Recipe | None, list[str]]:
    """The recipe set up on the honing wheel by the ruler; None where it cannot be set or cannot stand, and then why."""
    if way.ruler is None or way.ruler.bench is None:
        return None, []
    bench = way.ruler.bench
    # All at once: with the grinding wheel's projection alone the nose may not touch the hone.
    own: dict[str, Any] = {f"grind.0.{name}": None for name in DISTANCES}
    own |= {f"grind.0.{bench.field(NAMES[name])}": bench.value(name) for name in bench.by_hand}
    if "contact_mm" in recipe.table["grind"][0]:
        own["grind.0.contact_mm"] = None  # the hone is held in the middle of its face
    try:
        made = changed(recipe, {"wheel": wheel.plain(), **own, **_one_wheel(recipe), "older": None})
        standing(measure(shape(made)))
    except InputError as error:
        return None, [f"The best of these ({way.words}) cannot be set up: {error.problem}. {error.hint.capitalize()}."]
    return made, []


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
    numbers = _numbers(way)
    return {"way": way.words, "problem": way.problem, **numbers} | (
        {} if way.ruler is None else {"with_a_ruler": _numbers(way.ruler)}
    )


def _numbers(way: Set) -> dict[str, Any]:
    bench = way.bench
    has = () if bench is None else bench.names
    names = ["nose", *(f"wing{p:g}" for p in PER_CENT)]
    return {
        "centre_distance_mm": None if bench is None else bench.centre_distance(),
        "rim_distance_mm": bench.value("distance") if bench is not None and "distance" in has else None,
        "straight_distance_mm": None if bench is None else bench.measured_distance(),
        "projection_mm": bench.value("projection") if bench is not None and "projection" in has else None,
        "tilt_deg": bench.value("tilt") if bench is not None and "tilt" in has else None,
        "hone_nose_deg": way.nose,
        "off_deg": dict(zip(names, way.off.tolist(), strict=True)),
        "gap_at_heel_mm": way.at_heel,
    }


def _ways(ways: Sequence[Set]) -> Block:
    possible = []
    for way in ways:
        if way.ruler is None:
            continue
        one, exact = _numbers(way.ruler), _numbers(way)
        exactly = exact["tilt_deg"] if exact["tilt_deg"] is not None else exact["straight_distance_mm"]
        possible.append(
            one | {f"{k}_deg": v for k, v in one["off_deg"].items()} | {"way": way.words, "exactly": exactly}
        )
    tilted = any(one["tilt_deg"] is not None for one in possible)
    moved = len({one["projection_mm"] for one in possible}) > 1
    labels: Labels = {
        "way": "",
        **({"tilt_deg": ("tilt", 1)} if tilted else {"straight_distance_mm": ("rim", 1)}),
        **({"projection_mm": ("nose out", 1)} if moved else {}),
        "nose_deg": ("nose", 1),
        "wing50_deg": ("wing 50", 1),
        "wing95_deg": ("wing 95", 1),
        "gap_at_heel_mm": "heel",
        "exactly": ("exactly", 2),
    }
    what = "Tilt" if tilted else "Rim: straight to pocket or rod,"
    below = (
        f"{what} as a ruler or protractor sets it; exactly: what it stands for. Nose and wings: the hone's angle less"
        " the edge's; above zero it works on the edge alone and blunts it, below zero it rubs on the heel. Heel: air"
        " there with the hone on the edge, below zero the heel is in the way."
    )
    return down("Setting the hone", possible, labels, below)


def _shaped(flute: float, floor: float) -> str:
    if not math.isfinite(flute):
        return "The floor is flat: a flat hone fits."
    walls = f" The floor alone would take {floor:.2f} mm; the walls come in." if flute < floor - 1e-6 else ""
    return f"Largest edge radius that touches the floor and no wall: {flute:.2f} mm.{walls}"


def _title(recipe: Recipe) -> str:
    return f"{recipe.title or recipe.name}\nhow a honing wheel turns: away from the edge, heel to edge"


def _draw(axes: Axes, wheel: Wheel, edge: float, chord: float) -> None:
    """The middle plane, seen from the side: hone, bevel on it, and which way the face must run."""
    radius = wheel.diameter_mm / 2 if wheel.diameter_mm else _FLAT_MM
    at = np.radians(_CONTACT_DEG)
    out, up = np.array([np.cos(at), np.sin(at)]), np.array([-np.sin(at), np.cos(at)])
    nose, centre = np.zeros(2), -radius * out
    down = at - 2 * math.asin(min(chord / 2 / radius, 1.0))
    heel = centre + radius * np.array([np.cos(down), np.sin(down)])
    back = -up * np.cos(np.radians(edge)) + out * np.sin(np.radians(edge))
    tool = np.array([nose, heel, heel + _SHOWN_MM * back, nose + _SHOWN_MM * back])
    turn = np.linspace(at - _SHOWN_MM * 1.4 / radius, at + _SHOWN_MM * 1.4 / radius, 200)
    rim = centre[:, None] + radius * np.array([np.cos(turn), np.sin(turn)])
    axes.fill(*np.hstack([rim, (rim[:, ::-1] - 9 * out[:, None])]), color="#e4e8ec", linewidth=0)
    line(axes, rim[0], rim[1], "honing wheel", SOFT)
    axes.fill(*tool.T, color="#b9c4cf", linewidth=0)
    x, y = tool[[3, 0, 1, 2]].T
    line(axes, x, y, "tool", INK)
    inside = centre[:, None] + (radius - 4) * np.array([np.cos(turn), np.sin(turn)])
    start, stop, tip, end = ((float(x), float(y)) for x, y in (inside[:, 40], inside[:, 165], nose, heel))
    arrow = {
        "arrowstyle": "-|>",
        "color": WARM,
        "linewidth": 2.5,
        "mutation_scale": 22,
        "connectionstyle": f"arc3,rad={math.tan((turn[165] - turn[40]) / 4):.4f}",  # as bent as the face,
    }
    axes.annotate("", stop, start, arrowprops=arrow)
    for words, at_, off, color in (
        ("the face runs this way", stop, (-10, 0), WARM),
        ("edge", tip, (34, 8), INK),
        ("heel", end, (44, -22), INK),
    ):
        axes.annotate(words, at_, off, textcoords="offset points", color=color, ha="right")
    axes.set_aspect("equal")
    axes.axis("off")
