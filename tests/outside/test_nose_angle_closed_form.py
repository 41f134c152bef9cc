"""Settings and nose angle: the law of cosines in the plane of wheel's centre O, pivot P and nose N.

Derived: nose angle = ∠ONP − 90° + ε, cos ∠ONP = (R² + r² − |OP|²)/(2Rr), ε bar axis to N→P (P below: positive).
The datum of a clamp: plain geometry, derived; that the same settings give a slightly different grind on another
section: common practice, no source.
"""

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.read.recipe import changed, from_table


def law_of_cosines(wheel, centre, along, above):
    """Nose angle (deg) from O, P and N alone; along and above: nose from pivot, mm."""
    r = np.hypot(along, above)
    at_nose = np.arccos((wheel**2 + r**2 - centre**2) / (2 * wheel * r))
    return np.degrees(at_nose - np.pi / 2 + np.arctan2(above, along))


def settings(rng, kind):
    fields = {
        "jig.projection_mm": rng.uniform(40, 95),
        "jig.hinge_back_mm": rng.uniform(0, 40),
        "jig.hinge_drop_mm": rng.uniform(0, 25),
        "jig.height_mm": rng.uniform(-60, 60),
        "wheel.diameter_mm": rng.uniform(100, 300),
        "grind.0.wing_length_mm": 0.5,
    }
    if kind == "foot":
        return fields | {"jig.arm_length_mm": rng.uniform(50, 140), "jig.arm_cant_deg": rng.uniform(0, 60)}
    return fields | {"jig.shoe_mm": rng.uniform(15, 60), "jig.hinge_cant_deg": rng.uniform(10, 50)}


def pivot_of_the_nose(fields, kind, floor):
    along = fields["jig.projection_mm"] + fields["jig.hinge_back_mm"]
    above = floor + fields["jig.hinge_drop_mm"]
    if kind == "foot":
        cant = np.radians(fields["jig.arm_cant_deg"])
        return along + fields["jig.arm_length_mm"] * np.cos(cant), above + fields["jig.arm_length_mm"] * np.sin(cant)
    return along, above + fields["jig.shoe_mm"]


@pytest.mark.parametrize("kind", ["foot", "rod"])
def test_200_random_settings(table, kind):
    """The measured nose angle, from surface normals, is the closed form's to 1e-9°, and so is the distance solved."""
    rng = np.random.default_rng(35 if kind == "foot" else 36)
    done = 0
    while done < 100:
        fields = settings(rng, kind)
        wanted = rng.uniform(25, 70)
        recipe = changed(from_table(table(kind)), fields | {"jig.nose_angle_deg": wanted})
        try:
            gouge = shape(recipe)
        except InputError:
            continue  # this jig cannot make even a short wing so: nothing to compare
        along, above = pivot_of_the_nose(fields, kind, gouge.section.y_floor)
        radius, centre = fields["wheel.diameter_mm"] / 2, gouge.settings[0].centre_distance
        assert law_of_cosines(radius, centre, along, above) == pytest.approx(wanted, abs=1e-9)
        assert gouge.settings[0].rim_distance == pytest.approx(centre - radius, abs=1e-9)
        nose = gouge.ground.heights(np.array([[0.0, gouge.section.y_floor]]))
        flute = np.array([0.0, 1.0, 0.0])
        measured = 180 - np.degrees(np.arccos(flute @ nose.normal[:, 0]))
        assert measured == pytest.approx(wanted, abs=1e-9)
        assert nose.z[0] == pytest.approx(0, abs=1e-9)
        done += 1


@pytest.mark.parametrize("kind", ["foot", "rod"])
def test_a_given_distance_is_the_same_setting(table, kind):
    """centre_distance_mm, rim_distance_mm and nose_angle_deg are three ways to say one thing."""
    recipe = from_table(table(kind))
    setting = shape(recipe).settings[0]
    for name, value in (("centre_distance_mm", setting.centre_distance), ("rim_distance_mm", setting.rim_distance)):
        edge = measure_edge(shape(changed(recipe, {f"jig.{name}": value})))
        assert edge.wedge[edge.nose] == pytest.approx(35.0, abs=1e-9)


def test_away_from_the_wheel_is_blunter(table):
    recipe = changed(from_table(table("foot")), {"jig.rim_distance_mm": 106.0})
    angles = []
    for rim in (100.0, 104.0, 108.0, 112.0):
        edge = measure_edge(shape(changed(recipe, {"jig.rim_distance_mm": rim})))
        angles.append(edge.wedge[edge.nose])
    assert (np.diff(angles) > 1).all()


SQUARE = {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.0, "length_mm": 150.0}
ROUND = {"outline": "round", "diameter_mm": 10.0, "length_mm": 150.0}


@pytest.mark.parametrize(
    ("bar", "clamp", "axis_over_datum"),
    [
        (ROUND, {"jig.clamp": "vee", "jig.vee_deg": 90.0}, 5 / np.sin(np.radians(45))),
        (ROUND, {"jig.clamp": "vee", "jig.vee_deg": 120.0}, 5 / np.sin(np.radians(60))),
        # A square on its rounded corners, r 1 about (±4, −4), in a V of half angle 45°: 4√2·sin 90° … = (8·√½ + 1)·√2.
        (SQUARE, {"jig.clamp": "vee", "jig.vee_deg": 90.0}, (8 * np.sqrt(0.5) + 1) * np.sqrt(2)),
        (ROUND, {"jig.clamp": "below"}, 5.0),
        (SQUARE, {"jig.clamp": "below"}, 5.0),
        # Lips pressed against a plate: flute radius 4 with its floor at 1.5; on the round bar both circles meet at
        # y = (25 − 16 + 5.5²)/11, on the square bar the flute leaves through the flat top.
        (ROUND, {"jig.clamp": "above"}, -(25 - 16 + 5.5**2) / 11),
        (SQUARE, {"jig.clamp": "above"}, -5.0),
    ],
)
def test_the_clamps_datum(table, bar, clamp, axis_over_datum):
    """hinge_drop counts from the datum; the axis lies axis_over_datum above it, and the nose angle follows."""
    base = changed(from_table(table("foot")), {"jig.rim_distance_mm": 106.0, "grind.0.wing_length_mm": 4.0})
    recipe = changed(base, {"bar": bar, **clamp})
    gouge = shape(recipe)
    cant = np.radians(40)
    drop = 8.0 + axis_over_datum
    along, above = 65 + 15 + 90 * np.cos(cant), 1.5 + drop + 90 * np.sin(cant)
    edge = measure_edge(gouge)
    assert edge.wedge[edge.nose] == pytest.approx(law_of_cosines(100.0, 206.0, along, above), abs=1e-9)


def test_square_and_round_differ_by_a_known_amount(table):
    """Same settings in the same V: the square bar's axis is higher, so its nose angle is another, by the formula."""
    base = changed(
        from_table(table("foot")),
        {"jig.rim_distance_mm": 106.0, "jig.clamp": "vee", "jig.vee_deg": 90.0, "grind.0.wing_length_mm": 4.0},
    )
    angle = {}
    for name, bar in (("round", ROUND), ("square", SQUARE)):
        edge = measure_edge(shape(changed(base, {"bar": bar})))
        angle[name] = edge.wedge[edge.nose]
    cant = np.radians(40)
    along, above = 80 + 90 * np.cos(cant), 1.5 + 8 + 90 * np.sin(cant)
    rise = {"round": 5 * np.sqrt(2), "square": (8 * np.sqrt(0.5) + 1) * np.sqrt(2)}
    wanted = {name: law_of_cosines(100.0, 206.0, along, above + r) for name, r in rise.items()}
    assert angle["square"] - angle["round"] == pytest.approx(wanted["square"] - wanted["round"], abs=1e-9)
    assert abs(angle["square"] - angle["round"]) > 0.05
