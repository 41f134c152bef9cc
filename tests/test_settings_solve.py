"""Settings solved for a wanted edge: closed forms, round trips, all solutions, and what cannot be met."""

import numpy as np
import pytest

import typed
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.measure.measures import measure
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load
from gougeform.settings.bench import bench_of, with_settings
from gougeform.settings.names import NAMES
from gougeform.settings.problem import Problem
from gougeform.settings.ruler import confirmed, corrected, machine, ruled
from gougeform.settings.solve import solve
from gougeform.settings.trial import Tracer, steady_reading
from gougeform.settings.wants import Free, Want, read_frees, read_wants, reading_of

FOOT, ROD = "finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod"


def problem(recipe, wants, free=(), stops=()):
    wanted = read_wants(typed.named(*wants))
    return Problem(recipe, wanted, read_frees(bench_of(recipe), typed.free(*free), typed.stops(*stops), wanted))


@pytest.mark.parametrize("name", [FOOT, ROD])
@pytest.mark.parametrize("nose", [34.0, 38.0, 42.5])
@pytest.mark.parametrize("wheel", ["wheel-150", "wheel-250", "belt-50"])
def test_nose_by_the_law_of_cosines(name, nose, wheel):
    # The contract's closed form, written out here on its own: cos ∠ONP = (R² + r² - |OP|²) / 2Rr in the plane Y = 0,
    # nose = ∠ONP - 90° + ε. For a belt the limit: the pivot's height over the plane is r·sin(nose - ε).
    recipe = changed(load(name), {"wheel": wheel, "jig.projection_mm": 75})
    found = solve(problem(recipe, [f"nose={nose}"], ["distance"])).solutions[0].values["distance"]
    jig = recipe.jig
    y_floor = -5 + recipe.flute.web_mm  # round bar of 10 mm
    if jig.kind == "foot":
        cant = np.radians(jig.arm_cant_deg)
        along = 75 + jig.hinge_back_mm + jig.arm_length_mm * np.cos(cant)
        above = y_floor + jig.hinge_drop_mm + jig.arm_length_mm * np.sin(cant)
    else:
        along, above = 75 + jig.hinge_back_mm, y_floor + jig.hinge_drop_mm + jig.shoe_mm
    r, slope = np.hypot(along, above), np.arctan2(above, along)
    if recipe.wheel.diameter_mm is None:
        assert found == pytest.approx(r * np.sin(np.radians(nose) - slope), abs=1e-9)
        return
    radius = recipe.wheel.diameter_mm / 2
    corner = np.radians(nose + 90) - slope
    centre = np.sqrt(radius**2 + r**2 - 2 * radius * r * np.cos(corner))
    assert found + radius == pytest.approx(centre, abs=1e-9)


@pytest.mark.parametrize("base", ["foot", "rod", "table"])
def test_quick_angles_are_the_measured_ones(table, base):
    # Derived: where a path does not cut past its outline, the wheel at an edge point's own pose makes the bevel there.
    recipe = from_table(table(base))
    edge = measure(shape(recipe)).edge
    bench = bench_of(recipe)
    t = np.linspace(-1, 1, len(edge.u))[5:-5]
    assert Tracer().wedges(bench, t) == pytest.approx(edge.wedge[5:-5], abs=1e-6)
    per_cents = (10.0, 25.0, 50.0, 75.0, 95.0)
    quick, measured = Tracer().read(bench, per_cents), reading_of(edge, per_cents)
    assert quick.nose == pytest.approx(measured.nose, abs=1e-9)
    # The envelope's normals are good to 1e-8 rad, 6e-7 degrees.
    assert list(quick.wings.values()) == pytest.approx(list(measured.wings.values()), abs=1.5e-6)


@pytest.mark.parametrize("name", ["finial-round-10-plain-rod", "finial-round-10-plain-table"])
def test_steady_angles_are_the_measured_ones(name):
    recipe = load(name)
    quick = steady_reading(bench_of(recipe), (25.0, 50.0, 95.0))
    measured = reading_of(measure(shape(recipe)).edge, (25.0, 50.0, 95.0))
    assert quick.nose == pytest.approx(measured.nose, abs=1e-8)
    assert list(quick.wings.values()) == pytest.approx(list(measured.wings.values()), abs=1e-7)
    assert quick.wing_length == pytest.approx(measured.wing_length, abs=1e-8)


def test_contact_off_the_middle_reads_the_mean_of_both_wings(table):
    recipe = changed(from_table(table("foot")), {"grind.0.contact_mm": 6.0})
    quick = Tracer().read(bench_of(recipe), (50.0,))
    measured = reading_of(measure(shape(recipe)).edge, (50.0,))
    assert quick.wings[50.0] == pytest.approx(measured.wings[50.0], abs=1e-7)
    assert quick.nose == pytest.approx(measured.nose, abs=1e-9)


def random_case(rng, table):
    """A random grind that a person can make, and its edge; None where it cannot be made."""
    base = rng.choice(["foot", "rod"])
    edits = {
        "jig.projection_mm": rng.uniform(55, 85),
        "jig.nose_angle_deg": rng.uniform(24, 48),
        "wheel.diameter_mm": rng.uniform(140, 260),
        "grind.0.wing_length_mm": rng.uniform(5, 11),
        "jig.arm_cant_deg" if base == "foot" else "jig.hinge_cant_deg": rng.uniform(30, 50),
    }
    recipe = changed(from_table(table(base)), edits)
    try:
        edge = measure_edge(shape(recipe))
    except InputError:
        return None
    return (recipe, edge) if edge.overcut < 1e-6 and np.isfinite(edge.cut.z).all() else None


def test_round_trips_over_200_random_cases(table):
    # settings → measured edge → settings: the ones it was ground with are among the solutions, to 1e-6 mm.
    rng, done = np.random.default_rng(20261124), 0
    while done < 200:
        case = random_case(rng, table)
        if case is None:
            continue
        recipe, edge = case
        found = reading_of(edge, (50.0,))
        bench = bench_of(recipe)
        truth = {name: bench.value(name) for name in ("distance", "projection")}
        start = with_settings(recipe, {"distance": truth["distance"] + 3, "projection": truth["projection"] - 4})
        wants = (Want("nose", found.nose), Want("wing50", found.wings[50.0]))
        frees = tuple(Free(NAMES[name], *NAMES[name].bounds) for name in truth)
        answer = solve(Problem(start, wants, frees))
        assert answer.exact
        off = min(max(abs(s.values[name] - truth[name]) for name in truth) for s in answer.solutions)
        assert off < 1e-6, (truth, [s.values for s in answer.solutions])
        done += 1


@pytest.mark.parametrize(
    "free", [["distance", "cant"], ["distance", "fullness"], ["projection", "cant"], ["cant", "shoulder"]]
)
def test_round_trips_with_other_free_settings(free):
    recipe = load(FOOT)
    bench = bench_of(recipe)
    found = Tracer().read(bench, (30.0, 70.0))
    wants = [f"wing30={found.wings[30.0]!r}", f"wing70={found.wings[70.0]!r}"]
    if "distance" in free:
        wants[0] = f"nose={found.nose!r}"
    # The pocket stays where it is: the recipe holds a nose angle, which would move it.
    start = with_settings(recipe, {free[1]: bench.value(free[1]) * 1.05, "distance": bench.value("distance")})
    answer = solve(problem(start, wants, free))
    assert answer.exact
    assert min(max(abs(s.values[n] - bench.value(n)) for n in free) for s in answer.solutions) < 1e-6


def test_every_stop_that_can_be_met_is_a_solution_of_its_own():
    answer = solve(problem(load(FOOT), ["nose=35", "wing50=47"], ["distance", "projection"], ["cant=30,35,40,45"]))
    assert answer.exact
    assert sorted(s.values["cant"] for s in answer.solutions) == [35.0, 40.0, 45.0]
    assert answer.solutions[0].values["cant"] == 40.0  # the nearest to the recipe comes first


def test_both_solutions_where_the_wing_angle_turns_back():
    # Nose held by the distance, the wing angle has a turning point in the fullness: two fullnesses give one angle.
    recipe, places = load(FOOT), np.linspace(0.2, 0.8, 25)
    bench = bench_of(recipe)
    angle = [Tracer().read(bench.set({"fullness": f}), (50.0,)).wings[50.0] for f in places]
    turns = np.flatnonzero(np.diff(np.sign(np.diff(angle))) != 0)
    assert len(turns), "the case no longer turns: choose another per cent"
    top = angle[turns[0] + 1]
    inside = (top + max(angle[0], angle[-1])) / 2 if top > angle[0] else (top + min(angle[0], angle[-1])) / 2
    answer = solve(problem(recipe, [f"wing50={inside!r}"], ["fullness=0.2:0.8"]))
    assert answer.exact
    assert len(answer.solutions) == 2
    for one in answer.solutions:
        assert Tracer().read(bench.set(one.values), (50.0,)).wings[50.0] == pytest.approx(inside, abs=1e-7)


def test_too_many_settings_give_the_exact_one_nearest_to_the_present():
    recipe = load(FOOT)
    answer = solve(problem(recipe, ["nose=35", "wing50=48"], ["distance", "projection", "cant"]))
    assert answer.exact
    assert answer.family
    one = answer.solutions[0].values
    bench, spans = bench_of(recipe), {"projection": 100.0, "cant": 90.0}

    def far(values):
        return sum(((values[n] - bench.value(n)) / spans[n]) ** 2 for n in spans)

    # Along the range of solutions nothing is nearer: hold the cant a little beside it and solve for the rest.
    beside = []
    for cant in (one["cant"] - 0.01, one["cant"] + 0.01):
        there = with_settings(recipe, {"cant": cant})
        found = solve(problem(there, ["nose=35", "wing50=48"], ["distance", "projection"])).solutions[0]
        beside.append(far(found.values | {"cant": cant}))
    assert min(beside) > far(one)
    assert beside[0] - far(one) == pytest.approx(beside[1] - far(one), rel=0.01)  # the bottom, not its slope


def test_more_wants_than_settings_is_least_squares():
    recipe = load(FOOT)
    answer = solve(problem(recipe, ["nose=35", "wing25=45", "wing75=52"], ["distance", "projection"]))
    assert not answer.exact
    best = answer.solutions[0]
    bench = bench_of(recipe)

    def size(values):
        found = Tracer().read(bench.set(values), (25.0, 75.0))
        return (found.nose - 35) ** 2 + (found.wings[25.0] - 45) ** 2 + (found.wings[75.0] - 52) ** 2

    for name in ("distance", "projection"):
        for way in (0.05, -0.05):
            assert size(best.values | {name: best.values[name] + way}) > size(best.values)
    assert {unmet.want.name for unmet in answer.unmet} == {
        name for name, miss in best.misses.items() if abs(miss) > 1e-7
    }


def test_no_solution_names_the_want_the_nearest_value_and_what_stops_it():
    answer = solve(problem(load(FOOT), ["nose=35", "wing50=80"]))
    assert not answer.exact
    (unmet,) = answer.unmet
    assert unmet.want.name == "wing50"
    assert "projection is at its upper bound 130" in unmet.because
    best = max(Tracer().read(_with_nose(load(FOOT), p), (50.0,)).wings[50.0] for p in np.linspace(30, 130, 101))
    assert unmet.nearest == pytest.approx(best, abs=1e-6)
    assert "wing50 = 80° cannot be met" in str(unmet)


def _with_nose(recipe, projection):
    bench = bench_of(recipe).set({"projection": projection})
    return bench.set({"distance": bench.nose_distance(35.0)})


def test_an_unreachable_nose_says_where_the_poses_end():
    answer = solve(problem(load(FOOT), ["nose=100"]))
    (unmet,) = answer.unmet
    assert unmet.want.name == "nose"
    bench, end = bench_of(load(FOOT)), answer.solutions[0].values["distance"]
    assert bench.set({"distance": end}).nose_angle() == pytest.approx(unmet.nearest, abs=1e-6)
    with pytest.raises(InputError):
        Tracer().read(bench.set({"distance": end + 1e-3}), ())


def test_a_distance_bound_stops_the_nose():
    answer = solve(problem(load(FOOT), ["nose=45"], ["distance=20:110"]))
    (unmet,) = answer.unmet
    assert answer.solutions[0].values["distance"] == pytest.approx(110, abs=1e-9)
    assert unmet.nearest == pytest.approx(bench_of(load(FOOT)).set({"distance": 110}).nose_angle(), abs=1e-9)
    assert "distance stops at 110.0 mm: its bound" in unmet.because


def test_wing_length_and_land_are_set_directly():
    recipe = load("finial-round-10-relief-foot")
    asked = problem(recipe, ["nose=34", "wing_length=8", "land=1.5"], ["distance"])
    found = corrected(asked, solve(asked).solutions[0])
    made = measure(shape(found.recipe))
    assert made.edge.wing_length(1) == pytest.approx(8, abs=1e-9)
    assert made.nose_angle == pytest.approx(34, abs=1e-7)
    assert made.land == pytest.approx(1.5, abs=1e-3)


def test_the_surface_agrees_with_the_solution():
    asked = problem(load(ROD), ["nose=30", "wing50=45"])
    found = corrected(asked, solve(asked).solutions[0])
    assert found.reading.nose == pytest.approx(30, abs=1e-7)
    assert found.reading.wings[50.0] == pytest.approx(45, abs=1e-7)


def test_table_and_steady_grinds():
    table = load("finial-round-10-plain-table")
    answer = solve(problem(table, ["nose=42", "wing50=60"]))
    assert answer.exact
    found = confirmed(problem(table, ["nose=42", "wing50=60"]), answer.solutions[0].values)
    assert found.reading.nose == pytest.approx(42, abs=1e-6)
    assert found.reading.wings[50.0] == pytest.approx(60, abs=1e-6)
    rod = load("finial-round-10-plain-rod")
    answer = solve(problem(rod, ["nose=38"]))
    assert confirmed(problem(rod, ["nose=38"]), answer.solutions[0].values).reading.nose == pytest.approx(38, abs=1e-7)


@pytest.mark.parametrize("name", [FOOT, ROD])
def test_a_ruler_sets_half_millimetres_where_it_is_laid(name):
    asked = problem(load(name), ["nose=30", "wing50=45"])
    exact = solve(asked).solutions[0].values
    ruler = ruled(asked, exact)
    found = confirmed(asked, ruler)
    laid = machine(found.bench, found.setting)["straight_distance_mm"]
    for value in (laid, ruler["projection"]):
        assert value * 2 == pytest.approx(round(value * 2), abs=1e-9)
    assert abs(ruler["projection"] - exact["projection"]) < 0.5
    assert abs(ruler["distance"] - exact["distance"]) < 0.5
    rod = 6.0 if name == ROD else 0.0
    assert laid == pytest.approx(ruler["distance"] - rod, abs=1e-9)
    # What it gives is what is measured there, not what was asked for.
    assert found.reading.nose == pytest.approx(measure(shape(found.recipe)).nose_angle, abs=1e-12)
    assert 1e-4 < abs(found.reading.nose - 30) < 1


@pytest.mark.parametrize("diameter", [150, 200, 250])
@pytest.mark.parametrize("projection", [65, 75])
@pytest.mark.parametrize("name", [FOOT, ROD])
def test_usual_noses_need_sane_distances(diameter, projection, name):
    # Common practice, no source: noses of 25° to 35° at 65 and 75 mm projection on wheels of 150, 200 and 250 mm.
    recipe = changed(load(name), {"wheel.diameter_mm": diameter, "jig.projection_mm": projection})
    distances = []
    for nose in (25, 30, 35):
        answer = solve(problem(recipe, [f"nose={nose}"], ["distance"]))
        assert answer.exact
        distances.append(answer.solutions[0].values["distance"])
    assert all(5 < distance < 200 for distance in distances)
    # Practice: moving the pocket outward blunts the nose.
    assert np.all(np.diff(distances) > 0)


BAD = [
    (["nosee=35"], [], [], 'given "nosee", which cannot be asked for'),
    (["nose"], [], [], "given 'nose', allowed is NAME=VALUE"),
    (["nose=abc"], [], [], "nose: given abc, allowed is a number"),
    (["nose=nan"], [], [], "nose: given nan, allowed is a number"),
    (["nose=inf"], [], [], "nose: given inf, allowed is a number"),
    (["nose=0"], [], [], "want nose: given 0, allowed is from 1 to 179 degrees"),
    (["wing0=40"], [], [], 'given "wing0", which cannot be asked for'),
    (["wing_length=-3"], [], [], "want wing_length: given -3, allowed is above 0"),
    (["nose=35", "nose=36"], [], [], "nose is given twice"),
    (["wing_length=5", "wing-length=6"], [], [], "wing_length is asked for twice"),
    ([], [], [], "nothing is asked for"),
    (["nose=35"], ["projektion"], [], "Did you mean projection?"),
    (["nose=35"], ["tilt"], [], "given tilt, which a foot jig with a traced path on a wheel does not have"),
    (["nose=35"], ["projection=90:50"], [], "given projection from 90 to 50"),
    (["nose=35"], ["projection=90"], [], "given 90, allowed is FROM:TO, as 50:90"),
    (["nose=35"], [], ["cant"], "allowed is NAME=VALUE"),
    (["nose=35"], [], ["cant=a,b"], "cant: given a, allowed is a number"),
    (["land=2"], [], [], "want land: is asked for, but the recipe has no relief"),
]


@pytest.mark.parametrize(("wants", "free", "stops", "message"), BAD, ids=[str(case[:3]) for case in BAD])
def test_bad_input(wants, free, stops, message):
    with pytest.raises((InputError, ValueError)) as caught:
        solve(problem(load(FOOT), wants, free, stops))
    assert message in str(caught.value)
