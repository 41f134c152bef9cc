"""A recipe is one model: built or changed in Python, written and read again, it says the same.

No outside source: the program is held against itself, over random recipes of the whole space and by hand.
"""

from __future__ import annotations

import copy
import math
import pickle

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from gougeform.bar.flutes.arc import ArcFlute
from gougeform.bar.flutes.points import PointsFlute
from gougeform.bar.handle import Handle
from gougeform.bar.outlines.round import RoundBar
from gougeform.bar.outlines.square import SquareBar
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.machine.jigs.foot import FootJig
from gougeform.machine.jigs.rod import RodJig
from gougeform.machine.jigs.table import TableJig
from gougeform.machine.paths.steady import SteadyPath
from gougeform.machine.paths.traced import TracedPath
from gougeform.machine.wheel import GrinderRest, Guard, Wheel
from gougeform.read.toml import parse_toml
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table, load
from gougeform.recipe.resolving import Grind
from gougeform.recipe.write import to_toml
from recipes import at, cases, field_of, leaves, tables

MANY = settings(max_examples=cases(150), deadline=None, suppress_health_check=list(HealthCheck))


def read_again(recipe):
    return from_table(parse_toml(to_toml(recipe).encode(), "again.toml"))


def same(recipe):
    """Written and read it is equal: in what it means, in what was given, and in what it writes."""
    again = read_again(recipe)
    assert again == recipe
    assert hash(again) == hash(recipe)
    assert again.grinds == recipe.grinds
    assert again.jig == recipe.jig
    assert again.table == recipe.table
    assert to_toml(again) == to_toml(recipe)
    return True


def drawn(table):
    try:
        return from_table(table)
    except InputError:
        assume(False)


def anew(part):
    """The same part, made by its class in Python with every field that has a value."""
    return type(part)(**{name: value for name, value in part if value is not None})


def in_python(recipe):
    """The recipe built from classes alone: whole paths and jigs, nothing inherited."""
    first, *later = recipe.grinds
    reliefs = [Grind(path=g.path, jig=g.jig, wheel=anew(g.wheel), land_mm=g.land_mm) for g in later]
    return Recipe(
        bar=anew(recipe.bar),
        flute=anew(recipe.flute),
        wheel=anew(recipe.wheel),
        jig=anew(first.jig),
        grind=[Grind(path=first.path, wheel=anew(first.wheel)), *reliefs],
        older=None if recipe.older is None else in_python(recipe.older),
        handle=anew(recipe.handle),
        title=recipe.title,
    )


@MANY
@given(tables())
def test_what_is_read_is_written_and_read_equal(table):
    recipe = drawn(table)
    assert same(recipe)
    assert pickle.loads(pickle.dumps(recipe)) == copy.deepcopy(recipe) == recipe


@MANY
@given(tables())
def test_what_is_built_in_python_is_written_whole(table):
    recipe = drawn(table)
    built = in_python(recipe)
    assert built == recipe
    assert same(built)


@MANY
@given(tables(), st.data())
def test_what_is_changed_by_name_is_written(table, data):
    recipe = drawn(table)
    ways = [way for way in leaves(recipe.table) if field_of(way) != "points_mm"]
    way = data.draw(st.sampled_from(ways))
    value = at(recipe.table, way) * data.draw(st.floats(0.9, 1.1))
    try:
        after = changed(recipe, {".".join(map(str, way)): value})
    except InputError:
        assume(False)
    assert at(after.table, way) == value
    assert same(after)
    assert recipe == from_table(table)


@MANY
@given(tables(), st.floats(1.0, 1.5), st.floats(0.9, 1.0))
def test_what_is_replaced_in_python_is_written(table, longer, narrower):
    recipe = drawn(table)
    length, width = min(recipe.bar.length_mm * longer, 3000.0), recipe.wheel.width_mm * narrower
    try:
        after = recipe.with_(
            bar=recipe.bar.model_copy(update={"length_mm": length}),
            wheel=recipe.wheel.model_copy(update={"width_mm": width}),
        )
    except InputError:
        assume(False)  # an older tool on another bar, a contact that is now off the face
    assert after.table["bar"]["length_mm"] == length
    assert same(after)
    assert recipe == from_table(table)


BAR = RoundBar(diameter_mm=10.0, length_mm=150.0)
FLUTE = ArcFlute(radius_mm=4.0, web_mm=6.5, length_mm=60.0)
WHEEL = Wheel(diameter_mm=200.0, width_mm=40.0)
FOOT = FootJig(
    projection_mm=65.0,
    hinge_back_mm=15.0,
    hinge_drop_mm=8.0,
    arm_length_mm=90.0,
    arm_cant_deg=40.0,
    nose_angle_deg=35.0,
)
ROD = RodJig(
    projection_mm=65.0, hinge_back_mm=15.0, hinge_drop_mm=8.0, hinge_cant_deg=35.0, shoe_mm=30.0, rod_diameter_mm=12.0,
    nose_angle_deg=35.0,
)  # fmt: skip
MINE = Recipe(bar=BAR, flute=FLUTE, wheel=WHEEL, jig=FOOT, grind=[TracedPath(wing_length_mm=10.0)])


def test_a_recipe_built_in_python_says_what_the_file_says():
    file = load("finial-round-10-fingernail-foot")
    assert MINE.grinds[0].path == file.grinds[0].path
    assert MINE.bar == file.bar, "a bar that names no steel is of the library's usual one"
    assert 'name = "hss"' in to_toml(MINE)
    assert shape(MINE).jigs[0].rim == pytest.approx(shape(file).jigs[0].rim, abs=1e-12)


def test_a_path_or_jig_may_stand_for_a_grind():
    steady = MINE.with_(jig=ROD, grind=[SteadyPath(roll_max_deg=90.0)])
    assert steady.grinds[0].path == SteadyPath(roll_max_deg=90.0)
    table = TableJig(projection_mm=65.0, nose_angle_deg=25.0)
    relief = MINE.with_(grind=[*MINE.grind, Grind(jig=table, path=SteadyPath(roll_max_deg=60.0), land_mm=2.0)])
    assert relief.grinds[1].jig == table
    assert relief.grinds[0] == MINE.grinds[0]
    assert same(steady)
    assert same(relief)


def test_another_length_is_written_and_the_old_one_is_not():
    shorter = MINE.with_(bar=BAR.model_copy(update={"length_mm": 140.0}))
    assert "length_mm = 140.0" in to_toml(shorter)
    assert "length_mm = 150.0" not in to_toml(shorter)


def test_a_copy_forgets_what_followed_from_the_old_fields():
    assert MINE.grinds[0].jig == FOOT
    assert MINE.model_copy(update={"jig": ROD}).grinds[0].jig == ROD
    points = PointsFlute(points_mm=[(0, 1.5), (2, 2), (4, 4.5)], length_mm=60.0)
    assert points.floor_mm == 1.5
    assert points.model_copy(update={"points_mm": ((0, 1.0), (2, 2), (4, 4.5))}).floor_mm == 1.0
    with pytest.raises(InputError, match=r"flute\.length_mm: given 60"):
        MINE.model_copy(update={"bar": BAR.model_copy(update={"length_mm": 50.0})})


def test_a_reference_is_filled_in_and_a_default_not_given_is_not_written():
    recipe = from_table(MINE.table | {"handle": "turner-300", "wheel": "wheel-150"})
    assert recipe.table["wheel"]["diameter_mm"] == 150.0
    assert recipe.table["handle"]["handle_length_mm"] == 275.0
    assert "height_mm" not in MINE.table["jig"]
    assert "handle" not in MINE.table
    assert MINE.with_(handle=Handle()) == MINE


@pytest.mark.parametrize(
    ("make", "field", "words"),
    [
        (lambda: MINE.with_(flute=FLUTE.model_copy(update={"length_mm": 151.0})), "flute.length_mm", "at most bar.len"),
        (
            lambda: MINE.with_(jig=FOOT.model_copy(update={"projection_mm": 150.0})),
            "jig.projection_mm",
            "the clamp holds",
        ),
        (lambda: MINE.with_(grind=[SteadyPath(roll_max_deg=90.0)]), "grind.0.path", "whose ball joint holds nothing"),
        (lambda: MINE.with_(grind=[*MINE.grind, Grind(nose_angle_deg=25.0)]), "grind.1.land_mm", "is missing"),
        (lambda: MINE.with_(grind=[Grind(wing_length_mm=10.0, shoe_mm=3.0)]), "grind.0.shoe_mm", "of a foot jig"),
        (lambda: MINE.with_(older=MINE.with_(bar=RoundBar(diameter_mm=11, length_mm=150))), "older", "must be equal"),
        (lambda: MINE.with_(bars=BAR), "bars", "Did you mean bar"),
        (lambda: MINE.with_(jig=FOOT.model_copy(update={"nose_angle_deg": None})), "jig.nose_angle_deg", "no distance"),
        (lambda: MINE.with_(jig=TableJig(projection_mm=65.0)), "jig.nose_angle_deg", "the table is tilted for"),
        (lambda: MINE.with_(wheel=Wheel(kind="belt", width_mm=50.0, guard=AROUND)), "guard", "no centre"),
    ],
    ids=range(10),
)
def test_what_does_not_fit_is_refused_in_python_as_in_a_file(make, field, words):
    with pytest.raises(InputError) as caught:
        make()
    assert caught.value.field == field
    assert words in str(caught.value)


# --- what may not touch the wheel, and what a person can set ---------------------------------------------------

AROUND = Guard(gap_mm=3.0, from_deg=60.0, to_deg=250.0)


def test_sizes_of_what_may_not_touch_have_usual_values():
    assert FOOT.clamp_size_mm == ROD.clamp_size_mm == (32.0, 32.0, 40.0)
    assert FOOT.arm_diameter_mm == 8.0
    assert ROD.shoe_size_mm == (30.0, 20.0, 25.0)
    assert (MINE.ruler_mm, MINE.protractor_deg) == (0.5, 0.5)
    assert MINE.wheel.guard is None
    assert MINE.wheel.rest is None


def test_they_are_read_changed_and_written():
    rest = GrinderRest(gap_mm=3.0, from_deg=-20.0, to_deg=5.0)
    full = MINE.with_(
        jig=ROD.model_copy(update={"clamp_size_mm": (30.0, 25.0, 40.0), "shoe_size_mm": (20.0, 20.0, 20.0)}),
        wheel=WHEEL.model_copy(update={"guard": AROUND, "rest": rest}),
        ruler_mm=0.25,
        protractor_deg=1.0,
    )
    assert same(full)
    moved = changed(full, {"wheel.guard.gap_mm": 5.0, "jig.clamp_size_mm": [20, 25.0, 40.0], "ruler_mm": 0.1})
    assert moved.wheel.guard == AROUND.model_copy(update={"gap_mm": 5.0})
    assert moved.jig.clamp_size_mm == (20.0, 25.0, 40.0)
    assert moved.ruler_mm == 0.1
    assert same(moved)
    assert changed(moved, {"wheel.guard": None, "wheel.rest": None, "wheel.kind": "belt"}).wheel.guard is None
    own = changed(full, {"grind.0.wheel": {"diameter_mm": 150.0, "width_mm": 40.0, "rest": rest.plain()}})
    again = changed(own, {"grind.0.wheel.rest.to_deg": 10.0})
    assert again.grinds[0].wheel.rest == rest.model_copy(update={"to_deg": 10.0})
    assert own.grinds[0].wheel.guard is None, "another wheel has another guard"


BAD = [
    ({"jig": {"clamp_size_mm": [32.0, 32.0]}}, "jig.clamp_size_mm", "a list of 3 numbers, each number above 0"),
    ({"jig": {"clamp_size_mm": [32.0, 32.0, 0.0]}}, "jig.clamp_size_mm", "above 0 and at most 500 mm"),
    ({"jig": {"clamp_size_mm": [32.0, 32.0, "40"]}}, "jig.clamp_size_mm", 'given [32.0, 32.0, "40"]'),
    ({"jig": {"clamp_size_mm": 32.0}}, "jig.clamp_size_mm", "given 32.0"),
    ({"jig": {"shoe_size_mm": [30.0, 20.0, 25.0]}}, "jig.shoe_size_mm", "is not a field of a foot jig"),
    ({"jig": {"arm_diameter_mm": -1.0}}, "jig.arm_diameter_mm", "above 0 and at most 100 mm"),
    ({"wheel": {"guard": 5}}, "wheel.guard", "a table with gap_mm, from_deg, to_deg"),
    ({"wheel": {"guard": {"gap_mm": 3}}}, "wheel.guard.from_deg", "is missing"),
    ({"wheel": {"guard": {"gap_mm": 3, "from_deg": 9, "to_deg": 5}}}, "wheel.guard.to_deg", "above from_deg = 9"),
    ({"wheel": {"rest": {"gap": 3, "from_deg": 9, "to_deg": 15}}}, "wheel.rest.gap", "Did you mean gap_mm"),
    ({"ruler_mm": 0}, "ruler_mm", "above 0 and at most 10 mm"),
    ({"ruler_mm": "0.5"}, "ruler_mm", "without quotation marks"),
    ({"protractor_deg": math.nan}, "protractor_deg", "at most 10 degrees"),
]


@pytest.mark.parametrize(("edits", "field", "words"), BAD, ids=[f"{i}-{row[1]}" for i, row in enumerate(BAD)])
def test_bad_ones_are_refused_in_words(edits, field, words):
    table = MINE.table
    for name, value in edits.items():
        table[name] = {**table[name], **value} if isinstance(value, dict) else value
    with pytest.raises(InputError) as caught:
        from_table(table, source="mine.toml")
    assert caught.value.field == field
    assert words in str(caught.value)
    assert caught.value.file == "mine.toml"
    assert caught.value.hint


def test_they_change_no_number():
    plain, full = (
        MINE,
        MINE.with_(
            jig=FOOT.model_copy(update={"clamp_size_mm": (9.0, 9.0, 9.0), "arm_diameter_mm": 3.0}),
            wheel=WHEEL.model_copy(update={"guard": AROUND}),
            ruler_mm=1.0,
        ),
    )
    assert shape(plain).settings == shape(full).settings


def test_the_ruler_of_the_recipe_is_what_settings_are_rounded_to():
    from gougeform.settings.names import NAMES

    fine = MINE.with_(ruler_mm=0.1, protractor_deg=0.25)
    steps = [NAMES[name].step(fine) for name in ("distance", "cant", "fullness")]
    assert steps == [0.1, 0.25, 0.01]
    assert [NAMES[name].step(MINE) for name in ("distance", "cant", "fullness")] == [0.5, 0.5, 0.01]


def test_square_bars_are_no_round_ones():
    with pytest.raises(InputError, match="half of side_mm = 10"):
        SquareBar(side_mm=10.0, corner_radius_mm=5.1, length_mm=150.0)
    assert MINE.with_(bar=SquareBar(side_mm=10.0, length_mm=150.0)) != MINE
