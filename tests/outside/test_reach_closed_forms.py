"""Reach in closed form: a bevel's chord in a bore, on flat wood and on a cylinder (derived from the circle's chord)."""

from dataclasses import replace

import numpy as np
import pytest

from conftest import grind_tool, tool_table
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.reach.body import HEEL, build_body
from gougeform.reach.contact import Contact
from gougeform.reach.posture import Postures, places_at
from gougeform.reach.result import Terms, reach
from gougeform.reach.search import Fineness, search
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table as recipe_of
from gougeform.work.distance import Wood
from gougeform.work.files import from_table, load_work
from gougeform.work.meridian import Meridian

SOURCE = "α = asin(c/2ρ) + asin(c/2R), by the circle's chord · derived"


def ring(bore, length=300.0):
    p = np.array([[-length, bore + 30], [length, bore + 30], [length, bore], [-length, bore]])
    cut = np.array([False, False, True, False])
    return Meridian(p, np.roll(p, -1, 0), np.zeros((4, 2)), np.zeros(4), cut, cut.astype(int), True)


def at_the_nose(body, meridian, piece, tolerance=1e-9):
    contact = Contact(body, Wood(meridian), places_at(meridian, np.array([piece]), np.array([0.5])), tolerance)
    return contact.smallest(Postures(np.zeros(1, int), np.zeros(1), np.zeros(1), np.zeros(1)), 1.5)


def nose_bevel(gouge):
    """mm: the chord of the bevel at the nose."""
    edge = measure_edge(gouge)
    return edge.bevel[edge.nose]


@pytest.mark.parametrize("bore", [20.0, 50.0])
@pytest.mark.parametrize("wheel", [150.0, 200.0])
def test_heel_in_a_bore(agree, bore, wheel):
    """asin(c / 2 rho) + asin(c / 2 R) at inclination 0, the head alone."""
    gouge = grind_tool("foot", {"wheel.diameter_mm": wheel})
    body, chord = build_body(gouge, head_only=True), nose_bevel(gouge)
    found = at_the_nose(body, ring(bore), 2)
    want = np.arcsin(chord / (2 * bore)) + np.arcsin(chord / wheel)
    # 0.002 degrees: what a point may be in the wood when the steps end, over the bevel's length.
    agree("clearance angle where the heel rides in a bore", np.degrees(found.alpha[0]), np.degrees(want), 0.002, "deg")
    assert found.part[0] == HEEL


@pytest.mark.parametrize(("bore", "wanted"), [(20.0, 23.6637), (50.0, 12.3028)])
def test_worked_heel_in_a_bore(agree, bore, wanted):
    """A bevel of chord 12.8557 from a wheel of 150 in bores of radius 20 and 50: 23.6637° and 12.3028°."""
    chord, radius, stands = 12.8557, 75.0, np.radians(38.0)
    edits = {
        "wheel.diameter_mm": 2 * radius,
        "bar.diameter_mm": 12.7,
        "flute.radius_mm": 5.0,
        "flute.web_mm": float(chord * np.sin(stands)),
        "jig.nose_angle_deg": float(np.degrees(stands - np.arcsin(chord / 2 / radius))),
    }
    gouge = shape(changed(recipe_of(tool_table("foot")), edits))
    body = build_body(gouge, head_only=True)
    assert nose_bevel(gouge) == pytest.approx(chord, abs=1e-8)
    found = at_the_nose(body, ring(bore), 2)
    agree("clearance angle in a bore, worked values", np.degrees(found.alpha[0]), wanted, 0.002, "deg")


def test_heel_on_flat_wood(agree):
    """asin(c / 2 R): a cylinder so thick that it is flat to 1e-5 mm over the bevel."""
    body, chord = build_body(grind_tool("foot"), head_only=True), nose_bevel(grind_tool("foot"))
    # The end face of a disc is flat: cut across it, far from its rim.
    disc = from_table({"start_mm": [-30.0, 900.0], "piece": [{"shape": "line", "to_mm": [0.0, 900.0]}]})
    found = at_the_nose(body, disc, 2)
    want = np.degrees(np.arcsin(chord / 200.0))
    agree("clearance angle where the heel rides on flat wood", np.degrees(found.alpha[0]), want, 0.002, "deg")


def test_a_plain_cylinder_needs_no_clearance_angle(agree):
    """Outside a cylinder thinner than the wheel the wood falls away faster than the hollow of the bevel."""
    found = reach(grind_tool("foot"), load_work("cylinder"), Terms(places=6))
    agree("clearance angle on a plain cylinder: the bevel rides", found.alpha, 0, 1e-12, "deg")
    assert (found.part == -1).all()
    agree("length of profile that is reached on a plain cylinder", found.length_mm, 100.0, 1e-11, "mm")


def test_a_shorter_bevel_never_reaches_less():
    """A bevel cut short by a relief, in a bore: what was in the way is gone, and nothing has been added."""
    meridian = replace(load_work("bore"))
    places = places_at(meridian, np.full(3, 2), np.array([0.1, 0.4, 0.7]))
    coarse = Fineness(boxes=2000)
    least = []
    for land in (None, 4.0, 2.0):
        body = build_body(grind_tool("foot") if land is None else grind_tool("foot-relief", {"grind.1.land_mm": land}))
        found = search(Contact(body, Wood(meridian), places), coarse)
        least.append(np.degrees(found.alpha))
    assert (least[1] <= least[0] + 0.1).all()
    assert (least[2] <= least[1] + 0.1).all()
    assert (least[2] < least[0] - 0.2).any()
