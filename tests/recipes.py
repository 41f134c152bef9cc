"""A hypothesis strategy over the whole space of recipes: bars, flutes, wheels, jigs, holds, paths, reliefs, older.

`tables()` draws plain recipe tables in four moods: as a workshop has them, the same at another size, with one to three
numbers made nasty (ends of what is allowed, just outside, zero, negative, not finite, huge), and with any number
anywhere within what is allowed.
"""

from __future__ import annotations

import math
import os
from typing import Any

from hypothesis import strategies as st

from gougeform.bar.bar import Steel
from gougeform.bar.handle import Handle
from gougeform.machine.jig import DISTANCES
from gougeform.machine.wheel import Guard
from gougeform.recipe.sections import SECTIONS

__all__ = ["DISTANCES", "LIMITS", "Table", "at", "cases", "field_of", "leaves", "put", "tables"]

Table = dict[str, Any]


def cases(default: int) -> int:
    """How many random cases a test takes: `default`, or what the environment variable GOUGEFORM_CASES says."""
    return int(os.environ.get("GOUGEFORM_CASES", default))


def _limits() -> dict[str, tuple[float, float]]:
    """Lowest and highest value the reader allows for each number of a recipe, from the models themselves."""
    found: dict[str, tuple[float, float]] = {"land_mm": (0.0, 200.0)}
    models = [Steel, Handle, Guard, *(model for kinds in SECTIONS.values() for model in kinds.classes.values())]
    for model in models:
        for name, quantity in model.quantities().items():
            found[name] = (float(quantity.least), float(quantity.most))
    return found


LIMITS = _limits()


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


def chance(per_cent: int) -> st.SearchStrategy[bool]:
    """True about that often; shrinks to False."""
    return st.integers(0, 99).map(lambda i: i >= 100 - per_cent)


def logarithmic(low: float, high: float) -> st.SearchStrategy[float]:
    return number(math.log(low), math.log(high)).map(lambda x: min(max(math.exp(x), low), high))


@st.composite
def bars(draw: st.DrawFn, size: float) -> Table:
    kind = draw(st.sampled_from(["round", "round", "square", "sharp", "polygon", "flatted", "bumpy"]))
    if kind == "round":
        bar: Table = {"outline": "round", "diameter_mm": size}
    elif kind in ("square", "sharp"):
        bar = {"outline": "square", "side_mm": size}
        if kind == "square":
            bar["corner_radius_mm"] = draw(number(0.02, 0.5)) * size
    else:
        n = draw(st.integers(3 if kind == "polygon" else 12, 60))
        angle = [(i + 0.3) * 2 * math.pi / n for i in range(n)]
        radius = [size / 2] * n
        if kind == "bumpy":
            radius = [size / 2 * (1 + draw(number(-0.004, 0.004))) for _ in range(n)]
        points = [[r * math.sin(a), r * math.cos(a)] for r, a in zip(radius, angle, strict=True)]
        if kind == "flatted":
            points = [[x, max(y, -0.4 * size)] for x, y in points]
            points = [p for p, q in zip(points, points[1:] + points[:1], strict=True) if p != q]
        if draw(chance(30)):
            points.reverse()
        bar = {"outline": "points", "points_mm": points}
    bar["length_mm"] = draw(number(8, 25)) * size
    steel = draw(st.sampled_from([None, None, None, "hss", "table"]))
    if steel == "table":
        bar["steel"] = {"young_gpa": draw(number(150, 220)), "density_g_cm3": draw(number(7, 9))}
    elif steel:
        bar["steel"] = steel
    return bar


@st.composite
def flutes(draw: st.DrawFn, size: float, bar_length: float) -> Table:
    depth = draw(number(0.15, 0.6))
    flute: Table = {"length_mm": draw(number(0.3, 0.7)) * bar_length, "web_mm": (1 - depth) * size}
    shape = draw(st.sampled_from(["arc", "arc", "parabola", "ellipse", "vee", "points"]))
    flute["shape"] = shape
    if shape == "arc":
        flute["radius_mm"] = draw(number(0.2, 0.6)) * size
    elif shape == "parabola":
        flute["floor_radius_mm"] = draw(number(0.1, 0.5)) * size
    elif shape == "ellipse":
        half = draw(number(0.2, 0.45)) * size
        flute |= {"half_width_mm": half, "floor_radius_mm": draw(number(0.3, 1.0)) * half}
    elif shape == "vee":
        flute |= {"floor_radius_mm": draw(number(0.05, 0.3)) * size, "flank_angle_deg": draw(number(10, 60))}
    else:
        n = draw(st.integers(3, 12))
        radius = draw(number(0.2, 0.4)) * size
        xs = [0.42 * size * i / (n - 1) for i in range(n)]
        half_points = [[x, x * x / (2 * radius) + (draw(number(-0.002, 0.002)) * size if x else 0.0)] for x in xs]
        if draw(st.booleans()):
            off = draw(number(-0.004, 0.004))
            half_points = [[-x, y + off * min(x, 1)] for x, y in half_points[:0:-1]] + half_points
        if draw(chance(30)):
            web = flute.pop("web_mm")
            half_points = [[x, y + web - size / 2] for x, y in half_points]
        flute["points_mm"] = half_points
    if draw(chance(30)):
        flute["run_out_mm"] = draw(number(0.3, 3)) * size
    return flute


@st.composite
def wheels(draw: st.DrawFn, size: float) -> Table:
    width = draw(number(2, 5)) * size
    wheel: Table = {"width_mm": width}
    if draw(chance(50)):
        wheel["corner_radius_mm"] = draw(st.sampled_from([0.0, 0.01, 0.1, 0.3])) * size
    kind = draw(st.sampled_from(["usual"] * 8 + ["small", "large", "huge", "belt", "belt"]))
    if kind == "belt":
        return wheel | {"kind": "belt"}
    low, high = {"usual": (100, 300), "small": (10, 60), "large": (1e3, 1e5), "huge": (1e6, 1e8)}[kind]
    wheel["diameter_mm"] = draw(logarithmic(low, high))
    if draw(chance(20)):
        wheel |= {"rpm": draw(number(50, 3500)), "rated_m_s": draw(number(10, 100))}
    return wheel


def _distance(draw: st.DrawFn, jig: Table, wheel: Table, size: float, angle: float) -> Table:
    """The nose angle itself, or the rim or centre distance that goes with it, by the law of cosines on a rough nose."""
    way = draw(st.sampled_from(["nose_angle_deg"] * 3 + ["rim_distance_mm", "centre_distance_mm"]))
    if way == "nose_angle_deg" or jig["kind"] == "table":
        return {"nose_angle_deg": angle}
    drop = jig["hinge_drop_mm"] + {"axis": 0.0, "below": size / 2, "above": -size / 4, "vee": size / 2}[jig["clamp"]]
    along, above = jig["projection_mm"] + jig["hinge_back_mm"], drop
    if jig["kind"] == "foot":
        cant = math.radians(jig["arm_cant_deg"])
        along, above = along + jig["arm_length_mm"] * math.cos(cant), above + jig["arm_length_mm"] * math.sin(cant)
    else:
        above += jig["shoe_mm"]
    reach = math.hypot(along, above)
    sine = reach * math.sin(math.radians(angle) - math.atan2(above, along))
    if "diameter_mm" not in wheel:
        return {"rim_distance_mm": sine}
    radius = wheel["diameter_mm"] / 2
    centre = math.sqrt(max(radius**2 + reach**2 + 2 * radius * sine, 1.0))
    return {way: centre - (radius if way == "rim_distance_mm" else 0.0)}


@st.composite
def jigs(draw: st.DrawFn, size: float, wheel: Table, angle: float) -> Table:
    kind = draw(st.sampled_from(["foot", "foot", "foot", "rod", "rod", "table"]))
    if kind == "table":
        return {"kind": "table", "nose_angle_deg": angle} | (
            {"projection_mm": draw(number(20, 120))} if draw(st.booleans()) else {}
        )
    clamp = draw(st.sampled_from(["axis", "axis", "below", "above", "vee"]))
    jig: Table = {
        "kind": kind,
        "projection_mm": draw(number(40, 90)),
        "hinge_back_mm": draw(number(0, 30)),
        "hinge_drop_mm": draw(number(-2, 15)),
        "clamp": clamp,
        "height_mm": draw(number(-1, 0.5)) * min(wheel.get("diameter_mm", 200.0), 300.0) / 2,
    }
    if clamp == "vee":
        jig["vee_deg"] = draw(number(60, 120))
    if kind == "foot":
        jig |= {"arm_length_mm": draw(number(50, 200)), "arm_cant_deg": draw(number(20, 60))}
    else:
        jig |= {"hinge_cant_deg": draw(number(5, 50)), "shoe_mm": draw(number(10, 60))}
        jig["rod_diameter_mm"] = draw(number(3, 20))
    return jig | _distance(draw, jig, wheel, size, angle)


@st.composite
def grind_lists(draw: st.DrawFn, size: float, wheel: Table, jig: Table, angle: float) -> list[Table]:
    steady = jig["kind"] != "foot" and draw(st.booleans())
    first: Table
    if steady:
        first = {"path": "steady", "roll_max_deg": draw(number(50, 180))}
    else:
        first = {"wing_length_mm": draw(number(0.2, 1.2)) * size * (0.3 if jig["kind"] == "table" else 1.0)}
        if draw(chance(50)):
            first["shoulder"] = draw(number(0.3, 1))
        if draw(chance(30)):
            first["fullness"] = draw(number(0.2, 0.7))
        if draw(chance(20)):
            first["contact_mm"] = draw(number(-0.3, 0.3)) * wheel["width_mm"]
    if draw(chance(10)):
        first |= _distance(draw, {"clamp": "axis"} | jig, wheel, size, angle)
    grinds = [first]
    for _ in range(draw(st.sampled_from([0] * 6 + [1] * 4 + [2]))):
        angle *= draw(number(0.6, 0.95))
        more = {"land_mm": draw(number(0.02, 0.4)) * size} | _distance(
            draw, {"clamp": "axis"} | jig, wheel, size, angle
        )
        if draw(chance(15)):
            more["wheel"] = draw(wheels(size))
        if draw(chance(15)) and not steady:
            more["wing_length_mm"] = first["wing_length_mm"] * draw(number(0.8, 1.3))
        if draw(chance(10)) and jig["kind"] != "table":
            more["projection_mm"] = jig["projection_mm"] * draw(number(0.9, 1.0))
        grinds.append(more)
    return grinds


@st.composite
def plain(draw: st.DrawFn) -> Table:
    """A recipe such as a workshop may have; not each can be ground."""
    size = draw(number(5, 20))
    bar = draw(bars(size))
    table: Table = {"bar": bar, "flute": draw(flutes(size, bar["length_mm"]))}

    def machine() -> Table:
        angle, wheel = draw(number(25, 65)), draw(wheels(size))
        jig = draw(jigs(size, wheel, angle))
        return {"wheel": wheel, "jig": jig, "grind": draw(grind_lists(size, wheel, jig, angle))}

    table |= machine()
    if draw(chance(12)):
        shift = draw(st.sampled_from(["machine", "angle", "wing"]))
        older: Table = table | (machine() if shift == "machine" else {})
        if shift == "angle" and "nose_angle_deg" in older["jig"]:
            older["jig"] = older["jig"] | {"nose_angle_deg": older["jig"]["nose_angle_deg"] * draw(number(0.8, 1.2))}
        if shift == "wing" and "wing_length_mm" in older["grind"][0]:
            wing = older["grind"][0]["wing_length_mm"] * draw(number(0.7, 1.2))
            older["grind"] = [older["grind"][0] | {"wing_length_mm": wing}, *older["grind"][1:]]
        if draw(st.booleans()):
            older["bar"] = bar | {"length_mm": bar["length_mm"] + draw(number(0, 20))}
        table["older"] = older
    if draw(chance(12)):
        table["handle"] = draw(
            st.sampled_from(["turner-300", {"handle_length_mm": 180.0, "hand_mm": 150.0}, {"tang_mm": 0.0}])
        )
    if draw(chance(5)):
        table["title"] = draw(st.text(max_size=40))
    return table


def leaves(value: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The ways to all numbers of a table, points included."""
    if isinstance(value, dict):
        return [found for key, one in value.items() for found in leaves(one, (*way, key))]
    if isinstance(value, list):
        return [found for i, one in enumerate(value) for found in leaves(one, (*way, i))]
    return [way] if isinstance(value, int | float) and not isinstance(value, bool) else []


def field_of(way: tuple[Any, ...]) -> str:
    return next(str(step) for step in reversed(way) if isinstance(step, str))


def at(table: Any, way: tuple[Any, ...]) -> Any:
    for step in way:
        table = table[step]
    return table


def put(value: Any, way: tuple[Any, ...], new: Any) -> Any:
    """A copy of a table with the value there changed."""
    if not way:
        return new
    if isinstance(value, dict):
        return value | {way[0]: put(value[way[0]], way[1:], new)}
    return [*value[: way[0]], put(value[way[0]], way[1:], new), *value[way[0] + 1 :]]


@st.composite
def scaled(draw: st.DrawFn) -> Table:
    """A plain recipe with every length multiplied: a tool for a needle, or for a mast."""
    table = draw(plain())
    by = draw(logarithmic(1e-3, 12.0))
    table["wheel"].setdefault("corner_radius_mm", 1.0)
    for way in leaves(table):
        if field_of(way).endswith("_mm"):
            table = put(table, way, at(table, way) * by)
    return table


@st.composite
def nasty(draw: st.DrawFn) -> Table:
    """A plain recipe with one to three numbers that are at the end of what is allowed, or beyond it."""
    table = draw(plain())
    for _ in range(draw(st.sampled_from([1, 1, 1, 2, 3]))):
        # Not one number among all, or it would mostly be a point's.
        ways = {way[:2] if field_of(way) == "points_mm" else way: way for way in leaves(table)}
        way = draw(st.sampled_from(sorted(ways.values(), key=str)))
        if field_of(way) == "points_mm":
            whole = [w for w in leaves(table) if w[: len(way) - 2] == way[: len(way) - 2]]
            way = draw(st.sampled_from(whole))
        value = at(table, way)
        if not abs(value) <= 1e9:  # made nasty before
            continue
        low, high = LIMITS.get(field_of(way), (-200.0, 200.0))
        near = [low, high, math.nextafter(low, math.inf), math.nextafter(high, -math.inf)]
        near += [low + 1e-9, low + 1e-3, high - 1e-9, value * 1e-3, value * 0.1, value * 3, value * 10, value * 1e3]
        near += [value * (1 + 1e-12), round(value), round(value, 1)]
        beyond = [math.nextafter(low, -math.inf), math.nextafter(high, math.inf), 0.0, -0.0, -value, math.nan]
        beyond += [math.inf, -math.inf, 5e-324, 1e-300, 1e300, 10**30, 10**400]
        table = put(table, way, draw(st.sampled_from(near) | st.sampled_from(near) | st.sampled_from(beyond)))
    return table


@st.composite
def wild(draw: st.DrawFn) -> Table:
    """A plain recipe with many numbers anywhere within what the reader allows."""
    table = draw(plain())
    share = draw(st.sampled_from([10, 25, 60]))
    for way in leaves(table):
        name = field_of(way)
        if name == "points_mm" or not draw(chance(share)):
            continue
        low, high = LIMITS[name]
        new = draw(number(low, high) | logarithmic(max(low, 1e-3), high))
        table = put(table, way, new)
    return table


def tables() -> st.SearchStrategy[Table]:
    """Recipes in all four moods, the plain one most."""
    moods = [plain()] * 10 + [scaled()] * 2 + [nasty()] * 3 + [wild()]
    return st.integers(0, len(moods) - 1).flatmap(lambda i: moods[i])
