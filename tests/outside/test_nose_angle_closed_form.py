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
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table
from gougeform.settings.hone import honing
from gougeform.settings.transfer import wear

SOURCE = "law of cosines in the triangle wheel's centre, pivot, nose · derived"


def law_of_cosines(wheel, centre, along, above):
    """Nose angle (deg) from O, P and N alone; along and above: nose from pivot, mm."""
    r = np.hypot(along, above)
    at_nose = np.arccos((wheel**2 + r**2 - centre**2) / (2 * wheel * r))
    return np.degrees(at_nose - np.pi / 2 + np.arctan2(above, along))


def where(fields, centre, along, above):
    """Contact over the horizontal (deg): the pivot's direction, and the triangle's angle at the wheel's centre."""
    radius, r = fields["wheel.diameter_mm"] / 2, np.hypot(along, above)
    at_centre = np.arccos((radius**2 + centre**2 - r**2) / (2 * radius * centre))
    return np.degrees(np.arcsin(fields["jig.height_mm"] / centre) + at_centre)


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
def test_200_random_settings(table, agree, kind):
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
        formula = law_of_cosines(radius, centre, along, above)
        agree("distance solved for a nose angle, 200 settings", formula, wanted, 1e-11, "deg")
        agree("rim distance less centre distance", gouge.settings[0].rim_distance, centre - radius, 1e-11, "mm")
        lift = np.degrees(gouge.settings[0].contact)
        agree("where on the wheel the nose is ground", lift, where(fields, centre, along, above), 1e-11, "deg")
        nose = gouge.ground.heights(np.array([[0.0, gouge.section.y_floor]]))
        flute = np.array([0.0, 1.0, 0.0])
        measured = 180 - np.degrees(np.arccos(flute @ nose.normal[:, 0]))
        agree("nose angle measured from the normals, 200 settings", measured, formula, 1e-10, "deg")
        agree("the nose's place along the bar, 200 settings", nose.z[0], 0, 1e-11, "mm")
        done += 1


@pytest.mark.parametrize("kind", ["foot", "rod"])
def test_a_given_distance_is_the_same_setting(table, agree, kind):
    """centre_distance_mm, rim_distance_mm and nose_angle_deg are three ways to say one thing."""
    recipe = from_table(table(kind))
    setting = shape(recipe).settings[0]
    for name, value in (("centre_distance_mm", setting.centre_distance), ("rim_distance_mm", setting.rim_distance)):
        edge = measure_edge(shape(changed(recipe, {f"jig.{name}": value})))
        agree("nose angle from a given distance", edge.wedge[edge.nose], 35.0, 1e-11, "deg")


def test_away_from_the_wheel_is_blunter(table, agree):
    recipe = changed(from_table(table("foot")), {"jig.rim_distance_mm": 106.0})
    angles = []
    for rim in (100.0, 104.0, 108.0, 112.0):
        edge = measure_edge(shape(changed(recipe, {"jig.rim_distance_mm": rim})))
        angles.append(edge.wedge[edge.nose])
    practice = "the pocket away from the wheel blunts the nose · common practice"
    agree.falls("nose angle as the pocket comes nearer to the wheel", angles[::-1], "deg", source=practice)


@pytest.mark.parametrize("kind", ["foot", "rod"])
def test_a_wheel_that_wears(table, agree, kind):
    """Distances for worn wheels, and what becomes of the nose if the pocket or rod is left where it stands."""
    recipe = from_table(table(kind))
    gouge = shape(recipe)
    jig = table(kind)["jig"]
    along, above = pivot_of_the_nose({f"jig.{k}": v for k, v in jig.items()}, kind, gouge.section.y_floor)
    stands = gouge.settings[0].centre_distance
    for worn in wear(recipe, [200.0, 190.0, 175.0, 160.0], measure_edge(gouge)):
        angle = law_of_cosines(worn.diameter / 2, worn.centre_distance, along, above)
        agree("distance to set as the wheel wears: nose angle it makes", angle, 35.0, 1e-11, "deg")
        agree("nose angle on a worn wheel", worn.nose, 35.0, 1e-11, "deg")
        left = law_of_cosines(worn.diameter / 2, stands, along, above)
        agree("nose angle on a worn wheel, nothing set again", worn.left, left, 1e-11, "deg")


@pytest.mark.parametrize("diameter", [200.0, 250.0, 300.0])
@pytest.mark.parametrize("base", ["foot", "foot-relief"])
def test_a_honing_wheel(table, agree, base, diameter):
    """Tangent at the edge, or on edge and heel (or the land's end): circles through points of the bevel's circle."""
    recipe = from_table(table(base))
    found = honing(
        recipe, from_table(table("foot") | {"wheel": {"diameter_mm": diameter, "width_mm": 40.0}}).grinds[0].wheel
    )
    chord = 2.5 if base == "foot-relief" else found.chord
    grind, hone, beta = 100.0, diameter / 2, np.radians(35.0)
    # In the middle plane: u along the bar from the nose back, w down; the wheel's centre lies under the bevel.
    heel_at = beta + np.arcsin(chord / 2 / grind)
    heel = chord * np.array([np.cos(heel_at), np.sin(heel_at)])
    agree("chord that a hone lies on", found.chord, chord, 1e-11, "mm")
    tangent, both = found.ways[0], found.ways[1]
    agree("nose angle of a hone tangent at the edge", tangent.nose, 35.0, 1e-11, "deg")
    centre = hone * np.array([-np.sin(beta), np.cos(beta)])
    gap = np.linalg.norm(heel - centre) - hone
    agree("gap between hone and heel, tangent at the edge", tangent.at_heel, gap, 1e-11, "mm")
    # On edge and heel: the centre on the chord's bisector.
    middle, across = heel / 2, np.array([-np.sin(heel_at), np.cos(heel_at)])
    centre = middle + np.sqrt(hone**2 - chord**2 / 4) * across
    angle = np.degrees(np.arctan2(-centre[0], centre[1]))
    agree("nose angle of a hone on edge and heel", both.nose, angle, 1e-11, "deg")
    jig = table(base)["jig"]
    along, above = pivot_of_the_nose({f"jig.{k}": v for k, v in jig.items()}, "foot", 1.5)
    for way in (tangent, both):
        far = way.bench.value("distance") + hone
        agree("distance to set the hone", law_of_cosines(hone, far, along, above), way.nose, 1e-11, "deg")


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
def test_the_clamps_datum(table, agree, bar, clamp, axis_over_datum):
    """hinge_drop counts from the datum; the axis lies axis_over_datum above it, and the nose angle follows."""
    base = changed(from_table(table("foot")), {"jig.rim_distance_mm": 106.0, "grind.0.wing_length_mm": 4.0})
    recipe = changed(base, {"bar": bar, **clamp})
    gouge = shape(recipe)
    cant = np.radians(40)
    drop = 8.0 + axis_over_datum
    along, above = 65 + 15 + 90 * np.cos(cant), 1.5 + drop + 90 * np.sin(cant)
    edge = measure_edge(gouge)
    formula = law_of_cosines(100.0, 206.0, along, above)
    agree("nose angle by what the clamp holds the bar by", edge.wedge[edge.nose], formula, 1e-11, "deg")


def test_square_and_round_differ_by_a_known_amount(table, agree):
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
    differ = wanted["square"] - wanted["round"]
    agree("nose angle, square less round bar, same settings", angle["square"] - angle["round"], differ, 1e-11, "deg")
    assert abs(angle["square"] - angle["round"]) > 0.05
