"""Input that reads well and fails only when it is ground: one table, input to exact words."""

from __future__ import annotations

import json

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table

LONG = {"length_mm": 150.0}
SHARP_SQUARE = {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 0.8, **LONG}


def flute(*points):
    return {"flute": {"shape": "points", "points_mm": [list(p) for p in points], "length_mm": 60.0}}


def bar(*points):
    return {"bar": {"outline": "points", "points_mm": [list(p) for p in points], **LONG}}


REFUSED = {
    "flute deeper than the bar": (
        "foot",
        {"flute.web_mm": 10.0},
        ("flute.web_mm", "given 10: the bar is 10 mm thick, so no flute is left", "Give a web below 10"),
    ),
    "measured flute deeper than the bar": (
        "foot",
        flute((0, -6), (1, -5.5), (5, 6)),
        ("flute.points_mm", "the flute is deeper than the bar", "Keep its floor above y = -5"),
    ),
    "measured flute over the bar": (
        "foot",
        flute((0, 6), (1, 6.5), (5, 9)),
        ("flute.points_mm", "the flute lies over the bar", "Keep its floor below y = 5"),
    ),
    "flute that closes inside the bar": (
        "foot",
        {"flute.radius_mm": 1.0, "flute.web_mm": 3.0},
        ("flute", "does not meet the bar's outline on the left side", "Use a larger flute radius or a thicker web"),
    ),
    "lopsided flute": (
        "foot",
        flute((-4, 4), (-2, 2), (0, 1), (2, 2.5), (4, 4)),
        ("flute.points_mm", "the two sides differ by 0.5 mm", "Average the two sides"),
    ),
    "flute without a floor": (
        "foot",
        flute((1, 1), (2, 2.5), (4, 4)),
        ("flute.points_mm", "no point on the middle plane x = 0", "Give the floor as a point [0, y]"),
    ),
    "flute that crosses itself": (
        "foot",
        flute((0, 1), (3, 2), (1, 2), (2, 1), (5, 5)),
        ("flute.points_mm", "the flute crosses itself or the middle plane", "Give the points in order"),
    ),
    "bar that crosses itself": (
        "foot",
        bar((5, 5), (-5, -5), (5, -5), (-5, 5)),
        ("bar.points_mm", "the outline crosses itself", "Give the points in order around the bar"),
    ),
    "bar on one side": (
        "foot",
        bar((5, 5), (1, -5), (5, -5)),
        ("bar.points_mm", "does not reach both sides of the middle plane", "Measure x from the middle of the flute"),
    ),
    "two bar points in one place": (
        "foot",
        bar((5, 5), (-5, 5), (-5, 5), (0, -5)),
        ("bar.points_mm", "points 2 and 3 are the same", "Remove one of them"),
    ),
    "no pose, foot jig": (
        "foot",
        {"jig.arm_cant_deg": 0.0},
        (
            "grind.0.wing_length_mm",
            "the jig has no pose that grinds the left wing 1.4 mm behind the nose (asked: 10 mm)",
            "A shorter wing, another cant, or another projection",
        ),
    ),
    "no pose, rod jig": (
        "rod",
        {"jig.hinge_cant_deg": 0.0},
        ("grind.0.wing_length_mm", "the jig has no pose that grinds the left wing", "A shorter wing, another cant"),
    ),
    "no pose, table": (
        "table",
        {"grind.0.wing_length_mm": 5.0},
        ("grind.0.wing_length_mm", "the jig has no pose that grinds the left wing", "(asked: 5 mm)"),
    ),
    "over-cut over 0.1 mm": (
        "foot",
        {"bar": SHARP_SQUARE, "grind.0.wing_length_mm": 14.0},
        (
            "grind.0.wing_length_mm",
            "the path cuts 0.12 mm past the outline asked for, on the left wing",
            "allowed is 0.1 mm",
            "A shorter wing, another cant, another projection",
        ),
    ),
    "relief that cuts the wings": (
        "foot-relief",
        {"grind.1.land_mm": 0.3, "grind.1.nose_angle_deg": 30.0, "grind.1.wing_length_mm": 14.0},
        ("grind.0.wing_length_mm", "the path cuts 3.95 mm past the outline", "or less relief"),
    ),
    "wheel too narrow for the roll": (
        "table-steady",
        {"wheel.width_mm": 2.0, "wheel.corner_radius_mm": 0.0, "grind.0.roll_max_deg": 20.0},
        ("wheel.width_mm", "the wheel never reaches x", "steel is left standing", "A wider wheel"),
    ),
    "steel left ahead of the cut": (
        "foot",
        {"jig.nose_angle_deg": 5.0, "jig.projection_mm": 20.0, "jig.height_mm": 0.0},
        (
            "wheel.width_mm",
            "steel would be left standing ahead of the cut at x",
            "the wheel is too narrow there",
            "A wider wheel, a contact place nearer its middle, or a shorter wing",
        ),
    ),
    "contact off the face": (
        "foot",
        {"grind.0.contact_mm": 19.5},
        ("grind.0.contact_mm", "given 19.5, allowed is from -19 to 19 mm, the flat of the face", "use a wider wheel"),
    ),
    "land longer than the bevel": (
        "foot-relief",
        {"grind.1.land_mm": 15.0},
        ("grind.1.land_mm", "given 15: the bevel at the nose is only 10.55 mm long", "A land below 10.55"),
    ),
    "relief blunter than the bevel": (
        "foot-relief",
        {"grind.1.nose_angle_deg": 40.0},
        (
            "grind.1.nose_angle_deg",
            "this relief is not more acute than the bevel before it",
            "A smaller nose angle, or move the pocket or rod toward the wheel",
        ),
    ),
    "relief like the bevel": (
        "foot-relief",
        {"grind.1.nose_angle_deg": 35.0},
        ("grind.1.nose_angle_deg", "this relief is not more acute than the bevel before it", "A smaller nose angle"),
    ),
    "pivot higher than it is far": (
        "foot",
        {"jig.height_mm": -300.0},
        ("jig.height_mm", "given -300: pocket or rod is only 206.8 mm from the wheel's centre", "within that distance"),
    ),
    "pocket in the wheel": (
        "foot",
        {"jig.centre_distance_mm": 80.0},
        ("jig.centre_distance_mm", "given 80: the pocket would lie inside the wheel", "a smaller wheel"),
    ),
    "rod in the wheel": (
        "rod",
        {"jig.centre_distance_mm": 80.0},
        ("jig.centre_distance_mm", "given 80: the rod would lie inside the wheel", "a smaller wheel"),
    ),
    "pocket out of reach": (
        "foot",
        {"jig.rim_distance_mm": 400.0},
        (
            "jig.rim_distance_mm",
            "given 400: rim to pivot is 400.0 mm, but pivot to nose is only 163.5 mm",
            "A smaller distance, or a longer projection",
        ),
    ),
    "handle through the belt": (
        "rod-steady",
        {
            "wheel": {"kind": "belt", "width_mm": 40.0},
            "jig.hinge_cant_deg": 35.0,
            "jig.nose_angle_deg": 35.0,
            "grind.0.roll_max_deg": 170.0,
        },
        ("grind.0.roll_max_deg", "the handle would have to lie in the belt", "Less roll, or another cant"),
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refused(table, name):
    base, edits, (field, *words) = REFUSED[name]
    with pytest.raises(InputError) as caught:
        measure(shape(changed(from_table(table(base)), edits)))
    assert caught.value.field == field
    text = str(caught.value)
    for part in words:
        assert part in text, text
    assert caught.value.hint  # always something to do
    assert "nan" not in text
    assert "inf" not in text.replace("inflat", "")


def test_the_file_is_named(table):
    for base, edits in (("foot", {"flute.web_mm": 10.0}), ("foot", {"jig.height_mm": -300.0})):
        made = table(base)
        for place, value in edits.items():
            head, tail = place.split(".")
            made[head][tail] = value
        with pytest.raises(InputError, match=r"^shop/finial\.toml: "):
            measure(shape(from_table(made, source="shop/finial.toml")))


HARSH = {
    "pointed": ("foot", {"grind.0.shoulder": 0.1, "grind.0.fullness": 0.3}),
    "wing of half a millimetre": ("foot", {"grind.0.wing_length_mm": 0.5}),
    "quarter ellipse": ("foot", {"grind.0.shoulder": 1.0, "grind.0.wing_length_mm": 6.0}),
    "quarter ellipse on a rod jig": ("rod", {"grind.0.shoulder": 1.0}),
    "all but straight": ("foot", {"grind.0.fullness": 0.05, "grind.0.wing_length_mm": 6.0}),
    "all but square": ("foot", {"grind.0.fullness": 0.95, "grind.0.wing_length_mm": 6.0}),
    "wheel of 12 mm": (
        "foot",
        {"wheel.diameter_mm": 12.0, "jig.height_mm": 0.0, "grind.0.wing_length_mm": 2.0},
    ),
    "wheel of 100 m": ("foot", {"wheel.diameter_mm": 1e5}),
    "wall leaning inward": (
        "foot",
        {"bar.diameter_mm": 16.0, "flute.radius_mm": 5.0, "flute.web_mm": 9.0, "grind.0.wing_length_mm": 6.0},
    ),
    "lip on the side of a square bar": (
        "foot",
        {"bar": SHARP_SQUARE, "flute.radius_mm": 7.0, "flute.web_mm": 6.0, "grind.0.wing_length_mm": 4.0},
    ),
    "narrow sharp wheel": ("foot", {"wheel.width_mm": 1.0, "wheel.corner_radius_mm": 0.0}),
    "three grinds": (
        "foot-relief",
        {"grind.2": {"nose_angle_deg": 18.0, "land_mm": 5.0}},
    ),
}


@pytest.mark.parametrize("name", HARSH)
def test_harsh_but_possible(table, name):
    """Warnings are errors here: every number is finite."""
    base, edits = HARSH[name]
    gouge = shape(changed(from_table(table(base)), edits))
    found = result(measure(gouge), [])
    json.dumps(found, allow_nan=False)
    assert np.isfinite(found["nose_angle_deg"])
    assert found["edge_length_mm"] > 2 * found["wing_length_mm"]["right"]
    assert found["steel_removed_mm3"] > 0
    assert 0 < found["cheek_width_mm"]["3"] <= found["cheek_width_mm"]["10"]
