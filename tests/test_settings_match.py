"""The setting that lies on an old bevel, its light gap, and what a regrind costs."""

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.machine.jig import DISTANCES
from gougeform.measure.edge import measure_edge
from gougeform.measure.measures import measure
from gougeform.measure.quantities.standing import all_standings
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.settings.bench import bench_of, with_settings
from gougeform.settings.ink import remedies
from gougeform.settings.match import bevel_of, cost, gap_on, match, old_from_angles
from gougeform.settings.names import NAMES
from gougeform.settings.wants import Free, Want, read_wants, reading_of

FOOT, ROD = "finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod"


@pytest.mark.parametrize("name", [FOOT, ROD, "finial-round-10-relief-foot", "finial-round-10-plain-rod"])
def test_no_gap_at_the_setting_the_tool_was_ground_with(name):
    gouge = shape(load(name))
    bevel = bevel_of(gouge, measure_edge(gouge))
    gap = gap_on(bevel, bench_of(load(name), 0, gouge.section))
    assert np.nanmax(np.abs(gap)) < 1e-7
    assert bevel.first[:, 0].all()
    if "relief" in name:
        assert not bevel.first.all()  # behind the land there is nothing to lie on
    else:
        assert bevel.first.all()


def test_gap_of_a_blunter_setting_opens_toward_the_heel():
    # Derived: the two surfaces meet at the edge under the difference of their angles, so the gap a little way t down
    # from the nose is t·tan(difference).
    gouge = shape(load(FOOT))
    bevel = bevel_of(gouge, measure_edge(gouge))
    bench = bench_of(load(FOOT), 0, gouge.section)
    blunter = bench.set({"distance": bench.nose_distance(36.0)})
    gap = gap_on(bevel, blunter)
    nose = int(np.abs(bevel.place).argmin())
    assert np.abs(gap[:, 0]).max() < 1e-7  # the edge itself stays
    assert np.all(np.diff(gap[nose]) > 0)
    assert gap[nose, 2] == pytest.approx(bevel.reach[nose, 2] * np.tan(np.radians(1)), rel=0.03)
    acute = gap_on(bevel, bench.set({"distance": bench.nose_distance(34.0)}))
    assert np.all(np.diff(acute[nose]) < 0)


@pytest.mark.parametrize("name", [FOOT, ROD])
def test_finds_the_setting_again_from_another_one(name):
    old = load(name)
    bench = bench_of(old)
    start = with_settings(old, {"projection": bench.value("projection") + 6})
    found = match(old, start)
    assert found.best.largest < 1e-4
    for free in ("distance", "projection"):
        assert found.best.values[free] == pytest.approx(bench.value(free), abs=2e-3)
    assert found.lies
    assert not found.stopped
    touching, _, whole = found.cost.rows
    assert whole.nose_loss == pytest.approx(0, abs=1e-4)
    assert touching.steel == pytest.approx(0, abs=0.05)
    assert touching.in_flute is None


def test_another_wheel_leaves_the_light_of_its_hollow():
    # Derived (sagitta): the same edge and heel on wheels R1 and R2 leave s = c²/8·(1/R1 - 1/R2) between them at most.
    old = load(FOOT)
    found = match(old, changed(old, {"wheel": "wheel-250"}))
    nose = int(np.abs(found.bevel.place).argmin())
    chord = found.bevel.reach[nose, -1]
    sagitta = chord**2 / 8 * (1 / 100 - 1 / 125)
    assert 0.5 * sagitta < found.best.light[nose] < 8 * sagitta
    assert found.best.largest < 0.3


def test_best_setting_has_the_least_gap_around_it():
    old, machine = load(FOOT), load(ROD)
    found = match(old, machine)
    bevel, bench = found.bevel, found.best.bench

    def rms(values):
        return np.sqrt(np.nanmean(gap_on(bevel, bench.set(values)) ** 2))

    here = rms(found.best.values)
    assert here == pytest.approx(found.best.rms, rel=1e-9)
    for name in ("distance", "projection"):
        for way in (0.2, -0.2):
            assert rms(found.best.values | {name: found.best.values[name] + way}) > here


def test_among_equal_settings_the_one_that_costs_least():
    # Projection and how far back the hinge lies add up: many pairs put the foot at the same place, so all lie alike.
    old = load(FOOT)
    frees = [Free(NAMES[n], *NAMES[n].bounds) for n in ("distance", "projection", "hinge_back")]
    found = match(old, changed(old, {"jig.hinge_back_mm": 22.0}), frees)
    assert found.equal >= 1
    assert found.best.largest < 2e-3
    assert found.best.values["projection"] + found.best.values["hinge_back"] == pytest.approx(80.0, abs=0.05)
    assert found.cost.rows[0].steel < 0.5


def test_measured_angles_stand_for_the_old_tool():
    wants = read_wants({"nose": 38, "wing50": 46, "wing_length": 8}, "measured")
    old, misses = old_from_angles(load(FOOT), wants)
    edge = measure(shape(old)).edge
    found = reading_of(edge, (50.0,))
    assert max(abs(miss) for miss in misses.values()) < 1e-6
    assert (found.nose, found.wings[50.0]) == pytest.approx((38, 46), abs=1e-6)
    assert found.wing_length == pytest.approx(8, abs=1e-9)
    with pytest.raises(InputError, match="the nose angle is missing"):
        old_from_angles(load(FOOT), [Want("wing50", 46.0)])


@pytest.mark.parametrize("name", [FOOT, ROD])
def test_measured_angles_of_a_known_tool_give_its_settings_back(name):
    # The inverse check: read the edge with a protractor, and the jig that ground it comes out.
    known = load(name)
    edge = measure(shape(known)).edge
    read = reading_of(edge, (50.0,))
    wants = read_wants({"nose": read.nose, "wing50": read.wings[50.0], "wing_length": read.wing_length}, "measured")
    start = with_settings(known, {"projection": bench_of(known).value("projection") + 5})
    found, misses = old_from_angles(start, wants)
    assert max(abs(miss) for miss in misses.values()) < 1e-6
    for setting in ("distance", "projection"):
        assert bench_of(found).value(setting) == pytest.approx(bench_of(known).value(setting), abs=1e-3)


def test_regrinding_costs_what_the_measures_say():
    # The factory's short wings over a fingernail's: the nose has to go back until the old wings are gone.
    fingernail = load(FOOT)
    plain = changed(fingernail, {"grind.0.wing_length_mm": 4.0, "grind.0.nose_angle_deg": 40.0})
    price = cost(fingernail, plain)
    both = measure(shape(changed(plain, {"older": fingernail.table})))
    touching = price.rows[0]
    assert touching.nose_loss == pytest.approx(both.nose_loss, abs=1e-9)
    assert touching.steel == pytest.approx(both.steel_removed, abs=both.stated_error["steel_removed_mm3"])
    # Seen from above the plain edge lies ahead of the drawn-back one by at most the difference of the wing lengths.
    assert touching.nose_loss == pytest.approx(6.0, abs=1e-6)
    assert touching.in_flute == int((60 - 4) / touching.nose_loss)


def test_an_older_tool_on_the_jig_keeps_its_own_bar_and_flute():
    old = load("finial-round-10-plain-foot")  # another flute than the fingernail recipe
    found = match(old, load(FOOT))
    assert found.recipe.flute == old.flute
    assert found.recipe.jig.kind == "foot"


@pytest.mark.parametrize("machine", ["finial-round-10-plain-table", "finial-round-10-plain-rod"])
def test_an_edge_that_a_jig_cannot_follow_ends_with_the_closest_contact(machine):
    found = match(load(FOOT), load(machine))
    assert found.rolled
    assert not found.lies
    assert found.recipe.grinds[0].path.path == "steady"
    assert np.isfinite(found.best.largest)


def test_nothing_is_matched_at_a_nose_angle_that_nobody_sets():
    # A plain rolled grind on a canted rod lies least badly at a nose angle of 109 degrees; found in a review.
    found = match(load("baluster-square-10-plain-rod"), load("baluster-square-10-fingernail-rod"))
    assert 20 - 0.5 < found.best.bench.nose_angle() < 80 + 0.5
    assert not found.lies


def test_one_distance_in_the_recipe_that_is_written():
    found = match(load(FOOT), load(ROD))
    grind = found.recipe.table["grind"][0]
    given = [name for name in DISTANCES if name in grind or name in found.recipe.table["jig"]]
    assert given == ["rim_distance_mm"]


@pytest.mark.parametrize("name", [FOOT, ROD])
def test_the_marker_pen_tells_what_was_moved(name):
    # The inverse question: set off by a remedy's move, the same remedy is what closes the light again.
    old = load(name)
    found = match(old, old)
    for one in remedies(found.bevel, found.best.bench):
        if one.symptom.nose is None or not one.exact:
            continue
        off = found.best.bench.set({n: found.best.bench.value(n) - by for n, by in one.exact.items()})
        gap = gap_on(found.bevel, off)
        far = np.abs(found.bevel.place)
        heel = gap[:, -1] - gap[:, 0]
        opened = heel[far <= 15].mean(), heel[(far >= 40) & (far <= 80)].mean()
        np.testing.assert_allclose(opened, [-0.1 * one.symptom.nose, -0.1 * one.symptom.wings], atol=0.03)


def test_a_jig_that_cannot_follow_is_refused():
    frees = [Free(NAMES["projection"], 60.0, 70.0), Free(NAMES["distance"], 500.0, 600.0)]
    with pytest.raises(InputError, match="no setting within bounds"):
        match(load(FOOT), load(FOOT), frees)


def test_a_match_that_cannot_stand_goes_to_the_shortest_projection_that_does():
    """A tool that was ground with a smaller clamp: with this one the clamp would be in the wheel at its own setting."""
    old = changed(load(FOOT), {"jig.projection_mm": 48.0, "jig.clamp_size_mm": [20.0, 20.0, 40.0]})
    machine = load(FOOT)
    found = match(old, machine)
    assert found.best.values["projection"] > 48.5
    assert all_standings(found.cost.measures)[0].gap.mm >= 0
    assert any("With a shorter projection it would lie better" in note for note in found.notes)
    # A shorter one stands less well: that is what keeps it there.
    less = with_settings(found.recipe, {"projection": found.best.values["projection"] - 1.5})
    assert all_standings(measure(shape(less)))[0].gap.mm < all_standings(found.cost.measures)[0].gap.mm
