"""Reach: the search misses nothing, halving the patches changes nothing, and what is reported fits together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from conftest import grind_tool
from dense import of_points
from gougeform.errors import InputError
from gougeform.reach.answer import columns, overhang_row, place_rows, result
from gougeform.reach.body import BEHIND_HEEL, PARTS, SAGITTA_MM, SHANK, build_body
from gougeform.reach.contact import FINEST_MM, TOLERANCE_MM, Contact
from gougeform.reach.cove import COVE_ERROR_MM, cove_meridian, tightest_cove
from gougeform.reach.posture import Postures, Rest, edge_points, handle_direction, overhang, placed, places_at
from gougeform.reach.result import Terms, at_overhang, reach
from gougeform.reach.search import SEARCH_ERROR_DEG, USABLE_WING, Fineness, search
from gougeform.work.distance import Wood
from gougeform.work.files import from_table, load_work

HALVING_DEG = 0.05
"""Halving all patches moves a smallest clear angle by less than this."""


@pytest.fixture(scope="module")
def body():
    return build_body(grind_tool("foot"))


@pytest.fixture(scope="module")
def cup(body):
    """The egg cup at a few places, outside and in the hollow."""
    return reach(grind_tool("foot"), load_work("egg-cup"), Terms(places=16), body=body)


def contact_at(body, name, places, seed):
    meridian = load_work(name)
    rng = np.random.default_rng(seed)
    piece = rng.choice(np.flatnonzero(meridian.cut), places)
    return Contact(body, Wood(meridian), places_at(meridian, piece, rng.uniform(0.05, 0.95, places)))


def contact_near_corners(body, name, places, seed):
    """Places up to 2 mm from inward corners, where windows are narrow."""
    meridian = load_work(name)
    rng = np.random.default_rng(seed)
    ends = [(i, side) for side, corner in enumerate(meridian.inner_corners()) for i in np.flatnonzero(corner)]
    ends = [(i, side) for i, side in ends if meridian.cut[i]]
    piece, side = np.array([ends[k] for k in rng.integers(0, len(ends), places)]).T
    off = rng.uniform(0.1, 2.0, places) / meridian.length[piece]
    return Contact(body, Wood(meridian), places_at(meridian, piece, np.where(side == 1, 1 - off, off)))


@pytest.mark.parametrize(("work", "seed"), [("bore", 1), ("egg-cup", 2), ("finial", 3), ("baluster", 4)])
def test_a_dense_search_finds_nothing_better(body, work, seed):
    """61 edge places × 61 inclinations of every place and feed: none is clear at SEARCH_ERROR_DEG less."""
    contact = (contact_near_corners if work in ("finial", "baluster") else contact_at)(body, work, 4, seed)
    best = search(contact)
    edge = USABLE_WING * np.linspace(*body.ends, 61)
    lam = np.radians(np.linspace(0, Fineness().inclination_max_deg, 61))
    looked_at = 0
    for group in range(len(best.alpha)):
        found, feed = best.alpha[group], best.feed[group]
        cap = np.radians(30.0) if not np.isfinite(found) else found - np.radians(SEARCH_ERROR_DEG)
        if cap <= 0:
            continue
        k, i = (a.ravel() for a in np.meshgrid(edge, -feed * lam))
        dense = Postures(np.full(len(k), group // 2), k, i, np.zeros(len(k)))
        alpha = contact.smallest(dense, cap).alpha
        clear = dense.at(alpha).take(np.isfinite(alpha))
        # In at the far end of the bore, where the chuck is, nobody stands.
        inward = handle_direction(body, contact.places, clear)[:, 0] * contact.places.mouth[clear.place] < 0
        assert inward.all()
        looked_at += 1
    assert looked_at > 0


def test_of_two_equal_directions_the_downhill_one_is_named(cup):
    """Common practice, no source: cut downhill, outside toward the smaller radius, in a hollow toward the larger."""
    n = len(cup.places)
    ahead = cup.places.point + 1e-6 * cup.places.tangent
    rise = ahead[:, 1] - cup.places.point[:, 1]  # mm, of the cut along the profile
    inside = cup.meridian.inside[cup.places.piece]
    sloped = np.abs(rise) > 2e-8
    assert inside[sloped].any()
    assert (~inside)[sloped].any()
    downhill = np.where((rise < 0) != inside, 0, 1)
    level = np.array([[0.0, 0.9 * SEARCH_ERROR_DEG]] * n)
    for alpha in (level, level[:, ::-1], np.full((n, 2), np.inf)):
        assert (replace(cup, alpha=alpha).either[sloped] == downhill[sloped]).all()
    # What the search can tell apart decides, and so does the limit.
    for alpha in ([0.0, 2 * SEARCH_ERROR_DEG], [9.99, 10.01], [5.0, np.inf]):
        assert (replace(cup, alpha=np.array([alpha] * n)).either == 0).all()
        assert (replace(cup, alpha=np.array([alpha[::-1]] * n)).either == 1).all()
    words = {row["slope"] for row in place_rows(cup)}
    assert {"uphill", "downhill"} <= words
    for i, row in enumerate(place_rows(cup)):
        if sloped[i // 2]:
            assert (row["slope"] == "downhill") == (i % 2 == downhill[i // 2])


def test_halving_the_patches_moves_no_angle(body):
    fine = build_body(grind_tool("foot"), fineness=2.0)
    assert len(fine.part) > 2 * len(body.part)
    contact = contact_at(body, "egg-cup", 12, 11)
    rng = np.random.default_rng(5)
    n = 40
    postures = Postures(
        rng.integers(0, 12, n),
        rng.uniform(-0.7, 0.7, n) * body.ends[1],
        np.radians(rng.uniform(-70, 70, n)),
        np.zeros(n),
    )
    coarse = np.degrees(contact.smallest(postures, 0.6).alpha)
    halved = np.degrees(replace(contact, body=fine).smallest(postures, 0.6).alpha)
    both = np.isfinite(coarse) & np.isfinite(halved)
    assert both.sum() > 10
    assert (np.isfinite(coarse) == np.isfinite(halved)).mean() > 0.95
    assert np.abs(coarse[both] - halved[both]).max() < HALVING_DEG
    assert coarse[both].max() > 1


def test_the_smallest_clear_angle_is_the_first_clear_one(body):
    """Against every angle in steps of 0.1 degrees: none before it is clear, and it is."""
    contact = contact_at(body, "egg-cup", 12, 21)
    rng = np.random.default_rng(3)
    postures = Postures(
        np.arange(12), rng.uniform(-0.4, 0.4, 12) * body.ends[1], np.radians(rng.uniform(-75, 75, 12)), np.zeros(12)
    )
    found = contact.smallest(postures, 1.0).alpha
    some = np.isfinite(found) & (found > np.radians(0.5))
    postures, found = postures.take(some), found[some]
    assert len(found) >= 2
    assert contact.clear(postures.at(found)).all()
    for angle in np.radians(np.arange(0, 57, 0.1)):
        before = angle < found - 1e-4
        if before.any():
            assert not contact.clear(postures.take(before).at(np.full(before.sum(), angle))).any()


def test_the_edge_lies_on_the_wood_and_the_bevel_at_its_angle(cup):
    """The contract's own definition: the edge point at W, edge tangent in the wood's tangent plane, alpha to it."""
    postures, body = cup.best.postures, cup.body
    turn, shift = placed(body, cup.places, postures)
    at = np.einsum("nij,nj->ni", turn, edge_points(body, postures.edge)) + shift
    w, n = cup.places.point[postures.place], cup.places.normal[postures.place]
    assert np.abs(at - np.column_stack([w, np.zeros(len(w))])).max() < 1e-9
    normal = np.column_stack([n, np.zeros(len(n))])
    near = [np.stack([np.interp(postures.edge, body.arc, row) for row in v]) for v in (body.edge, body.out, body.back)]
    tangent, out, back = (np.einsum("nij,jn->ni", turn, v) for v in near)  # between stations, so not quite of length 1
    assert np.abs((tangent * normal).sum(1)).max() < 1e-4
    assert np.allclose((out * normal).sum(1), -np.cos(postures.alpha), atol=1e-4)
    assert (back[:, 2] > 0).all()  # the wood moves from the edge toward the heel
    t = np.column_stack([cup.places.tangent[postures.place], np.zeros(len(w))])
    assert ((back * t).sum(1) * cup.best.feed <= 1e-4).all()  # the edge leads in the direction of feed


def test_what_is_reached_and_what_stops_the_rest(cup):
    inside = cup.meridian.inside[cup.places.piece]
    assert cup.reached[~inside].all()
    assert not cup.reached[inside].all()
    assert 60 < cup.length_mm < cup.whole_mm
    assert cup.deepest is not None
    assert cup.deepest["inside"] == 1
    assert 10 < cup.deepest["depth_mm"] < 30
    stopped = cup.alpha > 0.05
    assert (cup.part[stopped] >= 0).all()
    assert (cup.part[cup.alpha == 0] == -1).all()
    # Where a smaller angle is stopped the tool touches the wood there.
    touch = cup.touch_world()[stopped & np.isfinite(cup.alpha)]
    depth = of_points(cup.contact.wood, touch)
    assert np.abs(depth + TOLERANCE_MM).max() < 0.05


def test_gaps_are_real_distances(cup):
    """Against points strewn over the shank alone."""
    rows = np.flatnonzero(np.isfinite(cup.alpha.ravel()))[:6]
    postures = cup.best.postures.take(rows)
    turn, shift = placed(cup.body, cup.places, postures)
    corners = cup.body.corners[cup.body.part == SHANK]
    u, v = np.meshgrid(np.linspace(0, 1, 9), np.linspace(0, 1, 9))
    weight = np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v], -1).reshape(-1, 4)
    points = np.einsum("wc,ncj->nwj", weight, corners).reshape(-1, 3)
    column = BEHIND_HEEL.index(SHANK)
    for i, row in enumerate(rows):
        d = of_points(cup.contact.wood, points @ turn[i].T + shift[i]).min()
        got = cup.gaps.reshape(-1, 4)[row, column]
        assert got <= d + FINEST_MM
        assert got == pytest.approx(d, abs=0.03)
    assert (cup.clearance == cup.gaps.min(2))[np.isfinite(cup.alpha)].all()


def test_a_longer_overhang_reaches_no_less(cup):
    limited = {most: at_overhang(cup, most) for most in (12.0, 25.0, 60.0)}
    rows = [overhang_row(found, most) for most, found in limited.items()]
    reached = [row["places_reached"] for row in rows]
    assert reached == sorted(reached)
    assert reached[0] < reached[-1] == int(cup.reached.sum())
    assert rows[0]["deflection_mm"] < rows[1]["deflection_mm"] < rows[2]["deflection_mm"]
    held = limited[12.0]
    clear = np.isfinite(held.alpha)
    assert (held.overhang[clear] <= 12.0 + 1e-6).all()
    assert (held.alpha[clear] >= cup.alpha[clear] - SEARCH_ERROR_DEG).all()


def test_overhang_by_hand(body):
    """Nose on a cylinder of radius 25, alpha and lambda 0: the bar rises from the tangent plane as from the bevel."""
    meridian = load_work("cylinder")
    places = places_at(meridian, np.array([1]), np.array([0.5]))
    postures = Postures(np.zeros(1, int), np.zeros(1), np.zeros(1), np.zeros(1))
    beta = abs(np.arcsin(body.out[2, np.abs(body.arc).argmin()]))  # bar axis against the bevel's tangent plane
    turn, shift = placed(body, places, postures)
    axis = turn[0] @ np.array([0.0, 0.0, -1.0])
    assert axis[1] == pytest.approx(np.sin(beta), abs=1e-12)
    origin = shift[0]
    t = np.linspace(0, 40, 400_001)
    far = np.hypot(origin[1] + t * axis[1], origin[2] + t * axis[2])
    want = t[np.flatnonzero(far >= 30.0)[0]]
    assert overhang(body, places, postures, Rest(30.0))[0] == pytest.approx(want, abs=2e-4)


def follows(body, radius: float) -> bool:
    """Whether a tool can follow the wall of a cove, by a longer search than the halving's; from the bottom up."""
    fine = Fineness(most_deg=10.0, enough_deg=10.0, boxes=40_000)
    meridian = cove_meridian(radius)
    wood = Wood(meridian)
    for share in (0.5, 0.38, 0.26, 0.14, 0.02):
        places = places_at(meridian, np.array([2]), np.array([share]))
        if not np.isfinite(search(Contact(body, wood, places), fine, feeds=(1,)).alpha[0]):
            return False
    return True


def test_tightest_cove(body):
    """It can follow the one found, and a finer search finds no way into one clearly tighter."""
    cove = tightest_cove(body, 10.0)
    assert cove.radius is not None
    assert follows(body, cove.radius)
    tighter = cove.radius - 2 * COVE_ERROR_MM
    assert not follows(body, tighter)
    # A more pointed nose follows a tighter cove.
    assert follows(build_body(grind_tool("foot", {"grind.0.wing_length_mm": 14.0})), tighter)


def test_a_tool_that_does_not_fit_at_all():
    """A bore narrower than the bar: nothing is reached, and it is said what is in the way."""
    hole = from_table(
        {
            "kind": "ring",
            "start_mm": [0.0, 12.0],
            "piece": [
                {"shape": "line", "to_mm": [40.0, 12.0], "cut": False},
                {"shape": "line", "to_mm": [40.0, 2.5], "cut": False},
                {"shape": "line", "to_mm": [0.0, 2.5]},
                {"shape": "line", "to_mm": [0.0, 12.0], "cut": False},
            ],
        }
    )
    found = reach(grind_tool("foot"), hole, Terms(places=5))
    middle = np.abs(found.places.point[:, 0] - 20) < 9
    assert not np.isfinite(found.alpha[middle]).any()
    assert (found.part[middle] >= 0).all()
    assert np.isnan(found.clearance[middle]).all()


@pytest.mark.parametrize(
    ("terms", "field", "words"),
    [
        (Terms(rest_mm=20.0), "rest_mm", ["given 20", "inside the wood", "25 mm"]),
        (Terms(rest_mm=float("nan")), "rest_mm", ["inside the wood"]),
        (Terms(gap_mm=-1.0), "gap_mm", ["given -1", "from 0 to 200"]),
        (Terms(limit_deg=60.0), "limit_deg", ["given 60", "0 to 30 degrees"]),
        (Terms(places=2), "places", ["given 2"]),
        (Terms(force_n=float("inf")), "force_n", ["given inf"]),
        (Terms(tolerance_mm=0.0), "tolerance_mm", ["given 0"]),
    ],
)
def test_refused(terms, field, words):
    with pytest.raises(InputError) as caught:
        reach(grind_tool("foot"), load_work("cylinder"), terms)
    assert caught.value.field == field
    assert all(word in str(caught.value) for word in words)


@pytest.mark.parametrize("most", [0.0, -5.0, 1000.0, float("nan")])
def test_refused_overhangs(cup, most):
    with pytest.raises(InputError, match="overhang"):
        at_overhang(cup, most)


def test_result_is_plain(cup):
    import json

    from gougeform.present.json import json_text

    whole = result(cup, None, [], 0.25)
    again = json.loads(json_text(whole))
    assert again["places"] == len(cup.places)
    rows = place_rows(cup)
    assert len(rows) == 2 * len(cup.places) == len(again["at"])
    assert {row["stopped_by"] for row in rows} <= {None, *PARTS}
    table = columns(rows)
    assert len({len(column) for column in table.values()}) == 1
    assert "touch_lathe_x_mm" in table
    assert again["places_reached"] == sum(cup.reached)


@pytest.mark.parametrize("work", ["egg-cup", "finial", "bore"])
def test_no_posture_called_clear_is_deeper_on_a_mesh_four_times_finer(body, work):
    """Every corner of patches a quarter the size, all of them on the surface: none deeper than tolerance and 0.001 mm.

    But for the sagitta of the coarse patches, which stand for the surface to SAGITTA_MM.
    """
    fine = build_body(grind_tool("foot"), fineness=4.0)
    assert len(fine.part) > 12 * len(body.part)
    found = reach(grind_tool("foot"), load_work(work), Terms(places=10), body=body)
    rows = np.flatnonzero(np.isfinite(found.alpha.ravel()))
    turn, shift = placed(body, found.places, found.best.postures.take(rows))
    points = fine.corners.reshape(-1, 3)
    deepest = 0.0
    for k in range(len(rows)):
        at = points @ turn[k].T + shift[k]
        near = np.hypot(at[:, 1], at[:, 2]) < found.meridian.box[1, 1] + 1
        distance = found.contact.wood.distance(at[near, 0], np.hypot(at[near, 1], at[near, 2]))
        deepest = min(deepest, float(distance.min(initial=0.0)))
    assert len(rows) > 8
    assert deepest >= -(TOLERANCE_MM + SAGITTA_MM + 0.001)


def test_the_answer_says_how_what_is_drawn_is_held(cup):
    from gougeform.reach.answer import answer

    said = answer(cup.gouge.recipe, cup.meridian, cup.terms, cove=False, changes=False)
    [block] = [one for one in said.blocks if one.title == "As it is drawn"]
    assert "handle" in block.points[0]
    assert "o'clock" in block.points[0]
