"""Sensitivities against finite differences of the whole simulation, and their worst case and likely sums."""

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load
from gougeform.settings.bench import bench_of
from gougeform.settings.sensitivity import ANGLES, overcut, read_tolerances, sensitivity, sentence
from gougeform.settings.trial import Tracer
from gougeform.settings.wants import reading_of

PER_CENT = (25.0, 50.0, 75.0, 95.0)


def held(recipe):
    """The recipe with the distance written as it stands, so that other settings leave the pocket where it is."""
    if recipe.jig.kind == "table":
        return recipe
    return changed(recipe, {"jig.rim_distance_mm": bench_of(recipe).value("distance")})


def whole(recipe, edits):
    """The outputs by the whole simulation: path, envelope, surface normals."""
    edge = measure_edge(shape(changed(recipe, edits)))
    reading = reading_of(edge, PER_CENT)
    return np.array([reading.nose, *reading.wings.values(), edge.overcut])


FIELDS = {
    "distance": "jig.rim_distance_mm",
    "projection": "jig.projection_mm",
    "arm_length": "jig.arm_length_mm",
    "hinge_back": "jig.hinge_back_mm",
    "hinge_drop": "jig.hinge_drop_mm",
    "shoe": "jig.shoe_mm",
    "tilt": "jig.nose_angle_deg",
    "wing_length": "grind.0.wing_length_mm",
    "fullness": "grind.0.fullness",
    "shoulder": "grind.0.shoulder",
    "roll": "grind.0.roll_max_deg",
}
CANT = {"foot": "jig.arm_cant_deg", "rod": "jig.hinge_cant_deg"}


@pytest.mark.parametrize("base", ["foot", "rod", "table"])
def test_derivatives_are_those_of_the_whole_simulation(table, base):
    recipe = held(from_table(table(base)))
    found = sensitivity(recipe)
    bench = bench_of(recipe)
    assert set(found.names) == set(bench.names)
    for k, name in enumerate(found.names):
        if name == "wheel":
            continue
        field = CANT[base] if name == "cant" else FIELDS[name]
        now = dict(recipe.grinds[0].path)[field.split(".")[-1]] if field.startswith("grind") else bench.value(name)
        step = 2e-4 if field.endswith(("fullness", "shoulder")) else 5e-3
        slope = (whole(recipe, {field: now + step}) - whole(recipe, {field: now - step})) / (2 * step)
        assert found.slope[k, :-1] == pytest.approx(slope[:-1], rel=2e-4, abs=2e-4), name
        assert found.slope[k, -1] == pytest.approx(slope[-1], abs=1e-3), name  # the envelope's own 1e-9 mm, by the step


def test_steady_derivatives_are_those_of_the_whole_simulation():
    recipe = held(
        changed(load("finial-round-10-plain-rod"), {"grind.0.nose_angle_deg": None, "jig.nose_angle_deg": 40.0})
    )
    found = sensitivity(recipe)
    for name in ("distance", "projection", "roll", "shoe"):
        k = found.names.index(name)
        now = bench_of(recipe).value(name)
        slope = (whole(recipe, {FIELDS[name]: now + 5e-3}) - whole(recipe, {FIELDS[name]: now - 5e-3})) / 1e-2
        assert found.slope[k, :5] == pytest.approx(slope[:5], rel=1e-3, abs=1e-3), name


def test_a_wearing_wheel_leaves_the_pocket_where_it_is(table):
    recipe = from_table(table("foot"))
    centre = bench_of(recipe).centre_distance()
    recipe = changed(recipe, {"jig.centre_distance_mm": centre})
    step = 5e-3
    up, down = (whole(recipe, {"wheel.diameter_mm": 200 + way * step}) for way in (1, -1))
    found = sensitivity(recipe)
    assert found.slope[found.names.index("wheel")] == pytest.approx((up - down) / (2 * step), rel=2e-4, abs=2e-4)


def overcutting(table):
    """A grind whose path cuts past its outline: the hinge's cant is too steep for so full an outline."""
    edits = {"jig.projection_mm": 58.0, "jig.hinge_cant_deg": 61.3, "jig.nose_angle_deg": 39.5}
    outline = {"grind.0.wing_length_mm": 8.1, "grind.0.fullness": 0.73, "grind.0.shoulder": 0.47}
    return held(changed(from_table(table("rod")), edits | outline))


def test_over_cut_and_its_derivatives(table):
    recipe = overcutting(table)
    bench = bench_of(recipe)
    edge = measure_edge(shape(recipe))
    assert edge.overcut > 0.1
    assert overcut(bench) == pytest.approx(edge.overcut, rel=0.01)  # the largest lies between two stations
    found = sensitivity(recipe)
    for name in ("cant", "projection"):
        field = CANT["rod"] if name == "cant" else FIELDS[name]
        now = bench.value(name)
        slope = (whole(recipe, {field: now + 0.01}) - whole(recipe, {field: now - 0.01}))[-1] / 0.02
        assert abs(slope) > 1e-3
        assert found.slope[found.names.index(name), -1] == pytest.approx(slope, rel=0.05)


def test_whether_a_path_cuts_past_agrees_with_the_envelope(table):
    rng, seen = np.random.default_rng(5), set()
    start = bench_of(from_table(table("rod")))
    for _ in range(60):
        values = {
            "projection": rng.uniform(40, 100),
            "cant": rng.uniform(10, 70),
            "wing_length": rng.uniform(4, 12),
            "fullness": rng.uniform(0.2, 0.85),
            "shoulder": rng.uniform(0.4, 1),
        }
        bench = start.set(values)
        bench = bench.set({"distance": bench.nose_distance(rng.uniform(25, 50))})
        try:
            cuts = Tracer().cuts_past(bench)
        except InputError:
            continue
        assert cuts == (overcut(bench) > 1e-6), values
        seen.add(cuts)
    assert seen == {True, False}


def test_a_sound_path_is_not_said_to_cut_past(table):
    for base in ("foot", "rod", "table"):
        bench = bench_of(from_table(table(base)))
        assert not Tracer().cuts_past(bench)
        assert overcut(bench) < 1e-6


def test_sums(table):
    recipe = from_table(table("foot"))
    found = sensitivity(recipe, dict.fromkeys(bench_of(recipe).names, 0.0) | {"projection": 2.0, "cant": 1.0})
    p, c = (found.slope[found.names.index(name)] for name in ("projection", "cant"))
    assert found.worst == pytest.approx(np.abs(p) * 2 + np.abs(c), abs=1e-12)
    assert found.likely == pytest.approx(np.hypot(p * 2, c), abs=1e-12)
    most = found.names[found.most(0)]
    assert most == ("projection" if abs(p[0] * 2) > abs(c[0]) else "cant")
    assert f"Measure the {most} most carefully" in sentence(found)


def test_the_sentence_tells_the_direction(table):
    # Practice: moving the pocket outward blunts the nose.
    recipe = from_table(table("foot"))
    only = dict.fromkeys(bench_of(recipe).names, 0.0)
    said = sentence(sensitivity(recipe, only | {"distance": 1.0}))
    assert "1 mm more makes the nose" in said
    assert "blunter" in said
    # A longer projection with the pocket left where it is lays the bevel flatter.
    assert "more acute" in sentence(sensitivity(recipe, only | {"projection": 1.0}))
    assert "nothing changes" in sentence(sensitivity(recipe, only))


def test_nose_does_not_hang_on_the_outline(table):
    found = sensitivity(from_table(table("foot")))
    for name in ("wing_length", "fullness", "shoulder"):
        assert found.slope[found.names.index(name), ANGLES.index("nose")] == pytest.approx(0, abs=1e-8)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"projection": -1}, "tolerance projection: given -1, allowed is from 0 to 100"),
        ({"projection": float("nan")}, "given nan, allowed is from 0 to 100"),
        ({"tilt": 1}, "has no tilt"),
        ({"nothing": 1}, "which is no setting"),
    ],
)
def test_bad_tolerances(table, given, message):
    with pytest.raises(InputError) as caught:
        read_tolerances(bench_of(from_table(table("foot"))), given)
    assert message in str(caught.value)
