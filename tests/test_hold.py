"""What a hand can hold: closed forms against plain tries; the chain of postures; what would reach a place missed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from conftest import grind_tool
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.reach.body import build_body
from gougeform.reach.change import what_would_reach
from gougeform.reach.contact import Contact
from gougeform.reach.follow import followed
from gougeform.reach.hold import FREE, USUALLY, Hold
from gougeform.reach.posture import handle_direction, overhang, placed
from gougeform.reach.result import Terms, held_by, reach
from gougeform.reach.search import ARM_MM, search
from gougeform.reach.stance import person, words
from gougeform.work.distance import Wood
from gougeform.work.files import load_work


@pytest.fixture(scope="module")
def cup():
    return reach(grind_tool("foot-relief"), load_work("egg-cup"), Terms(places=24))


def clear_rows(found):
    return np.flatnonzero(np.isfinite(found.alpha.ravel()))


def test_every_posture_told_is_one_a_hand_can_hold(cup):
    """The limits of the contract (common practice, no source), asked of the placed tool itself."""
    rows = clear_rows(cup)
    assert len(rows) > 20
    postures = cup.best.postures.take(rows)
    height = np.radians(cup.stance.reshape(-1, 3)[rows, 0])
    h = person(handle_direction(cup.body, cup.places, postures), height)
    inside = cup.places.mouth[postures.place] != 0
    assert inside.any()
    assert (~inside).any()
    psi, down = np.degrees(height), -np.degrees(np.arcsin(h[:, 1]))
    e = 2e-3
    assert (np.abs(np.degrees(postures.lam)) <= 75 + e).all()
    assert ((psi >= -10 - e) & (psi <= 80 + e))[~inside].all()
    assert ((psi >= -45 - e) & (psi <= 45 + e))[inside].all()
    assert ((down >= -e) & (down <= 50 + e))[~inside].all()
    assert ((down >= -10 - e) & (down <= 30 + e))[inside].all()
    assert (h[~inside, 2] > 0).all()
    assert (handle_direction(cup.body, cup.places, postures)[inside, 0] > 0).all()
    assert (overhang(cup.body, cup.places, postures, cup.rest) <= cup.gouge.recipe.bar.length_mm).all()


def test_the_height_told_is_the_best_of_all_heights(cup):
    """Against 0.05 degree steps round the work: no allowed height holds the handle nearer to the wished slope."""
    for row in clear_rows(cup)[::3]:
        posture = cup.best.postures.take([row])
        h = handle_direction(cup.body, cup.places, posture)
        inside = int(cup.places.mouth[posture.place[0]] != 0)
        psi = np.radians(np.arange(USUALLY.height_deg[inside][0], USUALLY.height_deg[inside][1] + 1e-9, 0.05))
        seen = person(np.repeat(h, len(psi), 0), psi)
        slope = seen[:, 1]
        good = (slope <= np.sin(np.radians(USUALLY.up_deg[inside]))) & (
            slope >= -np.sin(np.radians(USUALLY.down_deg[inside]))
        )
        if not inside:
            good &= seen[:, 2] > 0
        wish = -np.sin(np.radians(USUALLY.wish_deg[inside]))
        mine = person(h, np.radians(cup.stance.reshape(-1, 3)[[row], 0]))[0, 1]
        assert abs(mine - wish) <= np.abs(slope[good] - wish).min() + 1e-9


def test_holding_never_makes_it_easier(cup):
    """Narrower limits cost something somewhere, and gain nothing anywhere (up to the search's error)."""
    narrow = Hold(height_deg=((60.0, 80.0), (-2.0, 2.0)), up_deg=(0.0, 2.0), down_deg=(20.0, 2.0))
    free, usual, hard = (
        np.nan_to_num(
            search(cup.contact, hold=held_by(cup.body, cup.rest, replace(cup.terms, hold=hold))).alpha, posinf=9
        )
        for hold in (FREE, USUALLY, narrow)
    )
    assert (free <= usual + np.radians(0.1)).all()
    assert (usual <= hard + np.radians(0.1)).all()
    assert (usual < hard - np.radians(0.5)).any()


def test_a_bed_takes_heights_away():
    body, meridian = build_body(grind_tool("foot")), load_work("coves")
    with_bed = reach(grind_tool("foot"), meridian, Terms(places=12, hold=Hold(bed_mm=75.0)), body=body)
    rows = clear_rows(with_bed)
    turn, shift = placed(body, with_bed.places, with_bed.best.postures.take(rows))
    height = np.radians(with_bed.stance.reshape(-1, 3)[rows, 0])
    reached = 0
    for part in (5, 6, 7):
        points = body.corners[body.part == part].reshape(-1, 3)
        for k in range(len(rows)):
            at = points @ turn[k].T + shift[k]
            seen = person(at, np.full(len(at), height[k]))
            over = seen[:, 2] < Hold().bed_front_mm
            assert (seen[over, 1] >= -75.0 - 0.5).all()
            reached += int(over.any())
    assert reached


def test_limits_that_cannot_be_are_refused():
    for hold, field in ((Hold(bed_mm=-1.0), "bed"), (Hold(up_deg=(95.0, 10.0)), "handle_up")):
        with pytest.raises(InputError) as error:
            reach(grind_tool("foot"), load_work("coves"), Terms(places=8, hold=hold))
        assert error.value.field == field


def test_words_of_an_instructor():
    assert words(40.0, 12.0, -25.0, 60.0) == (
        "cut 40° above centre height, handle 12° below level, swung 25° to the left, flute at two o'clock"
    )
    assert words(0.2, -3.0, 0.1, -31.0) == (
        "cut at centre height, handle 3° above level, square to the lathe, flute at eleven o'clock"
    )


def turns(edge, lam, alpha):
    steps = np.diff(np.stack([edge / ARM_MM, lam, alpha]), axis=1)
    return np.sqrt((steps**2).sum(0))


def test_postures_along_a_cut_follow_each_other():
    """The chain turns less in all than the search's own postures, and no place pays more than the search's gain."""
    gouge, meridian = grind_tool("foot"), load_work("coves")
    found = reach(gouge, meridian, Terms(places=40))
    hold = held_by(found.body, found.rest, found.terms)
    plain = search(found.contact, found.terms.fineness, hold=hold)
    chain = followed(found.contact, plain, found.terms.fineness, hold)
    worse = np.nan_to_num(chain.alpha, posinf=9.0) - np.nan_to_num(plain.alpha, posinf=9.0)
    assert worse.max() <= np.radians(found.terms.fineness.gain_deg) + 1e-12
    for feed in (0, 1):
        before, after = (
            turns(one.postures.edge[feed::2], one.postures.lam[feed::2], one.alpha[feed::2]) for one in (plain, chain)
        )
        good = np.isfinite(before) & np.isfinite(after)
        assert after[good].sum() <= before[good].sum() + 1e-9
    clear = np.isfinite(chain.alpha)
    assert found.contact.clear(chain.postures.take(clear)).all()
    assert np.isfinite(found.jumps).any()
    assert np.nanmax(found.jumps) < 180


def test_what_would_reach_is_ground_and_reaches():
    """A blunter nose reaches the floor of the cup, and what is told is the least that does, to a degree."""
    gouge, meridian = grind_tool("foot-relief"), load_work("egg-cup")
    found = reach(gouge, meridian, Terms(places=16))
    assert not found.reached.all()
    [change] = what_would_reach(found)
    assert "nose angle" in change.words
    for key, recipe in change.recipes.items():
        again = reach(shape(recipe), meridian, found.terms)
        missed = ~found.reached
        ends = np.flatnonzero(missed)[[0, -1]]
        assert again.reached[ends].all(), key
    nose = change.by["nose_angle_deg"]
    assert 40 < nose <= 80
    assert found.alpha.shape == (len(found.places), 2)


def test_free_takes_what_the_wood_allows():
    body, meridian = build_body(grind_tool("foot")), load_work("bore")
    found = reach(grind_tool("foot"), meridian, Terms(places=8), body=body)
    free = replace(found.terms, hold=FREE)
    contact = Contact(body, Wood(meridian), found.places)
    one = search(contact, hold=held_by(body, found.rest, free))
    assert (
        np.nan_to_num(one.alpha, posinf=9.0) <= np.nan_to_num(found.best.alpha, posinf=9.0) + np.radians(0.05)
    ).sum() >= 14
