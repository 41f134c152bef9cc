"""Reach in closed form: a bevel's chord in a bore, on flat wood and on a cylinder (derived from the circle's chord)."""

from dataclasses import replace

import numpy as np
import pytest

from conftest import grind_tool
from gougeform.reach.body import HEEL, build_body
from gougeform.reach.contact import Contact
from gougeform.reach.posture import Postures, places_at
from gougeform.reach.result import Terms, reach
from gougeform.reach.search import Fineness, search
from gougeform.work.distance import Wood
from gougeform.work.files import from_table, load_work
from gougeform.work.meridian import Meridian


def ring(bore, length=300.0):
    p = np.array([[-length, bore + 30], [length, bore + 30], [length, bore], [-length, bore]])
    inside = np.array([False, False, True, False])
    return Meridian(p, np.roll(p, -1, 0), np.zeros((4, 2)), np.zeros(4), inside, inside, True)


def at_the_nose(body, meridian, piece, tolerance=1e-9):
    contact = Contact(body, Wood(meridian), places_at(meridian, np.array([piece]), np.array([0.5])), tolerance)
    nose = np.array([body.stations.nose])
    return contact.smallest(Postures(np.zeros(1, int), nose, np.zeros(1), np.zeros(1)), 1.5)


@pytest.mark.parametrize("bore", [20.0, 50.0])
@pytest.mark.parametrize("wheel", [150.0, 200.0])
def test_heel_in_a_bore(bore, wheel):
    """asin(c / 2 rho) + asin(c / 2 R) at inclination 0, the head alone."""
    body = build_body(grind_tool("foot", {"wheel.diameter_mm": wheel}), head_only=True)
    chord = body.stations.bevel[body.stations.nose]
    found = at_the_nose(body, ring(bore), 2)
    want = np.arcsin(chord / (2 * bore)) + np.arcsin(chord / wheel)
    # 0.002 degrees: what a point may be in the wood when the steps end, over the bevel's length.
    assert np.degrees(found.alpha[0]) == pytest.approx(np.degrees(want), abs=0.002)
    assert found.part[0] == HEEL


def test_heel_on_flat_wood():
    """asin(c / 2 R): a cylinder so thick that it is flat to 1e-5 mm over the bevel."""
    body = build_body(grind_tool("foot"), head_only=True)
    chord = body.stations.bevel[body.stations.nose]
    # The end face of a disc is flat: cut across it, far from its rim.
    disc = from_table({"start_mm": [-30.0, 900.0], "piece": [{"shape": "line", "to_mm": [0.0, 900.0]}]})
    found = at_the_nose(body, disc, 2)
    assert np.degrees(found.alpha[0]) == pytest.approx(np.degrees(np.arcsin(chord / 200.0)), abs=0.002)


def test_a_plain_cylinder_needs_no_clearance_angle():
    """Outside a cylinder thinner than the wheel the wood falls away faster than the hollow of the bevel."""
    found = reach(grind_tool("foot"), load_work("cylinder"), Terms(places=6))
    assert (found.alpha == 0).all()
    assert (found.part == -1).all()
    assert found.length_mm == pytest.approx(100.0)


def test_a_shorter_bevel_never_reaches_less():
    """A bevel cut short by a relief, in a bore: what was in the way is gone, and nothing has been added."""
    meridian = replace(load_work("bore"))
    places = places_at(meridian, np.full(3, 2), np.array([0.1, 0.4, 0.7]))
    coarse = Fineness(stations=9, lam_deg=20.0, rounds=4)
    least = []
    for land in (None, 4.0, 2.0):
        body = build_body(grind_tool("foot") if land is None else grind_tool("foot-relief", {"grind.1.land_mm": land}))
        found = search(Contact(body, Wood(meridian), places), coarse)
        least.append(np.degrees(found.alpha))
    assert (least[1] <= least[0] + 0.1).all()
    assert (least[2] <= least[1] + 0.1).all()
    assert (least[2] < least[0] - 0.2).any()
