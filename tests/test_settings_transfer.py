"""The same edge on another wheel or jig, and on a wheel that wears."""

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.measure.quantities.standing import all_standings
from gougeform.present.cautions import cautions
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.settings.bench import bench_of
from gougeform.settings.names import NAMES
from gougeform.settings.transfer import carry_over, differences, read_targets, wear
from gougeform.settings.wants import Free, reading_of

FOOT = "finial-round-10-fingernail-foot"
EVERY = (
    FOOT,
    "finial-round-10-fingernail-rod",
    "finial-round-10-relief-foot",
    "finial-round-10-plain-rod",
    "finial-round-10-plain-table",
)
PROJECTION = (Free(NAMES["projection"], 30.0, 130.0),)


@pytest.mark.parametrize("name", EVERY)
def test_to_the_same_wheel_nothing_changes(name):
    recipe = load(name)
    free = PROJECTION if recipe.jig.kind != "table" else ()
    carried = carry_over(recipe, read_targets(recipe, {"wheel": recipe.wheel.diameter_mm}), free)
    assert carried.reset == {}
    assert carried.largest < 1e-6
    assert [g.jig.projection_mm for g in carried.recipe.grinds] == [g.jig.projection_mm for g in recipe.grinds]
    before, after = shape(recipe).settings, carried.gouge.settings
    for one, two in zip(before, after, strict=True):
        if one.rim_distance is not None:
            assert two.rim_distance == pytest.approx(one.rim_distance, abs=1e-9)


@pytest.mark.parametrize("wheel", ["wheel-150", "wheel-250", "belt-50", "173.4"])
def test_nose_is_kept_and_the_difference_is_measured(wheel):
    recipe = load(FOOT)
    # On a belt the clamp would stand in its plane at the old projection.
    frees = PROJECTION if wheel == "belt-50" else None
    carried = carry_over(recipe, read_targets(recipe, {"wheel": wheel}), frees)
    assert carried.after.wedge[carried.after.nose] == pytest.approx(35, abs=1e-7)
    # The difference is that of two independent measurements, at equal shares of each wing.
    per_cents = (25.0, 50.0, 90.0)
    before, after = (reading_of(measure_edge(shape(r)), per_cents) for r in (recipe, carried.recipe))
    for p in per_cents:
        said = np.interp(0.5 + p / 200, carried.share, carried.difference)
        assert said == pytest.approx(after.wings[p] - before.wings[p], abs=2e-3)
    assert carried.largest >= abs(after.wings[50.0] - before.wings[50.0])
    assert 0 < carried.mean < carried.largest


def test_moving_the_projection_brings_the_wings_nearer():
    recipe = load(FOOT)
    changes = read_targets(recipe, {"wheel": "wheel-150"})
    moved, kept = carry_over(recipe, changes, PROJECTION), carry_over(recipe, changes)
    assert moved.kept == pytest.approx((kept.largest, kept.mean), abs=1e-9)
    assert moved.mean < 0.5 * kept.mean
    # The best projection: beside it the wings differ more (root mean square).
    best = bench_of(moved.recipe).value("projection")
    rms = []
    for projection in (best - 1, best, best + 1):
        there = changed(carry_over(recipe, changes).recipe, {"jig.projection_mm": projection})
        off = [
            measure_edge(shape(there)).wedge - moved.before.wedge
        ]  # the outline is the same, so stations lie at the same places
        rms.append(float(np.sqrt((off[0] ** 2).mean())))
    assert rms[1] < rms[0]
    assert rms[1] < rms[2]


@pytest.mark.parametrize("jig", ["rod-65", "table-65"])
def test_to_another_kind_of_jig(jig):
    # A table traces only short wings.
    length = 10.0 if jig == "rod-65" else 3.0
    edits = {"grind.0.wing_length_mm": length} | ({"grind.0.shoulder": 0.3} if jig == "table-65" else {})
    recipe = changed(load(FOOT), edits)
    carried = carry_over(recipe, read_targets(recipe, {"jig": jig}))
    assert carried.recipe.jig.kind == jig.split("-")[0]
    assert carried.after.wedge[carried.after.nose] == pytest.approx(35, abs=1e-6)
    assert carried.after.wing_length(1) == pytest.approx(length, abs=1e-6)


def test_a_steady_grind_is_traced_on_a_foot_jig():
    recipe = load("finial-round-10-plain-table")
    carried = carry_over(recipe, read_targets(recipe, {"jig": "foot-65"}))
    assert carried.recipe.grinds[0].path.path == "traced"
    assert carried.after.wing_length(1) == pytest.approx(carried.before.wing_length(1), abs=1e-6)
    assert "traced by hand" in carried.notes[0]
    x, z = (carried.after.point[k, carried.after.wing(1)] for k in (0, 2))
    old = np.interp(x, *(carried.before.point[k, carried.before.wing(1)] for k in (0, 2)))
    assert np.abs(z - old).max() < 0.25  # one conic a side cannot follow the rolled edge everywhere


def test_reliefs_keep_their_nose_angles():
    recipe = load("finial-round-10-relief-foot")
    carried = carry_over(recipe, read_targets(recipe, {"wheel": "150"}))
    assert len(carried.recipe.grinds) == 2
    for number in (0, 1):
        assert bench_of(carried.recipe, number).nose_angle() == pytest.approx(
            bench_of(recipe, number).nose_angle(), abs=1e-9
        )


def test_wear_table():
    recipe = load(FOOT)
    diameters = np.linspace(200, 150, 15)
    before = measure_edge(shape(recipe))
    rows = wear(recipe, diameters, before)
    assert [row.diameter for row in rows] == pytest.approx(diameters)
    for row in rows[::7]:
        # Each row's setting, ground in full: the nose stays, the wings differ by what is said.
        there = changed(recipe, {"wheel.diameter_mm": row.diameter, "grind.0.centre_distance_mm": row.centre_distance})
        edge = measure_edge(shape(there))
        assert edge.wedge[edge.nose] == pytest.approx(35, abs=1e-7)
        # The same places as those of a transfer, lips included.
        share, off = differences(before, edge)
        assert row.largest == pytest.approx(np.abs(off).max(), abs=1e-3)
        assert row.mean == pytest.approx(np.trapezoid(np.abs(off), share), abs=1e-3)
        assert row.straight_distance == pytest.approx(row.centre_distance - row.diameter / 2)
        left = changed(
            recipe, {"wheel.diameter_mm": row.diameter, "grind.0.centre_distance_mm": rows[0].centre_distance}
        )
        assert row.left == pytest.approx(bench_of(left).nose_angle(), abs=1e-9)
    # Practice: a smaller wheel at the same pocket grinds blunter, so the pocket has to follow it inward.
    assert np.all(np.diff([row.left for row in rows]) > 0)
    assert np.all(np.diff([row.centre_distance for row in rows]) < 0)


def test_wear_table_sets_the_relief_too():
    recipe = load("finial-round-10-relief-foot")
    rows = wear(recipe, [200.0, 170.0], measure_edge(shape(recipe)))
    for row in rows:
        there = changed(recipe, {"wheel.diameter_mm": row.diameter})
        assert row.reliefs == pytest.approx([bench_of(there, 1).value("distance")], abs=1e-9)


@pytest.mark.parametrize(
    ("to", "message"),
    [
        ({}, "nothing to carry over to"),
        ({"bar": "round-12"}, 'given "bar", allowed is wheel or jig'),
        ({"jig": "120"}, "allowed is the name or path of a jig"),
        ({"wheel": "nan"}, "allowed is a diameter in mm"),
    ],
)
def test_bad_targets(to, message):
    with pytest.raises(InputError) as caught:
        read_targets(load(FOOT), to)
    assert message in str(caught.value)


def test_unknown_names_and_belts_are_refused():
    recipe = load(FOOT)
    with pytest.raises(InputError, match="not in the library's wheels"):
        carry_over(recipe, {"wheel": "wheel-15"})
    with pytest.raises(InputError, match=r"the clamp would stand .* inside the belt"):
        carry_over(recipe, {"wheel": "belt-50"})
    belt = carry_over(recipe, {"wheel": "belt-50"}, PROJECTION)
    assert all_standings(belt.measures)[0].gap.mm >= 0
    with pytest.raises(InputError, match="a belt does not get smaller"):
        wear(belt.recipe, [200, 150], belt.before)


def test_a_recipe_lends_its_wheel_or_jig():
    recipe, other = load(FOOT), load("finial-round-10-fingernail-rod")
    changes = read_targets(recipe, {"jig": "finial-round-10-fingernail-rod", "wheel": "baluster-square-10-plain-rod"})
    assert changes["jig"]["kind"] == "rod"
    assert changes["jig"]["hinge_cant_deg"] == other.jig.hinge_cant_deg
    assert not any(name in changes["jig"] for name in ("nose_angle_deg", "rim_distance_mm", "centre_distance_mm"))
    assert changes["wheel"] == load("baluster-square-10-plain-rod").wheel.plain()
    carried = carry_over(recipe, changes, PROJECTION)
    assert carried.recipe.jig.kind == "rod"


def test_another_wheel_given_by_its_diameter_has_no_speed_and_no_rating():
    recipe = load(FOOT)
    assert recipe.wheel.rpm is not None
    wheel = carry_over(recipe, read_targets(recipe, {"wheel": 173.4}), PROJECTION).recipe.wheel
    assert (wheel.diameter_mm, wheel.rpm, wheel.rated_m_s) == (173.4, None, None)
    assert any("is not checked" in line for line in cautions(changed(recipe, {"wheel": wheel.plain()})))
