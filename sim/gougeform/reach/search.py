"""The search for the posture with the smallest clear clearance angle, for every place and direction of cut.

Edge places and inclinations are laid out evenly; a few points of the tool give each of these postures a lower bound.
The postures are then taken in the order of their bounds and solved exactly until no bound left is below the best angle
found. Around the best ones the search goes on with ever smaller steps. Angles in rad here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import Body
from gougeform.reach.contact import WITNESSES, Contact
from gougeform.reach.posture import Places, Postures, Rest, joined, overhang

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]

FEEDS = (1, -1)
"""Directions of cut: along the meridian as it is walked, and against it."""


@dataclass(frozen=True)
class Fineness:
    """How the search is laid out. stations: of the edge at first; lam_deg: step of the inclination at first.
    lam_least_deg: inclinations nearer to zero do not count, which leaves slicing cuts.

    rounds: how often the steps are halved around the best. most_deg: clearance angles beyond are not looked for.
    enough_deg: a place with a clear posture of so small an angle is done, without the search for a smaller one.
    """

    stations: int = 17
    lam_deg: float = 10.0
    lam_most_deg: float = 80.0
    lam_least_deg: float = 0.0
    rounds: int = 5
    most_deg: float = 30.0
    enough_deg: float = 0.0


USUAL = Fineness()

SEARCH_ERROR_DEG = 0.03
"""The best posture found needs at most this much more clearance angle than the best there is (see tests/reach)."""

USABLE_WING = 0.95
"""The last part of each wing, at the lip, is not asked to cut: hardly any bevel is left there to carry the cut."""

_GAIN = np.radians(0.01)  # angles closer than this count as equal
_CLOSER, _HARD_AT_ONCE = 4, 40
_OVERHANG_STEP = np.radians(0.25)
_TRIES = 4  # how often clearance and overhang may push each other on
_KEPT = 3  # postures whose witnesses are kept
_BEYOND = np.radians(15.0)  # bounds above the largest angle still tell where to look further
_TOGETHER = (1200, 120, 12)
_AT_ONCE = (24, 4, 1)  # postures of a group whose bounds are made better together, step by step


@dataclass(frozen=True, eq=False)
class Best:
    """For g = places × feeds, places first: the best posture of each. alpha is infinite where none is clear.

    feed: (g,) +1 or -1. part: (g,) what stops a smaller angle, an index into PARTS, -1 for nothing. touch: (g, 3) mm,
    where on the tool. solved: how many postures were solved exactly.
    """

    postures: Postures
    feed: Ints
    part: Ints
    touch: Floats
    solved: int

    @property
    def alpha(self) -> Floats:
        """(g,) rad."""
        return self.postures.alpha


@dataclass(frozen=True, eq=False)
class Limit:
    """Postures whose overhang over the rest is larger than `most` mm do not count."""

    rest: Rest
    inside: Flags
    most: float

    def first_allowed(self, contact: Contact, postures: Postures, cap: Floats) -> Floats:
        """(n,) rad: the smallest angle from the postures' own on that has the overhang; infinite beyond the cap."""
        out = np.full(len(postures), np.inf)
        todo = np.arange(len(postures))
        for number in range(int(np.ceil(np.pi / 2 / _OVERHANG_STEP))):
            angle = postures.alpha[todo] + number * _OVERHANG_STEP
            keep = angle <= cap[todo]
            todo, angle = todo[keep], angle[keep]
            if not len(todo):
                break
            size = overhang(contact.body, contact.places, postures.take(todo).at(angle), self.rest, self.inside)
            fits = size <= self.most
            out[todo[fits]] = angle[fits]
            todo = todo[~fits]
        return out


@dataclass(eq=False)
class _State:
    """What is known so far about each group (place and feed)."""

    alpha: Floats
    station: Ints
    lam: Floats
    part: Ints
    touch: Floats
    bound: Floats
    witness: Floats
    enough: float
    solved: int = 0

    def remember(self, group: Ints, witness: Floats) -> None:
        """Keep tool points (n, WITNESSES, 3) that stopped postures of groups (n,), each once: the last few of them."""
        self.witness[group] = np.concatenate([witness, self.witness[group, :-WITNESSES]], 1)

    def cap(self, group: Ints, most: float) -> Floats:
        """(n,) rad: larger angles are no gain for these groups; below zero where one is done."""
        known = self.alpha[group]
        return np.where(known <= self.enough, -1.0, np.minimum(known - _GAIN, most))


def search(
    contact: Contact, fineness: Fineness = USUAL, limit: Limit | None = None, feeds: tuple[int, ...] = FEEDS
) -> Best:
    """The best posture of every place and feed."""
    count, k = len(contact.places), len(feeds)
    most = np.radians(fineness.most_deg)
    groups = count * k
    state = _State(
        np.full(groups, np.inf),
        np.zeros(groups, np.intp),
        np.zeros(groups),
        np.full(groups, -1),
        np.full((groups, 3), np.nan),
        np.full(groups, np.inf),
        np.full((groups, _KEPT * WITNESSES, 3), np.nan),
        np.radians(fineness.enough_deg) + 1e-9,
    )
    ends = usable_stations(contact.body)
    stations = np.round(np.linspace(*ends, fineness.stations)).astype(np.intp)
    # The nose is always looked at.
    stations = np.unique(np.append(stations, contact.body.stations.nose))
    steps = round(fineness.lam_most_deg / fineness.lam_deg)
    lam = np.radians(fineness.lam_deg) * np.arange(-steps, steps + 1)
    least = np.radians(fineness.lam_least_deg)
    lam = np.unique(np.concatenate([lam[np.abs(lam) >= least - 1e-9], [-least, least]]))
    grid = _grid(np.arange(count), stations, lam)
    if limit is not None:
        grid = _from_allowed(contact, grid, most, limit)
    mine = [np.flatnonzero(feed * grid.lam <= 1e-12 - least) for feed in feeds]
    every, group = grid.take(np.concatenate(mine)), np.concatenate([grid.place[m] * k + i for i, m in enumerate(mine)])
    # Most places have a posture that rides on its bevel: with it such a place is done, and needs no more bounds.
    easy = np.isfinite(contact.scouted(grid, grid.alpha)) & (grid.alpha <= _GAIN)
    easy = easy[np.concatenate(mine)]
    first = min(max(_GAIN, state.enough), most)
    _solve(contact, every.take(easy), every.alpha[easy], group[easy], state, first, limit)
    left = (state.cap(group, most) > 0) & ~(easy & (first >= most))
    every, group = every.take(left), group[left]
    known = np.isfinite(state.alpha[group])
    bound = contact.scouted(every, np.where(known, state.cap(group, most), most + _BEYOND))
    _solve(contact, every, bound, group, state, most, limit)
    feed_of = np.tile(np.array(feeds), count)
    _look_again(contact, state, feed_of, k, ends, fineness, most, limit)
    _refine(contact, state, feed_of, k, ends, fineness, most, limit)
    place = np.repeat(np.arange(count), k)
    _least_deep(contact, grid, state, feed_of, k, most, float(least))
    return Best(Postures(place, state.station, state.lam, state.alpha), feed_of, state.part, state.touch, state.solved)


def _least_deep(
    contact: Contact, grid: Postures, state: _State, feed: Ints, feeds: int, most: float, least: float
) -> None:
    """Where nothing is clear, let the posture stand that digs in least at the largest angle looked at."""
    hopeless = np.flatnonzero(~np.isfinite(state.alpha))
    if not len(hopeless):
        return
    mine = np.flatnonzero(np.isin(grid.place, hopeless // feeds))
    depth = contact.depths(grid.take(mine).at(np.full(len(mine), most)))
    for group in hopeless:
        fits = (grid.place[mine] == group // feeds) & (feed[group] * grid.lam[mine] <= 1e-12 - least)
        if not fits.any():
            continue  # no posture has the overhang asked for
        i = mine[fits][depth[fits].argmin()]
        state.station[group], state.lam[group] = grid.station[i], grid.lam[i]


def usable_stations(body: Body) -> tuple[int, int]:
    """First and last station of the edge that may cut: within USABLE_WING of each wing's length from the nose."""
    edge = body.stations
    nose = edge.arc[edge.nose]
    usable = np.where(edge.arc < nose, nose - edge.arc <= USABLE_WING * nose, True)
    usable &= np.where(edge.arc > nose, edge.arc - nose <= USABLE_WING * (edge.arc[-1] - nose), True)
    inside = np.flatnonzero(usable)
    return int(inside[0]), int(inside[-1])


def _from_allowed(contact: Contact, grid: Postures, most: float, limit: Limit) -> Postures:
    """The postures that can have the overhang at all, from the angle on where they first do."""
    start = limit.first_allowed(contact, grid, np.full(len(grid), most))
    return grid.at(start).take(np.isfinite(start))


def _grid(place: Ints, station: Ints, lam: Floats) -> Postures:
    p, s, i = np.meshgrid(place, station, lam, indexing="ij")
    return Postures(p.ravel(), s.ravel(), i.ravel(), np.zeros(p.size))


def _solve(
    contact: Contact,
    postures: Postures,
    bound: Floats,
    group: Ints,
    state: _State,
    most: float,
    limit: Limit | None,
) -> None:
    """Work through postures in the order of their bounds until no bound is below the best of its group.

    A posture's bound is made better in steps: by many points, by all vertices, and at last it is solved.
    """
    # Of equal bounds the one nearest to the nose and to a square edge goes first: it is the plainest to hold.
    nose, last = contact.body.stations.nose, contact.body.point.shape[1] - 1
    plain = (postures.lam / np.pi) ** 2 + ((postures.station - nose) / last) ** 2
    order = np.lexsort((plain, np.round(bound / _GAIN), group))
    # Where nothing is clear yet, the posture with the least bound is where to look further.
    first = order[np.unique(group[order], return_index=True)[1]]
    better = (bound[first] < state.bound[group[first]]) & ~np.isfinite(state.alpha[group[first]])
    i = first[better]
    state.bound[group[i]], state.station[group[i]], state.lam[group[i]] = bound[i], postures.station[i], postures.lam[i]
    level = np.zeros(len(bound), np.intp)
    while True:
        order = order[bound[order] <= state.cap(group[order], most)]
        if not len(order):
            return
        order = order[np.lexsort((plain[order], np.round(bound[order] / _GAIN), group[order]))]
        g = group[order]
        begin = np.flatnonzero(np.concatenate([[True], g[1:] != g[:-1]]))
        # Few groups take more at once: the work is done in tables, not one by one.
        sizes = [max(size, together // len(begin)) for size, together in zip(_AT_ONCE, _TOGETHER, strict=True)]
        rank = np.arange(len(g)) - np.repeat(begin, np.diff(np.append(begin, len(g))))
        now = [order[(level[order] == number) & (rank < size)] for number, size in enumerate(sizes)]
        for number in (0, 1):
            these = now[number]
            if not len(these):
                continue
            level[these] += 1
            bound[these] = _past_known(contact, postures.take(these), bound[these], group[these], state, most)
            these = these[np.isfinite(bound[these])]
            cap = state.cap(group[these], most)
            begin_at = postures.take(these).at(bound[these])
            if number == 0:
                bound[these] = contact.scouted(begin_at, cap, many=True)
            else:
                bound[these] = contact.smallest(begin_at, cap, close=False).alpha
        these = now[2]
        bound[these] = _past_known(contact, postures.take(these), bound[these], group[these], state, most)
        these = these[np.isfinite(bound[these])]
        if len(these):
            _take_in(contact, postures.take(these).at(bound[these]), group[these], state, most, limit)
            bound[these] = np.inf


def _past_known(contact: Contact, postures: Postures, bound: Floats, group: Ints, state: _State, most: float) -> Floats:
    """Bounds (n,) made better by what stopped the postures solved last in their groups: others mostly meet it too."""
    return contact.past(postures.at(bound), state.witness[group], state.cap(group, most))


def _take_in(
    contact: Contact, postures: Postures, group: Ints, state: _State, most: float, limit: Limit | None
) -> None:
    """Solve postures and keep those that are better than what is known of their groups."""
    cap = state.cap(group, most)
    found = contact.smallest(postures, cap)
    alpha = found.alpha if limit is None else _within(contact, postures, found.alpha, cap, limit)
    state.solved += len(postures)
    order = np.lexsort((alpha, group))
    first = order[np.unique(group[order], return_index=True)[1]]
    i = first[alpha[first] < state.alpha[group[first]]]
    g = group[i]
    state.alpha[g], state.station[g], state.lam[g] = alpha[i], postures.station[i], postures.lam[i]
    state.part[g], state.touch[g] = found.part[i], found.touch[i]
    state.remember(g, found.witness[i])
    # Where nothing is clear, say what was in the way of the posture tried last.
    none = first[~np.isfinite(state.alpha[group[first]])]
    state.part[group[none]], state.touch[group[none]] = found.part[none], found.touch[none]
    state.remember(group[none], found.witness[none])


def _within(contact: Contact, postures: Postures, alpha: Floats, cap: Floats, limit: Limit) -> Floats:
    """Angles raised until the overhang is allowed too; infinite where it never is."""
    alpha = alpha.copy()
    todo = np.flatnonzero(np.isfinite(alpha))
    for _ in range(_TRIES):
        allowed = limit.first_allowed(contact, postures.take(todo).at(alpha[todo]), cap[todo])
        raised = allowed > alpha[todo]
        todo, allowed = todo[raised], allowed[raised]
        if not len(todo):
            return alpha
        alpha[todo] = allowed
        todo = todo[np.isfinite(allowed)]
        alpha[todo] = contact.smallest(postures.take(todo).at(alpha[todo]), cap[todo]).alpha
        todo = todo[np.isfinite(alpha[todo])]
    alpha[todo] = np.inf
    return alpha


def _look_again(
    contact: Contact,
    state: _State,
    feed: Ints,
    feeds: int,
    ends: tuple[int, int],
    fineness: Fineness,
    most: float,
    limit: Limit | None,
) -> None:
    """Where no easy posture was found the windows are narrow: look again at everything, more closely."""
    hard = np.flatnonzero(state.alpha > max(_GAIN, state.enough))
    stations = np.unique(np.round(np.linspace(*ends, 3 * fineness.stations - 2)).astype(np.intp))
    step = np.radians(fineness.lam_deg / _CLOSER)
    least = np.radians(fineness.lam_least_deg)
    lam = least + step * np.arange(int((np.radians(88.0) - least) / step) + 1)
    size = len(stations) * len(lam)
    for begin in range(0, len(hard), _HARD_AT_ONCE):
        part = hard[begin : begin + _HARD_AT_ONCE]
        group = np.repeat(part, size)
        k, i = (np.tile(a.ravel(), len(part)) for a in np.meshgrid(stations, lam, indexing="ij"))
        postures = Postures(group // feeds, k, -feed[group] * i, np.zeros(len(group)))
        if limit is not None:
            start = limit.first_allowed(contact, postures, np.full(len(postures), most))
            keep = np.isfinite(start)
            postures, group = postures.at(start).take(keep), group[keep]
        # Only what could be better than the best known is worth a bound.
        bound = contact.scouted(postures, np.maximum(state.cap(group, most), 0.0))
        keep = np.isfinite(bound)
        _solve(contact, postures.take(keep), bound[keep], group[keep], state, most, limit)


def _refine(
    contact: Contact,
    state: _State,
    feed: Ints,
    feeds: int,
    ends: tuple[int, int],
    fineness: Fineness,
    most: float,
    limit: Limit | None,
) -> None:
    """Smaller and smaller steps around the best posture of every group."""
    step_s = (ends[1] - ends[0]) / (3 * fineness.stations - 3)
    step_l = np.radians(fineness.lam_deg / _CLOSER)
    offsets = np.array([(i, j) for i in (-1, 0, 1) for j in (-1, 0, 1) if i or j])
    for _ in range(fineness.rounds):
        step_s, step_l = step_s / 2, step_l / 2
        for _ in range(2):
            todo = np.flatnonzero(
                (state.alpha > max(_GAIN, state.enough)) & np.isfinite(np.minimum(state.alpha, state.bound))
            )
            if not len(todo):
                return
            before = np.minimum(state.alpha[todo], 1e3)
            group = np.repeat(todo, len(offsets))
            i, j = np.tile(offsets, (len(todo), 1)).T
            station = np.clip(np.round(state.station[group] + i * max(step_s, 1.0)), *ends).astype(np.intp)
            lam = state.lam[group] + j * step_l
            least = np.radians(fineness.lam_least_deg)
            lam = np.where(feed[group] > 0, np.minimum(lam, -least), np.maximum(lam, least))
            lam = np.clip(lam, -np.radians(88.0), np.radians(88.0))
            postures = Postures(group // feeds, station, lam, np.zeros(len(group)))
            if limit is not None:
                start = limit.first_allowed(contact, postures, np.full(len(postures), most))
                keep = np.isfinite(start)
                postures, group = postures.at(start).take(keep), group[keep]
            bound = contact.scouted(
                postures, np.where(np.isfinite(state.alpha[group]), state.cap(group, most), most + _BEYOND)
            )
            _solve(contact, postures, bound, group, state, most, limit)
            if not (np.minimum(state.alpha[todo], 1e3) < before).any():
                break


__all__ = ["FEEDS", "SEARCH_ERROR_DEG", "Best", "Fineness", "Limit", "Places", "joined", "search"]
