"""Reach along a workpiece as complete results: every place with its posture, and what all of them come to.

Lengths in mm, angles in degrees here: this is what a person sees.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.reach.body import BEHIND_HEEL, PARTS, Body, build_body
from gougeform.reach.contact import TOLERANCE_MM, Contact
from gougeform.reach.follow import followed
from gougeform.reach.gap import gaps as gaps_of
from gougeform.reach.hold import USUALLY, Hold
from gougeform.reach.posture import Places, Postures, Rest, edge_points, overhang, placed, places_at, roll, swing
from gougeform.reach.search import SEARCH_ERROR_DEG, USUAL, Best, Fineness, search
from gougeform.reach.stance import person, stances, words
from gougeform.stiffness.beam import FORCE_N, Beam, beam_of
from gougeform.work.distance import wood_of
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]

LIMIT_DEG = 10.0
PLACES = 60
GAP_MM = 5.0
_HALVINGS = 4
_LEVEL = 0.01  # sine of the slope below which a profile counts as level: half a degree


@dataclass(frozen=True)
class Terms:
    """What is asked. limit_deg: a place is reached where the clearance angle needs no more. gap_mm: wood to rest.

    rest_mm: the rest's distance from the lathe's axis, instead of the gap. force_n: cutting force for deflections.
    """

    limit_deg: float = LIMIT_DEG
    places: int = PLACES
    gap_mm: float = GAP_MM
    rest_mm: float | None = None
    force_n: float = FORCE_N
    tolerance_mm: float = TOLERANCE_MM
    fineness: Fineness = USUAL
    hold: Hold = USUALLY


@dataclass(frozen=True, eq=False)
class Reach:
    """One tool along one workpiece. Columns have n places × 2 feeds, feed along the profile first.

    alpha: deg, infinite where no posture is clear. part: what stops a smaller angle, an index into PARTS, -1 nothing.
    touch: (n, 2, 3) where that is on the tool, mm. edge_place, lam: the posture's edge place (mm along
    the edge from the nose, positive to the tool's right) and inclination (deg).
    stance: (n, 2, 3) deg: height of the cut above centre, handle below level, flute clockwise from twelve.
    gaps: (n, 2, 4) mm behind the heel, by BEHIND_HEEL. overhang, deflection, hand_force, frequency: mm, mm, N, Hz.
    """

    gouge: Gouge
    terms: Terms
    contact: Contact
    rest: Rest
    beam: Beam
    best: Best
    alpha: Floats
    part: Ints
    touch: Floats
    edge_place: Floats
    lam: Floats
    swing: Floats
    stance: Floats
    roll: Floats
    gaps: Floats
    overhang: Floats
    deflection: Floats
    hand_force: Floats
    frequency: Floats

    @property
    def meridian(self) -> Meridian:
        """The workpiece."""
        return self.contact.wood.meridian

    @property
    def places(self) -> Places:
        """The n places."""
        return self.contact.places

    @property
    def body(self) -> Body:
        """The tool."""
        return self.contact.body

    @cached_property
    def either(self) -> Ints:
        """(n,) which feed needs the smaller angle; the downhill one where the search cannot tell the two apart."""
        first, second = self.alpha.T
        tie = np.abs(np.nan_to_num(first, posinf=1e3) - np.nan_to_num(second, posinf=1e3)) <= SEARCH_ERROR_DEG
        most = self.terms.limit_deg + 1e-9
        tie &= (first <= most) == (second <= most)
        return np.where(tie & (self.slope[:, 0] != 0), self.slope.argmin(1), self.alpha.argmin(1))

    @cached_property
    def slope(self) -> Ints:
        """(n, 2) -1 where a cut runs downhill, +1 uphill, 0 where the profile is level there.

        Downhill is into the wood's side: on outside work toward the smaller radius, on the inside of a hollow toward
        the larger one. With the grain along the lathe, as in all spindle work, each fibre cut downhill lies on a longer
        one (common practice, no source).
        """
        rise = self.places.tangent[:, 1]
        way = np.where(np.abs(rise) < _LEVEL, 0, np.sign(rise)).astype(np.intp)
        way = np.where(self.meridian.inside[self.places.piece], -way, way)
        return np.stack([way, -way], 1)

    @cached_property
    def least(self) -> Floats:
        """(n,) deg: smallest clearance angle of both feeds."""
        return np.asarray(self.alpha.min(1))

    @cached_property
    def reached(self) -> Flags:
        """(n,) whether a place is reached in one of the feeds."""
        return self.least <= self.terms.limit_deg + 1e-9

    @cached_property
    def clearance(self) -> Floats:
        """(n, 2) mm: the smallest gap behind the heel."""
        return np.asarray(self.gaps.min(2))

    def depth(self, point: Floats) -> Floats:
        """(n,) mm: how deep places (n, 2) lie: below the largest radius, inside below the mouth."""
        return self.meridian.box[1, 1] - point[:, 1]

    @cached_property
    def stretches(self) -> list[tuple[int, float, float]]:
        """Reached stretches (piece, share from, share to), their ends found by halving between places."""
        return _stretches(self)

    @property
    def length_mm(self) -> float:
        """Length of profile reached."""
        return float(sum(self.meridian.length[i] * (b - a) for i, a, b in self.stretches))

    @property
    def whole_mm(self) -> float:
        """Length of profile that is to be cut."""
        return float(self.meridian.length[self.meridian.cut].sum())

    @cached_property
    def deepest(self) -> dict[str, float] | None:
        """The deepest place reached: outside that nearest to the lathe's axis, inside the farthest from the mouth."""
        found = None
        for outside in (True, False):
            ends = [
                (i, s)
                for i, a, b in self.stretches
                if bool(self.meridian.inside[i]) != outside
                for s in np.linspace(a, b, 33)
            ]
            if not ends:
                continue
            piece, share = (np.array(column) for column in zip(*ends, strict=True))
            p = self.meridian.point(piece.astype(np.intp), share)
            mouth = self.meridian.mouth[piece.astype(np.intp)]
            behind = np.where(mouth > 0, self.meridian.box[1, 0] - p[:, 0], p[:, 0] - self.meridian.box[0, 0])
            depth = self.meridian.box[1, 1] - p[:, 1] if outside else behind
            k = int(depth.argmax())
            one = {"x_mm": float(p[k, 0]), "rho_mm": float(p[k, 1]), "depth_mm": float(depth[k])}
            if found is None or not outside:
                found = one | {"inside": float(not outside)}
        return found

    @cached_property
    def jumps(self) -> Floats:
        """(n - 1,) deg: how far the tool turns, seen by the person, from place to place in the better direction.

        NaN where one of them is not reached, where the direction changes, and between outside and inside.
        """
        turn, _ = placed(self.body, self.places, self.best.postures)
        height = np.radians(self.stance[..., 0]).ravel()
        axes = np.stack([person(turn[:, :, k], height) for k in range(3)], 2)
        n = np.arange(len(self.places))
        mine = axes[2 * n + self.either]
        cosine = (np.einsum("nij,nij->n", mine[:-1], mine[1:]) - 1) / 2
        good = self.reached[:-1] & self.reached[1:] & (self.either[:-1] == self.either[1:])
        good &= self.places.mouth[:-1] == self.places.mouth[1:]
        return np.where(good, np.degrees(np.arccos(np.clip(cosine, -1, 1))), np.nan)

    def index(self, place: int, feed: int) -> int:
        """Row of the best posture of a place and feed (0 or 1)."""
        return 2 * place + feed

    def held_words(self, place: int, feed: int) -> str:
        """How a posture is held, as an instructor says it."""
        height, down, clock = map(float, self.stance[place, feed])
        return words(height, down, float(self.swing[place, feed]), clock)

    def touch_world(self) -> Floats:
        """(n, 2, 3) mm: the touching places in lathe coordinates (x along it, y toward the place, z)."""
        turn, shift = placed(self.body, self.places, self.best.postures)
        at = np.einsum("nij,nj->ni", turn, self.touch.reshape(-1, 3)) + shift
        return np.asarray((at * [1, 1, -1]).reshape(self.touch.shape))


def reach(gouge: Gouge, meridian: Meridian, terms: Terms | None = None, *, body: Body | None = None) -> Reach:
    """Search the whole profile.

    Raises InputError for terms that cannot be, and a rest inside the wood.
    """
    terms = terms or Terms()
    check_terms(terms)
    rest = rest_for(meridian, terms)
    wood = wood_of(meridian)
    places = places_at(meridian, *meridian.places(terms.places))
    contact = Contact(body or build_body(gouge), wood, places, terms.tolerance_mm)
    hold = held_by(contact.body, rest, terms)
    best = followed(contact, search(contact, terms.fineness, hold=hold), terms.fineness, hold)
    return _complete(gouge, terms, contact, rest, best)


def _complete(gouge: Gouge, terms: Terms, contact: Contact, rest: Rest, best: Best) -> Reach:
    postures, shape = best.postures, (len(contact.places), 2)
    beam = beam_of(gouge.recipe, gouge.section)
    clear = np.isfinite(postures.alpha)
    # Where nothing is clear the posture that comes nearest stands for the place, at the largest angle looked at.
    shown = postures.at(np.where(clear, postures.alpha, np.radians(terms.fineness.most_deg)))
    part, touch = contact.stopper(shown)
    gaps = gaps_of(contact, shown)
    over = overhang(contact.body, contact.places, shown, rest)
    deflection, hand, frequency = _bending(contact, beam, shown, over, terms.force_n)
    none = ~clear
    for column in (gaps, over, deflection, hand, frequency):
        column[none] = np.nan
    return Reach(
        gouge=gouge,
        terms=terms,
        contact=contact,
        rest=rest,
        beam=beam,
        best=replace(best, postures=shown),
        alpha=np.degrees(postures.alpha).reshape(shape),
        part=part.reshape(shape),
        touch=touch.reshape(*shape, 3),
        edge_place=shown.edge.reshape(shape),
        lam=np.degrees(shown.lam).reshape(shape),
        swing=np.degrees(swing(contact.body, contact.places, shown)).reshape(shape),
        stance=np.degrees(stances(contact.body, contact.places, shown, held_by(contact.body, rest, terms))).reshape(
            *shape, 3
        ),
        roll=np.degrees(roll(contact.body, contact.places, shown)).reshape(shape),
        gaps=gaps.reshape(*shape, len(BEHIND_HEEL)),
        overhang=over.reshape(shape),
        deflection=deflection.reshape(shape),
        hand_force=hand.reshape(shape),
        frequency=frequency.reshape(shape),
    )


def _bending(
    contact: Contact, beam: Beam, postures: Postures, over: Floats, force: float
) -> tuple[Floats, Floats, Floats]:
    """Deflection, hand force and frequency (n,) of postures; NaN where the rest is out of reach of edge or hand."""
    turn, _ = placed(contact.body, contact.places, postures)
    begin = edge_points(contact.body, postures.edge)[:, 2]
    # The wood pushes the edge along v, the third placed coordinate.
    push = turn[:, 2, :2] * force
    out = np.full((3, len(over)), np.nan)
    known: dict[int, tuple[Floats, float, float]] = {}
    for i in np.flatnonzero(np.isfinite(over)):
        at = over[i] - begin[i]  # the beam counts from the nose
        if not 0 < at < beam.hand:
            continue
        key = round(at * 20)
        if key not in known:
            a = min(max(key / 20, 1e-3), beam.hand - 1e-3)
            known[key] = beam.give(a), beam.hand_force(a, force), beam.frequency(a)
        give, hand, frequency = known[key]
        out[:, i] = float(np.hypot(*(give @ push[i]))), hand, frequency
    return out[0], out[1], out[2]


def check_terms(terms: Terms) -> None:
    """Raise InputError for a term out of its range."""
    terms.hold.check()
    for name, value, low, high, unit in (
        ("inclination_max", terms.fineness.inclination_max_deg, 1.0, 88.0, "degrees"),
        ("wing", 100 * terms.fineness.wing, 10.0, 100.0, "per cent"),
    ):
        if not low <= value <= high:
            raise InputError(name, f"given {value:g}, allowed is from {low:g} to {high:g} {unit}", f"change {name}")
    for name, low, high, unit in (
        ("limit_deg", 0.0, terms.fineness.most_deg, "degrees"),
        ("places", 4, 2000, ""),
        ("gap_mm", 0.0, 200.0, "mm"),
        ("force_n", 0.0, 1e5, "N"),
        ("tolerance_mm", 1e-6, 1.0, "mm"),
    ):
        value = getattr(terms, name)
        if not (np.isfinite(value) and low <= value <= high):
            raise InputError(
                name, f"given {value:g}, allowed is from {low:g} to {high:g} {unit}".rstrip(), f"change {name}"
            )


def rest_for(meridian: Meridian, terms: Terms) -> Rest:
    """The rest along the whole work at the gap, or at the distance asked for; and across the mouth of a hollow.

    Raises InputError where the rest would stand in the wood.
    """
    high = meridian.box[1]
    radius = float(high[1]) + terms.gap_mm
    if terms.rest_mm is not None:
        if not np.isfinite(terms.rest_mm) or terms.rest_mm < high[1]:
            raise InputError(
                "rest_mm",
                f"given {terms.rest_mm:g}: the rest would stand inside the wood, largest radius {high[1]:g} mm",
                f"a rest at {high[1]:g} mm from the lathe's axis or further out",
            )
        radius = float(terms.rest_mm)
    low = meridian.box[0]
    return Rest(radius, float(high[0]) + terms.gap_mm, float(low[0]) - terms.gap_mm)


def _stretches(r: Reach) -> list[tuple[int, float, float]]:
    """Halve between neighbours of which one is reached; from the outermost place reached on, to the piece's end."""
    m, p = r.meridian, r.places
    out: list[list[float]] = []
    edges: list[tuple[int, int, float, float]] = []  # stretch, which end, reached share, share not reached
    for i in np.unique(p.piece):
        mine = np.flatnonzero(p.piece == i)
        ok, share = r.reached[mine], p.share[mine]
        k = 0
        while k < len(mine):
            if not ok[k]:
                k += 1
                continue
            first = k
            while k + 1 < len(mine) and ok[k + 1]:
                k += 1
            number = len(out)
            # Half the way to the end of a piece without an inward corner is taken as reached with its last place.
            out.append([float(i), 0.0 if first == 0 else share[first], 1.0 if k + 1 == len(mine) else share[k]])
            if first > 0:
                edges.append((number, 1, share[first], share[first - 1]))
            if k + 1 < len(mine):
                edges.append((number, 2, share[k], share[k + 1]))
            k += 1
    if edges:
        piece = np.array([int(out[n][0]) for n, *_ in edges])
        good, bad = np.array([e[2] for e in edges]), np.array([e[3] for e in edges])
        for _ in range(_HALVINGS):
            middle = (good + bad) / 2
            ok = reached_at(r, piece, middle)
            good, bad = np.where(ok, middle, good), np.where(ok, bad, middle)
        for (number, end, *_), value in zip(edges, good, strict=True):
            out[number][end] = float(value)
    del m
    return [(int(i), a, b) for i, a, b in out]


def reached_at(r: Reach, piece: Ints, share: Floats) -> Flags:
    """(k,) whether other places of the same workpiece are reached."""
    contact = replace(r.contact, places=places_at(r.meridian, piece, share))
    return within(contact, r.terms, held_by(r.body, r.rest, r.terms))


def reached_by(r: Reach, body: Body, which: Ints) -> Flags:
    """(k,) whether places `which` of the same workpiece are reached by another tool."""
    contact = replace(r.contact, body=body, places=r.places.take(which))
    return within(contact, r.terms, held_by(body, r.rest, r.terms))


def within(contact: Contact, terms: Terms, hold: Floats) -> Flags:
    """(n,) whether each place has a posture within the limit, which is quicker to say than which is best."""
    most = max(terms.limit_deg, 1e-3)
    best = search(contact, replace(terms.fineness, most_deg=most, enough_deg=most), hold=hold)
    return np.asarray(np.isfinite(best.alpha).reshape(-1, 2).any(1))


def held_by(body: Body, rest: Rest, terms: Terms, most: float = np.inf) -> Floats:
    """(25,): what a person can hold over this rest, at most `most` mm over it, as the search takes it."""
    return terms.hold.terms(body, rest.radius, (rest.right, rest.left), most)


def at_overhang(r: Reach, most: float) -> Reach:
    """The same search among postures that hang at most `most` mm over the rest.

    Raises InputError for an overhang that cannot be.
    """
    if not (np.isfinite(most) and 0 < most < r.beam.hand):
        raise InputError(
            "overhang",
            f"given {most:g}, allowed is above 0 and below {r.beam.hand:g} mm, where the rear hand holds the tool",
            "change the overhang",
        )
    hold = held_by(r.body, r.rest, r.terms, most)
    best = followed(r.contact, search(r.contact, r.terms.fineness, hold=hold), r.terms.fineness, hold)
    return _complete(r.gouge, r.terms, r.contact, r.rest, best)


def part_name(part: int) -> str:
    """The plain word for a part, "nothing" where nothing stops a smaller angle."""
    return "nothing" if part < 0 else PARTS[part]
