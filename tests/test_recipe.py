"""Recipes: what is accepted, what is inherited, and one table of all that is refused and how it is said."""

from __future__ import annotations

import contextlib
import math
import pickle
import tomllib
from copy import deepcopy
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gougeform.bar.outlines.round import RoundBar
from gougeform.errors import InputError
from gougeform.machine.jigs.foot import FootJig
from gougeform.machine.jigs.rod import RodJig
from gougeform.machine.jigs.table import TableJig
from gougeform.machine.paths.steady import SteadyPath
from gougeform.machine.paths.traced import TracedPath
from gougeform.read.writing import toml_text
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table, load
from gougeform.recipe.write import to_toml

PLAIN = """
title = "Worked"
[bar]
outline = "round"
diameter_mm = 10.0
length_mm = 150.0
[flute]
shape = "arc"
radius_mm = 4.0
web_mm = 6.5
length_mm = 60.0
[wheel]
diameter_mm = 200.0
width_mm = 40.0
[jig]
kind = "foot"
projection_mm = 65.0
hinge_back_mm = 15.0
hinge_drop_mm = 8.0
arm_length_mm = 90.0
arm_cant_deg = 40.0
height_mm = -130.0
nose_angle_deg = 35.0
[[grind]]
path = "traced"
wing_length_mm = 10.0
"""
RELIEF = """
[[grind]]
nose_angle_deg = 25.0
land_mm = 2.5
"""
ROD = {
    "kind": "rod",
    "projection_mm": 65,
    "hinge_back_mm": 15,
    "hinge_drop_mm": 8,
    "hinge_cant_deg": 35,
    "shoe_mm": 30,
    "rod_diameter_mm": 12,
    "nose_angle_deg": 35,
}
GONE = object()


def table(**edits: object) -> dict:
    """The plain recipe's table with fields set by dotted name (`__` for a dot), GONE to remove one."""
    made = tomllib.loads(PLAIN + (RELIEF if edits.pop("relief", False) else ""))
    for name, value in edits.items():
        *way, last = name.split("__")
        inside = made
        for step in way:
            inside = inside[int(step) if step.isdigit() else step]
        if value is GONE:
            del inside[last]
        elif isinstance(inside, list):
            inside[int(last)] = value
        else:
            inside[last] = value
    return made


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def refusal(*args: object, **edits: object) -> InputError:
    with pytest.raises(InputError) as caught:
        from_table(table(**edits), source="shop/mine.toml")
    return caught.value


# --- what is accepted ---------------------------------------------------------------------------------------


def test_reads_a_file_with_defaults(tmp_path):
    recipe = load(write(tmp_path, "mine.toml", PLAIN))
    assert recipe.title == "Worked"
    assert recipe.name == "mine"
    assert recipe.source == str(tmp_path / "mine.toml")
    assert recipe.bar.steel.name == "hss"
    assert recipe.bar.steel.density_g_cm3 == 8.15
    assert recipe.flute.run_out_mm is None
    assert (recipe.wheel.kind, recipe.wheel.corner_radius_mm, recipe.wheel.radius_mm) == ("wheel", 1.0, 100.0)
    assert recipe.older is None
    (only,) = recipe.grinds
    assert only.jig == recipe.jig
    assert isinstance(only.jig, FootJig)
    assert (only.jig.clamp, only.jig.height_mm, only.jig.nose_angle_deg) == ("axis", -130.0, 35.0)
    assert only.path == TracedPath(wing_length_mm=10.0, fullness=math.sqrt(2) - 1, shoulder=0.8, contact_mm=0.0)
    assert only.land_mm is None


def test_whole_numbers_are_numbers():
    recipe = from_table(table(bar__diameter_mm=10, flute__radius_mm=4))
    assert recipe == from_table(table())
    assert isinstance(recipe.bar.diameter_mm, float)


def test_path_defaults_to_traced():
    assert from_table(table(grind__0__path=GONE)) == from_table(table())


def test_a_byte_order_mark_is_read_over(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + PLAIN.replace("\n", "\r\n").encode())
    assert load(path) == from_table(table())


@pytest.mark.parametrize(
    "bar",
    [
        {"outline": "square", "side_mm": 10, "length_mm": 150},
        {"outline": "square", "side_mm": 10, "corner_radius_mm": 5, "length_mm": 150},
        {"outline": "points", "points_mm": [[5, -5], [5, 5], [-5, 5], [-5, -5]], "length_mm": 150},
    ],
)
def test_bars(bar):
    assert from_table(table(bar=bar)).bar.outline == bar["outline"]


@pytest.mark.parametrize(
    "flute",
    [
        {"shape": "parabola", "floor_radius_mm": 2, "web_mm": 4},
        {"shape": "ellipse", "floor_radius_mm": 2, "half_width_mm": 3, "web_mm": 4, "run_out_mm": 12},
        {"shape": "vee", "floor_radius_mm": 1, "flank_angle_deg": 25, "web_mm": 4},
        {"shape": "points", "points_mm": [[0, 1.5], [2, 2], [4, 4.5]]},
        {"shape": "points", "points_mm": [[0, 1.5], [2, 2], [4, 4.5]], "web_mm": 6},
    ],
)
def test_flutes(flute):
    assert from_table(table(flute=flute | {"length_mm": 60})).flute.shape == flute["shape"]


def test_clamp_in_a_vee():
    assert from_table(table(jig__clamp="vee", jig__vee_deg=90)).jig.vee_deg == 90


def test_belt_and_speed():
    belt = from_table(table(wheel={"kind": "belt", "width_mm": 50})).wheel
    assert belt.diameter_mm is None
    assert belt.radius_mm == math.inf
    assert belt.speed_m_s is None
    wheel = from_table(table(wheel__rpm=1425)).wheel
    assert wheel.speed_m_s == pytest.approx(math.pi * 0.2 * 1425 / 60)


def test_table_and_steady_path():
    recipe = from_table(
        table(
            jig={"kind": "table", "nose_angle_deg": 40},
            grind=[{"path": "steady", "roll_max_deg": 180}],
        )
    )
    assert recipe.jig == TableJig(projection_mm=65.0, nose_angle_deg=40)
    assert recipe.grinds[0].path == SteadyPath(roll_max_deg=180)


# --- what a grind inherits ----------------------------------------------------------------------------------


def test_a_relief_inherits_and_replaces_the_distance():
    first, relief = from_table(
        table(
            relief=True,
            grind__0__fullness=0.5,
            jig__nose_angle_deg=GONE,
            jig__rim_distance_mm=106.8,
            grind__1__shoulder=0.9,
            grind__1__projection_mm=64,
        )
    ).grinds
    assert (first.jig.rim_distance_mm, first.jig.nose_angle_deg) == (106.8, None)
    assert (relief.jig.rim_distance_mm, relief.jig.nose_angle_deg) == (None, 25.0)
    assert (relief.path.fullness, relief.path.shoulder, relief.path.wing_length_mm) == (0.5, 0.9, 10.0)
    assert (relief.jig.projection_mm, first.jig.projection_mm, relief.jig.arm_length_mm) == (64, 65, 90)
    assert relief.land_mm == 2.5


def test_the_first_grind_overrides_the_jig_for_all():
    recipe = from_table(
        table(relief=True, jig__nose_angle_deg=GONE, grind__0__nose_angle_deg=33, grind__0__arm_cant_deg=38)
    )
    assert [grind.jig.nose_angle_deg for grind in recipe.grinds] == [33, 25]
    assert [grind.jig.arm_cant_deg for grind in recipe.grinds] == [38, 38]
    assert recipe.grinds[0].jig.nose_angle_deg == 33


def test_a_third_grind_inherits_from_the_first():
    third = {"land_mm": 4}
    grinds = [{"wing_length_mm": 9}, {"nose_angle_deg": 25, "shoulder": 0.9, "land_mm": 2}, third]
    recipe = from_table(table(grind=grinds))
    assert recipe.grinds[2].jig == recipe.grinds[0].jig
    assert recipe.grinds[2].path == recipe.grinds[0].path


def test_a_relief_on_another_machine():
    relief = {"land_mm": 2, "wheel": {"kind": "belt", "width_mm": 50}}
    recipe = from_table(table(grind=[{"wing_length_mm": 10}, relief]))
    assert recipe.grinds[0].wheel == recipe.wheel
    assert recipe.grinds[1].wheel.kind == "belt"
    relief = {"kind": "table", "path": "steady", "roll_max_deg": 60, "land_mm": 2}
    recipe = from_table(table(grind=[{"wing_length_mm": 10}, relief]))
    assert recipe.grinds[1].jig == TableJig(projection_mm=65, nose_angle_deg=35)
    assert recipe.grinds[1].path == SteadyPath(roll_max_deg=60)


def test_the_first_grinds_wheel_is_inherited():
    grinds = [{"wing_length_mm": 10, "wheel": "wheel-150"}, {"land_mm": 2}]
    recipe = from_table(table(grind=grinds))
    assert [grind.wheel.diameter_mm for grind in recipe.grinds] == [150, 150]
    assert recipe.wheel.diameter_mm == 200


# --- what is refused ----------------------------------------------------------------------------------------

LONG = [[0.0, 0.0]] * 5001
DISTANCES = "nose_angle_deg, centre_distance_mm, rim_distance_mm"
SQUARE = {"outline": "square", "side_mm": 10, "length_mm": 150}
POINTS = {"outline": "points", "points_mm": [[5, -5], [5, 5], [-5, 5]], "length_mm": 150}

BAD = [
    # edits, field, parts of the message
    ({"tool": 1}, "tool", ["is not a field of a recipe", "title, bar, flute, wheel, jig, grind, older"]),
    ({"grinds": []}, "grinds", ["did you mean grind?", "Allowed are title, bar"]),
    ({"title": 5}, "title", ["given 5", "a text of at most 200 characters"]),
    ({"title": "x" * 201}, "title", ["at most 200 characters"]),
    ({"bar": GONE}, "bar", ["is missing", 'add a [bar] table, or bar = "name"', "gougeform profiles"]),
    ({"jig": GONE}, "jig", ["is missing", "add a [jig] table"]),
    ({"bar": 5}, "bar", ["given 5", "allowed is a table, or a name or path in quotation marks"]),
    ({"bar": [1, 2]}, "bar", ["given [1, 2]", "allowed is a table"]),
    (
        {"bar": "rond-10"},
        "bar",
        ['given "rond-10"', "library's bars", 'Did you mean "round-10"?', "profiles"],
    ),
    ({"bar": ""}, "bar", ['given ""', "not in the library's bars"]),
    ({"bar": "../bars"}, "bar", ["there is no such file"]),
    ({"bar": "nowhere.toml"}, "bar", ["shop/nowhere.toml: bar: there is no such file", "Check the name"]),
    ({"bar": "a\0b.toml"}, "bar", ["no usable path"]),
    ({"bar": "~nobody-here/b.toml"}, "bar", ["write the whole path"]),
    ({"bar": {"from": 3}}, "bar.from", ["given 3", "a name or path in quotation marks"]),
    ({"bar": {"from": "round-11"}}, "bar.from", ['given "round-11"', 'Did you mean "round-1']),
    ({"bar": {"outline": "oval"}}, "bar.outline", ['given "oval"', '"round", "square", "points"']),
    ({"bar__outline": "rond"}, "bar.outline", ['given "rond"', 'Did you mean "round"']),
    ({"bar__outline": 3}, "bar.outline", ["given 3", 'allowed is one of "round"']),
    ({"bar__outline": GONE}, "bar.outline", ["is missing", '"square"', "Add outline to say which bar it is"]),
    ({"bar": {"shape": "round"}}, "bar.outline", ["is missing", '"shape" is not a field of it']),
    ({"bar__diametre_mm": 3}, "bar.diametre_mm", ["not a field of a round bar", "did you mean diameter_mm"]),
    ({"bar__web_mm": 3}, "bar.web_mm", ["Allowed are length_mm, steel, outline, diameter_mm"]),
    ({"bar__zz\n": 3}, "bar.zz?", ["is not a field"]),
    (
        {"bar__diameter_mm": GONE},
        "bar.diameter_mm",
        ["is missing", "a number above 0 and at most 200 mm", "Add diameter_mm: diameter of the bar in mm"],
    ),
    (
        {"bar__diameter_mm": -10},
        "bar.diameter_mm",
        ["given -10", "above 0 and at most 200 mm", "Change diam"],
    ),
    ({"bar__diameter_mm": 0}, "bar.diameter_mm", ["given 0,", "a number above 0"]),
    ({"bar__diameter_mm": 201}, "bar.diameter_mm", ["given 201", "at most 200 mm"]),
    ({"bar__diameter_mm": math.nan}, "bar.diameter_mm", ["given nan", "a number above 0"]),
    ({"bar__diameter_mm": math.inf}, "bar.diameter_mm", ["given inf", "a number above 0"]),
    ({"bar__diameter_mm": True}, "bar.diameter_mm", ["given true", "a number above 0"]),
    ({"bar__diameter_mm": "10"}, "bar.diameter_mm", ['given "10"', "as a number without quotation marks"]),
    ({"bar__diameter_mm": 10**400}, "bar.diameter_mm", ["given a whole number of more than 15 digits"]),
    ({"bar__diameter_mm": [10]}, "bar.diameter_mm", ["given [10]"]),
    ({"bar__diameter_mm": {"a": 1}}, "bar.diameter_mm", ["given a table"]),
    ({"bar__diameter_mm": None}, "bar.diameter_mm", ["given None"]),
    ({"bar__length_mm": 3001}, "bar.length_mm", ["given 3001", "at most 3000 mm"]),
    ({"bar__steel": "his"}, "bar.steel", ["library's steels", 'Did you mean "hss"']),
    ({"bar__steel": 7.8}, "bar.steel", ["given 7.8", "allowed is a table"]),
    ({"bar__steel": {"young_gpa": 210}}, "bar.steel.density_g_cm3", ["at most 25 g/cm³", "is missing"]),
    (
        {"bar__steel": {"young_gpa": -1, "density_g_cm3": 8}},
        "bar.steel.young_gpa",
        ["given -1", "above 0 and at most 1000 GPa"],
    ),
    (
        {"bar__steel": {"young_gpa": 210, "density_g_cm3": 8, "poisson": 0.5}},
        "bar.steel.poisson",
        ["given 0.5", "above 0 and below 0.5"],
    ),
    (
        {"bar__steel": {"young_gpa": 210, "density_g_cm3": 8, "name": 5}},
        "bar.steel.name",
        ["given 5", "a text of at most 200 characters"],
    ),
    (
        {"bar": SQUARE | {"corner_radius_mm": 5.1}},
        "bar.corner_radius_mm",
        ["half of side_mm = 10, that is 5"],
    ),
    ({"bar": SQUARE | {"corner_radius_mm": -1}}, "bar.corner_radius_mm", ["given -1", "at least 0"]),
    (
        {"bar": POINTS | {"points_mm": [[0, 0], [1, 1]]}},
        "bar.points_mm",
        ["given 2 points", "3 to 5000 pairs"],
    ),
    ({"bar": POINTS | {"points_mm": LONG}}, "bar.points_mm", ["given 5001 points", "3 to 5000 pairs"]),
    ({"bar": POINTS | {"points_mm": 4}}, "bar.points_mm", ["given 4", "a list of 3 to 5000 pairs"]),
    ({"bar": POINTS | {"points_mm": []}}, "bar.points_mm", ["given []", "a list of 3 to 5000 pairs"]),
    (
        {"bar": POINTS | {"points_mm": [[0, 0], [1], [2, 2]]}},
        "bar.points_mm.1",
        ["given [1]", "a pair [x, y]", "Correct point 2"],
    ),
    ({"bar": POINTS | {"points_mm": [[0, 0], [1, 2], [2, 2, 3]]}}, "bar.points_mm.2", ["given [2, 2, 3]"]),
    ({"bar": POINTS | {"points_mm": [[0, 0], [1, 2], 7]}}, "bar.points_mm.2", ["given 7", "a pair [x, y]"]),
    ({"bar": POINTS | {"points_mm": [[0, 0], [1, "2"], [2, 3]]}}, "bar.points_mm.1", ['given [1, "2"]']),
    ({"bar": POINTS | {"points_mm": [[0, 0], [1, 201], [2, 3]]}}, "bar.points_mm.1", ["-200 to 200 mm"]),
    ({"bar": POINTS | {"points_mm": [[0, math.nan], [1, 1], [2, 3]]}}, "bar.points_mm.0", ["given [0, nan]"]),
    ({"flute__shape": "arch"}, "flute.shape", ['given "arch"', '"parabola"', 'Did you mean "arc"']),
    ({"flute__radius_mm": GONE}, "flute.radius_mm", ["is missing", "at most 1000 mm"]),
    ({"flute__floor_radius_mm": 2}, "flute.floor_radius_mm", ["is not a field of an arc flute"]),
    ({"flute__web_mm": 0}, "flute.web_mm", ["given 0", "straight down to the underside"]),
    (
        {"flute__length_mm": 151},
        "flute.length_mm",
        ["given 151", "at most bar.length_mm = 150 mm", "shorter"],
    ),
    ({"flute__run_out_mm": -1}, "flute.run_out_mm", ["given -1", "above 0 and at most 3000 mm"]),
    (
        {
            "flute": {
                "shape": "vee",
                "floor_radius_mm": 1,
                "flank_angle_deg": 90,
                "web_mm": 4,
                "length_mm": 60,
            }
        },
        "flute.flank_angle_deg",
        ["given 90", "above 0 and below 90 degrees"],
    ),
    ({"wheel__kind": "disc"}, "wheel.kind", ['given "disc"', '"wheel", "belt"']),
    (
        {"wheel__diameter_mm": GONE},
        "wheel.diameter_mm",
        ["is missing", 'Add diameter_mm, or say kind = "belt"'],
    ),
    (
        {"wheel__kind": "belt"},
        "wheel.diameter_mm",
        ["given 200", "not allowed for a belt", "Remove diameter_mm"],
    ),
    ({"wheel__diameter_mm": 1.1e8}, "wheel.diameter_mm", ["given 110000000.0", "at most 100000000 mm"]),
    ({"wheel__width_mm": GONE}, "wheel.width_mm", ["is missing", "width of the face in mm"]),
    ({"wheel__corner_radius_mm": 21}, "wheel.corner_radius_mm", ["half of width_mm = 40, that is 20 mm"]),
    ({"wheel__width_mm": 1.5}, "wheel.corner_radius_mm", ["given 1,", "width_mm = 1.5"]),
    ({"wheel__rpm": -3}, "wheel.rpm", ["given -3", "turns a minute"]),
    ({"wheel__rated_m_s": "fast"}, "wheel.rated_m_s", ['given "fast"', "at most 1000 m/s"]),
    ({"jig__kind": "feet"}, "jig.kind", ['given "feet"', '"foot", "rod", "table"', 'Did you mean "foot"']),
    (
        {"jig": {"kind": "foot", "arm_length_mm": 80.0}},
        "jig.projection_mm",
        ["is missing", "Also missing: ", "arm_cant_deg (", "hinge_back_mm (", "hinge_drop_mm ("],
    ),
    ({"jig__kind": GONE}, "jig.kind", ["is missing", "Add kind to say which jig it is"]),
    ({"jig__projection_mm": -65}, "jig.projection_mm", ["given -65", "above 0 and at most 1000 mm"]),
    (
        {"jig__projection_mm": 150},
        "jig.projection_mm",
        ["given 150", "only bar.length_mm = 150 mm of steel ahead of the ferrule", "a longer bar"],
    ),
    ({"grind__0__projection_mm": 170}, "grind.0.projection_mm", ["given 170", "ahead of the ferrule"]),
    ({"relief": True, "grind__1__projection_mm": 170}, "grind.1.projection_mm", ["given 170", "ahead of the ferrule"]),
    ({"jig": ROD | {"projection_mm": 151}}, "jig.projection_mm", ["given 151", "ahead of the ferrule"]),
    ({"older": table(jig__projection_mm=151)}, "older.jig.projection_mm", ["ahead of the ferrule"]),
    # What looks like inches is said beside the fault it causes in another field.
    ({"bar__diameter_mm": 0.375, "jig__projection_mm": 200}, "jig.projection_mm", ["if it is inches write 9.525"]),
    (
        {"wheel__diameter_mm": 7, "wheel__width_mm": 1},
        "wheel.corner_radius_mm",
        ["wheel.diameter_mm is 7 mm, which is very small; if it is inches write 177.8"],
    ),
    ({"jig__hinge_back_mm": -1}, "jig.hinge_back_mm", ["given -1", "at least 0 and at most 1000 mm"]),
    ({"jig__arm_cant_deg": 90}, "jig.arm_cant_deg", ["given 90", "above -90 and below 90 degrees"]),
    ({"jig__shoe_mm": 3}, "jig.shoe_mm", ["is not a field of a foot jig", "arm_length_mm"]),
    ({"jig": ROD | {"shoe_mm": 0}}, "jig.shoe_mm", ["given 0", "hinge point to the rod's centre"]),
    ({"jig__clamp": "side"}, "jig.clamp", ['given "side"', '"axis", "below", "above", "vee"']),
    ({"jig__clamp": "vee"}, "jig.vee_deg", ["is missing", "above 0 and below 180 degrees"]),
    ({"jig__vee_deg": 90}, "jig.vee_deg", ["given 90", 'only with clamp = "vee"', 'here clamp is "axis"']),
    ({"jig__clamp": "vee", "jig__vee_deg": 180}, "jig.vee_deg", ["given 180", "below 180 degrees"]),
    (
        {"jig__nose_angle_deg": GONE},
        "jig.nose_angle_deg",
        ["no distance is given", DISTANCES, "Add one of them"],
    ),
    (
        {"jig__rim_distance_mm": 100},
        "jig.rim_distance_mm",
        ["nose_angle_deg and rim_distance_mm are given", f"exactly one of {DISTANCES}", "remove the others"],
    ),
    ({"jig__nose_angle_deg": 0.5}, "jig.nose_angle_deg", ["given 0.5", "at least 1 and at most 179 degrees"]),
    ({"jig__nose_angle_deg": 180}, "jig.nose_angle_deg", ["given 180", "at most 179 degrees"]),
    ({"jig": {"kind": "table"}}, "jig.nose_angle_deg", ["is missing", "the table is tilted for"]),
    (
        {"jig": {"kind": "table", "rim_distance_mm": 100}},
        "jig.rim_distance_mm",
        ["given 100", "not allowed for a table, which is set by its tilt", "Give nose_angle_deg instead"],
    ),
    (
        {"jig": {"kind": "table", "nose_angle_deg": 40, "hinge_back_mm": 1}},
        "jig.hinge_back_mm",
        ["of a table"],
    ),
    ({"jig__projection_mm": 0, "grind__0__projection_mm": 65}, "jig.projection_mm", ["given 0"]),
    ({"grind": GONE}, "grind", ["is missing, at least one is needed", "Add a [[grind]] table"]),
    ({"grind": []}, "grind", ["is missing"]),
    ({"grind": {"wing_length_mm": 10}}, "grind", ["given one table", "write [[grind]] with two brackets"]),
    ({"grind": 5}, "grind", ["given 5", "1 to 20 tables"]),
    ({"grind": [{}] * 21}, "grind", ["given 21 grinds", "1 to 20 tables"]),
    ({"grind": [5]}, "grind.0", ["given 5", "allowed is a table"]),
    ({"grind": ["fingrnail"]}, "grind.0", ["library's grinds", 'Did you mean "fingernail"']),
    ({"grind__0__path": "trace"}, "grind.0.path", ['given "trace"', 'Did you mean "traced"']),
    (
        {"grind__0__path": "steady"},
        "grind.0.wing_length_mm",
        ["is not a field of a steady path", "roll_max_deg"],
    ),
    ({"grind__0__fullness": 1 - 1e-16}, "grind.0.fullness", ["next to 1, a corner", "allowed is 0.999 or less"]),
    ({"grind__0__wing_length_mm": GONE}, "grind.0.wing_length_mm", ["is missing", "at most 200 mm"]),
    ({"grind__0__fullness": 1}, "grind.0.fullness", ["given 1", "above 0 and below 1"]),
    ({"grind__0__shoulder": 1.1}, "grind.0.shoulder", ["given 1.1", "above 0 and at most 1"]),
    ({"grind__0__roll_max_deg": 20}, "grind.0.roll_max_deg", ["is not a field of a traced path"]),
    (
        {"grind__0__wing_lenght_mm": 20},
        "grind.0.wing_lenght_mm",
        ["did you mean wing_length_mm", "arm_cant_deg"],
    ),
    ({"grind__0__shoe_mm": 20}, "grind.0.shoe_mm", ["is not a field of a foot jig"]),
    ({"grind__0__arm_length_mm": -5}, "grind.0.arm_length_mm", ["given -5"]),
    ({"grind__0__land_mm": 2}, "grind.0.land_mm", ["given 2", "not allowed in the first grind", "Remove it"]),
    ({"grind__0__contact_mm": 19.5}, "grind.0.contact_mm", ["from -19 to 19 mm", "toward the middle"]),
    ({"grind__0__wheel": "whel-150"}, "grind.0.wheel", ["library's wheels", 'Did you mean "wheel-150"']),
    ({"grind__0__wheel": {"width_mm": 9}}, "grind.0.wheel.diameter_mm", ["is missing"]),
    (
        {"grind": [{"path": "steady", "roll_max_deg": 90}]},
        "grind.0.path",
        [
            'given "steady"',
            "not possible with a foot jig",
            'Write path = "traced" (the library has "plain-traced" for a foot jig), or use a rod jig or a table',
        ],
    ),
    (
        {"jig": ROD, "grind": [{"path": "steady", "roll_max_deg": 181}]},
        "grind.0.roll_max_deg",
        ["given 181", "at most 180 degrees"],
    ),
    (
        {"grind__0__rim_distance_mm": 100, "grind__0__nose_angle_deg": 30},
        "grind.0.rim_distance_mm",
        ["nose_angle_deg and rim_distance_mm are given", "exactly one"],
    ),
    (
        {
            "wheel": {"kind": "belt", "width_mm": 50},
            "jig__nose_angle_deg": GONE,
            "jig__centre_distance_mm": 200,
        },
        "jig.centre_distance_mm",
        ["given 200", "a belt, which has no centre", "Give rim_distance_mm or nose_angle_deg"],
    ),
    (
        {"relief": True, "grind__1__land_mm": GONE},
        "grind.1.land_mm",
        ["a later grind is a relief", "`older`"],
    ),
    ({"relief": True, "grind__1__land_mm": 0}, "grind.1.land_mm", ["given 0", "above 0 and at most 200 mm"]),
    ({"relief": True, "grind__1__land_mm": True}, "grind.1.land_mm", ["given true"]),
    ({"relief": True, "grind__1__land_mm": math.nan}, "grind.1.land_mm", ["given nan"]),
    ({"relief": True, "grind__1__land_mm": "2"}, "grind.1.land_mm", ['given "2"']),
    ({"relief": True, "grind__1__nose_angle_deg": 200}, "grind.1.nose_angle_deg", ["given 200"]),
    ({"relief": True, "grind__1__wings_mm": 2}, "grind.1.wings_mm", ["is not a field of a grind", "land_mm"]),
    ({"relief": True, "grind__1__path": "steady"}, "grind.1.roll_max_deg", ["is missing"]),
    ({"relief": True, "grind__1__kind": "rod"}, "grind.1.hinge_cant_deg", ["is missing"]),
    ({"older": 5}, "older", ["given 5", "the name or path of a recipe"]),
    ({"older": "gone"}, "older", ["library's recipes"]),
    ({"older": {"bar": 3}}, "older.bar", ["given 3"]),
    (
        {"older": table(bar__diameter_mm=12)},
        "older",
        ["bar.diameter_mm is 12.0", "10.0", "but for length_mm"],
    ),
    (
        {"older": table(flute__shape="parabola", flute__radius_mm=GONE, flute__floor_radius_mm=4)},
        "older",
        ["flute."],
    ),
]


@pytest.mark.parametrize(("edits", "field", "parts"), BAD, ids=[f"{i}-{row[1]}" for i, row in enumerate(BAD)])
def test_refused(edits, field, parts):
    error = refusal(**edits)
    text = str(error)
    assert error.field == field
    assert error.file.startswith("shop/")
    assert text.startswith(f"{error.file}: {field}: ")
    for part in parts:
        assert part.lower() in text.lower()
    assert error.hint, text
    assert len(text) < 600
    assert ".." not in text.replace("shop/../", "")


def test_fingers_at_a_table_may_hold_the_handle():
    jig = {"kind": "table", "nose_angle_deg": 40, "projection_mm": 160}
    assert from_table(table(jig=jig)).jig.projection_mm == 160
    assert from_table(table(jig__projection_mm=149.9)).jig.projection_mm == 149.9


@pytest.mark.parametrize(
    ("edits", "hint"),
    [
        ({"bar__diameter_mm": 0.375}, "bar.diameter_mm is 0.375 mm, which is very small; if it is inches write 9.525"),
        ({"bar": {"outline": "square", "side_mm": 0.5, "length_mm": 150}}, "write 12.7"),
        ({"wheel__diameter_mm": 7, "wheel__corner_radius_mm": 0.5}, "write 177.8"),
        ({"wheel__diameter_mm": 8}, "wheel.diameter_mm is 8 mm, which is very small; if it is inches write 203.2"),
        ({"grind__0__wheel": {"diameter_mm": 6, "width_mm": 10}}, "grind.0.wheel.diameter_mm is 6 mm"),
    ],
)
def test_what_cannot_be_ground_says_what_looks_like_inches(edits, hint):
    from gougeform.grind.gouge import shape
    from gougeform.measure.measures import measure

    with pytest.raises(InputError) as caught:
        measure(shape(from_table(table(**edits))))
    assert str(caught.value).count(hint) == 1


def test_a_whole_recipe_in_inches_is_noted():
    """Consistent inches grind: every angle is right, every length is not. Only a note can tell."""
    from gougeform.grind.gouge import shape
    from gougeform.measure.measures import measure

    def in_inches(value, name=""):
        if isinstance(value, dict):
            return {key: in_inches(one, key) for key, one in value.items()}
        if isinstance(value, list):
            return [in_inches(one) for one in value]
        return value / 25.4 if name.endswith("_mm") else value

    plain, inches = (from_table(one(table(wheel__corner_radius_mm=1.0))) for one in (lambda t: t, in_inches))
    assert measure(shape(plain)).notes == []
    found = measure(shape(inches))
    assert found.wing_angles[50] == pytest.approx(measure(shape(plain)).wing_angles[50], abs=1e-3)
    assert [note.split(" ")[0] for note in found.notes] == ["bar.diameter_mm", "wheel.diameter_mm"]
    assert "if it is inches write 200." in found.notes[1]


def test_sizes_of_a_workshop_do_not_look_like_inches():
    from gougeform.read.inches import looks_like_inches

    assert looks_like_inches(table(bar__diameter_mm=2.0, wheel__diameter_mm=25.0)) == []
    assert looks_like_inches(table(bar__diameter_mm=1.99)) != []


def test_an_older_chain_has_an_end():
    inner = table()
    for _ in range(25):
        inner = table(older=inner)
    with pytest.raises(InputError, match="more than 20 older tools"):
        from_table(inner)


BAD_FILES = [
    (b"a = \n", ["is not TOML", "line 1, column 5"]),
    (b"[bar]\nx = [1,\n", ["is not TOML", "at the end (line 3, column 1)", "still open"]),
    (b'[bar]\nx = """a\n', ["is not TOML", "at the end (line 3, column 1)"]),
    (b"[bar]\n[bar]\n", ["is not TOML", "line 2"]),
    (b"title = 'a\xff'\n", ["is not UTF-8", "byte 0xff at line 1, column 11", "Save the file as UTF-8"]),
    (b"x = 1\n\xff\xfe", ["line 2, column 1"]),
    (b"# " + b"x" * (1024 * 1024), ["larger than 1 MiB"]),
    (b"a = " + b"[" * 20000, ["too deeply"]),
    (b"\na = " + b"9" * 5000, ["cannot be read at line 2, column 5"]),
    (b"a" + b".a" * 300000 + b" = 1", ["a key of more than 60 parts at line 1"]),
    (b"", ["bar: is missing"]),
    (b"a = 1979-05-27", ["a: is not a field of a recipe"]),
]


@pytest.mark.parametrize(("data", "parts"), BAD_FILES, ids=range(len(BAD_FILES)))
def test_refused_files(tmp_path, data, parts):
    path = tmp_path / "mine.toml"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        load(path)
    assert caught.value.file == str(path)
    for part in parts:
        assert part in str(caught.value)


def test_refused_places(tmp_path):
    with pytest.raises(InputError, match=r"none\.toml: there is no such file"):
        load(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is a folder"):
        load(tmp_path)
    with pytest.raises(InputError, match="is not a regular file"):
        load("/dev/null")
    with pytest.raises(InputError, match="no usable path"):
        load("a\0b.toml")
    link = tmp_path / "self.toml"
    link.symlink_to(link)
    with pytest.raises(InputError, match=r"there is no such file|no usable path|cannot be read"):
        load(link)
    with pytest.raises(InputError, match=r"cannot be read|no such file|no usable path"):
        load("x" * 5000 + ".toml")


def test_a_date_is_shown_as_one(tmp_path):
    path = write(tmp_path, "mine.toml", PLAIN.replace("diameter_mm = 10.0", "diameter_mm = 2024-01-02"))
    with pytest.raises(InputError, match="given the date 2024-01-02"):
        load(path)


def test_deep_lists_are_refused_in_words():
    deep: list = []
    for _ in range(900):
        deep = [deep]
    assert "[[[[…]]]]" in str(refusal(bar__diameter_mm=deep))


# --- references ---------------------------------------------------------------------------------------------


def test_names_paths_and_from(tmp_path):
    write(tmp_path, "parts/stub.toml", 'title = "Stub"\nfrom = "round-10"\nlength_mm = 70\n')
    own = write(
        tmp_path,
        "mine.toml",
        """
        bar = "parts/stub.toml"
        flute = "detail-round-10"
        wheel = { from = "wheel-200", width_mm = 30, kind = "wheel" }
        jig = { from = "foot-65", rim_distance_mm = 107 }
        [[grind]]
        from = "fingernail"
        shoulder = 0.9
        rim_distance_mm = 108
        """,
    )
    recipe = load(own)
    assert (recipe.bar.diameter_mm, recipe.bar.length_mm) == (10, 70)
    assert (recipe.wheel.diameter_mm, recipe.wheel.width_mm) == (200, 30)
    assert (recipe.grinds[0].jig.rim_distance_mm, recipe.grinds[0].jig.nose_angle_deg) == (108, None)
    assert recipe.grinds[0].path.shoulder == 0.9


def test_another_variant_leaves_the_old_fields_out():
    recipe = from_table(
        table(
            bar={"from": "round-10", "outline": "square", "side_mm": 10},
            wheel={"from": "wheel-200", "kind": "belt"},
            jig={"from": "foot-65-vee", "clamp": "axis", "nose_angle_deg": 35},
        )
    )
    assert recipe.bar.outline == "square"
    assert recipe.wheel.diameter_mm is None
    assert recipe.jig.vee_deg is None


def test_a_fault_is_reported_in_the_file_it_is_in(tmp_path):
    bar = write(tmp_path, "stub.toml", 'outline = "round"\ndiameter_mm = -1\nlength_mm = 70\n')
    write(tmp_path, "steel.toml", "young_gpa = 0\ndensity_g_cm3 = 8\n")
    own = tmp_path / "mine.toml"
    cases = [
        ('bar = "stub.toml"', f"{bar}: bar.diameter_mm: given -1"),
        ('bar = { from = "stub.toml", length_mm = 0, diameter_mm = 10 }', f"{own}: bar.length_mm: given 0"),
        (
            'bar = { from = "round-10", steel = "steel.toml" }',
            f"{tmp_path / 'steel.toml'}: bar.steel.young_gpa",
        ),
        ('bar = "round-10"\njig = "mine.toml"', f"{own}: jig: the files refer to each other in a loop"),
    ]
    rest = 'flute = "detail-round-10"\nwheel = "wheel-200"\n'
    tail = '[jig]\nfrom = "foot-65"\n[[grind]]\nfrom = "fingernail"\n'
    for line, message in cases:
        own.write_text(line + "\n" + rest + ("" if "jig" in line else tail))
        with pytest.raises(InputError) as caught:
            load(own)
        assert str(caught.value).startswith(message)


def test_loops_and_long_chains_are_refused(tmp_path):
    write(tmp_path, "a.toml", 'from = "b.toml"')
    write(tmp_path, "b.toml", 'from = "a.toml"')
    write(tmp_path, "c0.toml", 'from = "round-10"')
    for i in range(1, 40):
        write(tmp_path, f"c{i}.toml", f'from = "c{i - 1}.toml"')
    source = str(tmp_path / "mine.toml")
    with pytest.raises(InputError, match=r"in a loop: a\.toml → b\.toml → a\.toml"):
        from_table(table(bar="a.toml"), source=source)
    with pytest.raises(InputError, match="more than 20 files"):
        from_table(table(bar="c39.toml"), source=source)
    assert from_table(table(bar="c10.toml"), source=source).bar.diameter_mm == 10


def test_older(tmp_path):
    old = write(tmp_path, "old.toml", PLAIN)
    new = write(tmp_path, "new.toml", 'older = "old.toml"\n' + PLAIN.replace("150.0", "147.5"))
    recipe = load(new)
    assert recipe.older == load(old)
    assert recipe.older.name == "old"
    write(tmp_path, "old.toml", 'older = "new.toml"\n' + PLAIN)
    with pytest.raises(InputError, match="older: the files refer to each other in a loop: new"):
        load(new)
    write(tmp_path, "old.toml", PLAIN.replace("wing_length_mm = 10.0", ""))
    with pytest.raises(InputError, match=r"old\.toml: grind\.0\.wing_length_mm: is missing"):
        load(new)


def test_unknown_recipe_name():
    with pytest.raises(InputError, match='given "finial", which is not in the library\'s recipes'):
        load("finial")


# --- round trips and changes --------------------------------------------------------------------------------


def test_round_trip(tmp_path):
    write(tmp_path, "old.toml", PLAIN)
    text = 'older = "old.toml"\n' + PLAIN.replace("Worked", 'A \\"quoted\\" tool, 3 × 4 \\\\ \\u007f') + RELIEF
    recipe = load(write(tmp_path, "mine.toml", text + 'wheel = "belt-50"\n'))
    again = load(write(tmp_path / "elsewhere", "copy.toml", to_toml(recipe)))
    assert again == recipe
    assert hash(again) == hash(recipe)
    assert again.source != recipe.source
    assert to_toml(again) == to_toml(recipe)
    assert pickle.loads(pickle.dumps(recipe)) == recipe
    assert deepcopy(recipe) == recipe


@given(
    st.text(st.characters(codec="utf-8"), max_size=50),
    st.floats(allow_nan=False),
    st.integers(-(2**62), 2**62),
)
def test_toml_writer_reads_back(text, real, whole):
    made = {
        "t": text,
        "r": real,
        "b": [[real, whole], []],
        "in": {"ner": {"w": whole}},
        "l": [{"a": text}, {}],
    }
    assert tomllib.loads(toml_text(made)) == made


def test_toml_writer_refuses_other_values():
    with pytest.raises(TypeError, match="cannot hold NoneType"):
        toml_text({"a": None})


BASE = from_table(table(relief=True), name="mine", source="shop/mine.toml")


@pytest.mark.parametrize(
    ("changes", "edits"),
    [
        ({}, {}),
        ({"jig.projection_mm": 70}, {"jig__projection_mm": 70}),
        ({"jig.rim_distance_mm": 100}, {"jig__nose_angle_deg": GONE, "jig__rim_distance_mm": 100}),
        (
            {"grind.1.rim_distance_mm": 100},
            {"grind__1__nose_angle_deg": GONE, "grind__1__rim_distance_mm": 100},
        ),
        (
            {"grind.0.nose_angle_deg": 40, "bar.length_mm": 140},
            {"grind__0__nose_angle_deg": 40, "bar__length_mm": 140},
        ),
        ({"wheel": "wheel-150"}, {"wheel": "wheel-150"}),
        ({"wheel": "wheel-150", "wheel.width_mm": 20}, {"wheel": {"from": "wheel-150", "width_mm": 20}}),
        ({"wheel.kind": "belt"}, {"wheel": {"kind": "belt", "width_mm": 40.0}}),
        ({"bar.steel": "carbon"}, {"bar__steel": "carbon"}),
        ({"bar.steel.young_gpa": 200}, {"bar__steel": {"from": "hss", "young_gpa": 200}}),
        ({"title": "Other"}, {"title": "Other"}),
        ({"jig.height_mm": None}, {"jig__height_mm": GONE}),
        ({"grind.1": None}, {"relief": False}),
        ({"grind.1": None, "grind.0.wing_length_mm": 8}, {"relief": False, "grind__0__wing_length_mm": 8}),
        ({"older": table()}, {"older": table()}),
        ({"older": table(), "older.jig.projection_mm": 71}, {"older": table(jig__projection_mm=71)}),
    ],
)
def test_changed(changes, edits):
    before = deepcopy(BASE)
    after = changed(BASE, changes)
    assert after == from_table(table(**({"relief": True} | edits)))
    assert (after.name, after.source) == ("mine", "shop/mine.toml")
    assert before == BASE
    assert before.table == BASE.table


def test_changed_appends_a_grind():
    added = changed(BASE, {"grind.2": {"nose_angle_deg": 20, "land_mm": 5}, "grind.2.land_mm": 6})
    assert [grind.land_mm for grind in added.grinds] == [None, 2.5, 6]


@pytest.mark.parametrize(
    ("changes", "field", "part"),
    [
        ({"jig.projection_mm": -1}, "jig.projection_mm", "given -1"),
        ({"jig.projection": 1}, "jig.projection", "did you mean projection_mm"),
        ({"jig.nose_angle_deg": 30, "jig.rim_distance_mm": 90}, "jig.rim_distance_mm", "exactly one of"),
        ({"grind.2.land_mm": 1}, "grind.2", 'given grind number "2", allowed is 0 to 1'),
        ({"grind.3": {}}, "grind.3", "allowed is 0 to 2"),
        ({"grind.x.land_mm": 1}, "grind.x", 'given grind number "x"'),
        ({"wheels.width_mm": 1}, "wheels.width_mm", "the recipe has no wheels"),
        ({"wheels": 1}, "wheels", "did you mean wheel"),
        ({"older.title": "x"}, "older", "given None"),
        ({"jig.steel.name": "x"}, "jig.steel.name", "no table jig.steel"),
        ({"bar": None}, "bar", "is missing"),
        ({"bar": 5, "bar.length_mm": 4}, "bar", "given 5"),
        ({"grind.0.nose_angle_deg": 30, "jig.nose_angle_deg": 31}, "jig.nose_angle_deg", "has no effect"),
        ({"grind.0.rim_distance_mm": 90, "jig.nose_angle_deg": 31}, "jig.nose_angle_deg", "rim_distance_mm"),
        ({"grind.0.wheel": "wheel-150", "wheel.width_mm": 31}, "wheel.width_mm", "change grind.0.wheel"),
    ],
)
def test_changed_refuses(changes, field, part):
    with pytest.raises(InputError) as caught:
        changed(BASE, changes)
    assert caught.value.field == field
    assert part.lower() in str(caught.value).lower()
    assert caught.value.file == "shop/mine.toml"


# --- frozen -------------------------------------------------------------------------------------------------


def test_nothing_can_be_set():
    for thing, name in ((BASE, "title"), (BASE.bar, "length_mm"), (BASE.grinds[0], "land_mm")):
        with pytest.raises((AttributeError, ValueError), match=r"frozen|cannot assign"):
            setattr(thing, name, 1)


def test_models_check_themselves():
    with pytest.raises(ValueError, match="greater than 0"):
        RoundBar(diameter_mm=-1, length_mm=100, steel=BASE.bar.steel)
    with pytest.raises(InputError, match="exactly one of"):
        RodJig(**(ROD | {"centre_distance_mm": 200}))
    assert isinstance(BASE, Recipe)


def test_input_error_behaves_like_an_exception():
    error = InputError("a.b", problem="given 1", hint="give 2")
    assert pickle.loads(pickle.dumps(error)) == error
    assert len({error, InputError("a.b", "given 1", "give 2")}) == 1
    assert str(error.in_file("f.toml")) == "f.toml: a.b: given 1. Give 2."
    with pytest.raises(AttributeError, match="cannot assign"):
        error.field = "c"

    @contextlib.contextmanager
    def passing():
        yield

    with pytest.raises(InputError) as caught, passing():
        raise error from KeyError("x")
    assert caught.value is error
    assert isinstance(error.__cause__, KeyError)
    error.add_note("seen")
    assert error == InputError("a.b", "given 1", "give 2")
