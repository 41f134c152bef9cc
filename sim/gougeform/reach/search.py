"""The search for the posture with the smallest clear clearance angle, for every place and direction of cut.

Edge places and inclinations are divided into boxes. Points of the tool that are too deep in the wood by more than the
postures of a box move them give the whole box a lower bound, and so does the way it is held. Boxes are taken in the
order of their bounds and halved, the posture in the middle of each half solved exactly, until no bound left is below
the best angle found. From every best posture the search walks on in ever smaller steps, and the postures of the places
before and after are tried too. Of a box's motion half is counted, so the bounds are good ones and no proof; what is
missed is stated (SEARCH_ERROR_DEG), from searches ten times as long and from dense ones. Angles in rad here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gougeform.numerics.compiled import compiled, cores, inner
from gougeform.reach.body import Tree
from gougeform.reach.contact import Contact, Room, copy, desk, past, smallest
from gougeform.reach.hold import FREE, first_held
from gougeform.reach.posture import Postures, at_edge
from gougeform.work.distance import Pieces

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FEEDS = (1, -1)
"""Directions of cut: along the meridian as it is walked, and against it."""

SEARCH_ERROR_DEG = 0.03
"""The best posture found needs at most this much more clearance angle than the best there is (see tests/reach)."""

INCLINATION_MAX_DEG = 75.0
"""An edge inclined by more slides along itself and hardly cuts (common practice, no source)."""

USABLE_WING = 0.95
"""The last part of each wing, at the lip, is not asked to cut: hardly any bevel is left there to carry the cut."""


@dataclass(frozen=True)
class Fineness:
    """How far the search goes. lam_least_deg: inclinations nearer to zero do not count, which leaves slicing cuts;
    inclination_max_deg: nor do those beyond.

    most_deg: clearance angles beyond are not looked for. enough_deg: a place with a clear posture of so small an angle
    is done, without the search for a smaller one. wing: the share of each wing, from the nose, that may cut. boxes: how
    many are divided before a place is left as it is. gain_deg: angles closer than this count as equal.
    """

    lam_least_deg: float = 0.0
    inclination_max_deg: float = INCLINATION_MAX_DEG
    most_deg: float = 30.0
    enough_deg: float = 0.0
    wing: float = USABLE_WING
    boxes: int = 2_000
    gain_deg: float = 0.01


USUAL = Fineness()

_S, _LAM, _HALF_S, _HALF_LAM, _KEY = range(5)
_STITCHES, _CLOSELY = 97, 0.4  # steps along the edge; mm about the best
_BACK = np.radians(1.0)  # neighbours are looked at from so much below the best angle on
_STEP = np.radians(5e-4)  # the walk at the end asks for no less
_SMALL = 1e-2  # mm: boxes are not divided any further
_ACROSS, _ALONG = 16, 6  # boxes at first: along the edge, and over the inclinations of one feed
ARM_MM = 5.0  # turning by an angle counts as moving along the edge by this times it
_SHARE = 0.5
"""A box counts as moving its points by this share of the most that it can: 1 would prove the result, at many times the
cost; what is missed so is what SEARCH_ERROR_DEG states, measured by dense searches."""
_STRIDE, _LEAST = 0.32, 2e-4  # mm: first and last step of the walk at the end
_NARROW = (0.0, 1 / 64, -1 / 64, 1 / 32, -1 / 32, 1 / 16, -1 / 16, 1 / 8, -1 / 8, 1 / 3, -1 / 3)
_WAYS = tuple(
    (sign * a, sign * b)
    for sign in (1.0, -1.0)
    for a, b in (*((part, 1.0) for part in _NARROW), *((1.0, part) for part in (0.0, 1.0, -1.0, 1 / 3, -1 / 3)))
)  # directions of the walk: along the edge, and of the inclination


class Hunt(NamedTuple):
    """What a search goes by, the same for all its places: tool, wood, how it is held (`Hold.terms`), room to work in.

    limits: (7,) least and largest edge place and inclination; largest and good enough angle; the gain that counts.
    """

    tree: Tree
    f: Pieces
    hold: Floats
    limits: Floats
    tolerance: float
    work: Room


@inner
def _push(heap: Floats, count: int, box: Floats) -> int:
    """Add a box to a heap whose first has the least key; the new count."""
    k = count
    while k > 0 and heap[(k - 1) // 2, _KEY] > box[_KEY]:
        copy(heap[k], heap[(k - 1) // 2])
        k = (k - 1) // 2
    copy(heap[k], box)
    return count + 1


@inner
def _pop(heap: Floats, count: int, out: Floats) -> int:
    """Take the first box of the heap; the new count."""
    copy(out, heap[0])
    count -= 1
    k = 0
    while True:
        child = 2 * k + 1
        if child >= count:
            break
        if child + 1 < count and heap[child + 1, _KEY] < heap[child, _KEY]:
            child += 1
        if heap[child, _KEY] >= heap[count, _KEY]:
            break
        copy(heap[k], heap[child])
        k = child
    copy(heap[k], heap[count])
    return count


@inner
def solved(h: Hunt, place: Floats, lam: float, alpha: float, cap: float) -> float:
    """The smallest angle from alpha on at which the posture of h.work.frame is clear and held; infinite beyond cap.

    place: (7,).
    """
    before = -1.0
    while alpha != before:
        before = alpha
        alpha = smallest(h.tree, h.f, place, lam, alpha, cap, h.tolerance, h.work)
        if alpha <= cap:
            alpha = first_held(h.hold, h.work.frame, place, lam, alpha, cap, 0.0, 0.0, h.work.axis)
        if alpha > cap:
            return np.inf
    return alpha


@inner
def best_of(h: Hunt, place: Floats, seed: Floats, heap: Floats, box: Floats, part: Floats, out: Floats) -> None:
    """Search one place and feed. seed: (2,) edge place and inclination to try first, NaN for none.

    Into out: edge place, inclination, angle (infinite where nothing is clear), boxes looked at.
    """
    s0, s1, l0, l1, most, enough, gain = h.limits
    best, tried, count = np.inf, 0, 0
    out[0], out[1] = min(max(0.0, s0), s1), l0 if abs(l0) < abs(l1) else l1
    for first in range(2):  # the posture of the place before, and the nose square to its way
        s, lam = out[0], out[1]
        if first == 0:
            if np.isnan(seed[0]):
                continue
            s, lam = min(max(seed[0], s0), s1), min(max(seed[1], l0), l1)
        if best > enough:
            at_edge(h.tree, s, h.work.frame)
            alpha = solved(h, place, lam, 0.0, min(most, best - gain))
            if alpha < best:
                best, out[0], out[1] = alpha, s, lam
    if best > enough:
        box[_HALF_S], box[_HALF_LAM] = 0.5 * (s1 - s0) / _ACROSS, 0.5 * (l1 - l0) / _ALONG
        for i in range(_ACROSS):
            for j in range(_ALONG):
                box[_S], box[_LAM] = s0 + (2 * i + 1) * box[_HALF_S], l0 + (2 * j + 1) * box[_HALF_LAM]
                box[_KEY] = 0.0
                if best > enough:
                    best, count = _look(h, place, best, heap, count, box, out)
    if best > enough:
        best = _seam(h, place, best, out, s0, s1)
    known = np.inf  # the best angle when the search last walked on from it
    while True:
        if enough < best < known:
            best = _polish(h, place, best, out)
            known, low, high = best, max(s0, out[0] - _CLOSELY), min(s1, out[0] + _CLOSELY)
            if best > enough:
                best = _seam(h, place, best, out, low, high)
            continue
        while count and best > enough and best >= known and tried < len(heap) // 2:
            count = _pop(heap, count, box)
            if box[_KEY] > min(best - gain, most):
                count = 0
                continue
            if box[_HALF_S] < _SMALL and ARM_MM * box[_HALF_LAM] < _SMALL:
                continue
            tried += 1
            side = 0 if box[_HALF_S] > ARM_MM * box[_HALF_LAM] else 1
            for sign in (-1, 1):
                copy(part, box)
                part[2 + side] /= 2
                part[side] += sign * part[2 + side]
                best, count = _look(h, place, best, heap, count, part, out)
        if best >= known or best <= enough:
            break
    out[2], out[3] = best, tried


@inner
def _look(h: Hunt, place: Floats, best: float, heap: Floats, count: int, box: Floats, out: Floats) -> tuple[float, int]:
    """Look at the middle of a box, and keep the box if it may hold something better: the best so far, and the count."""
    cap = min(best - h.limits[6], h.limits[4])
    here = at_edge(h.tree, box[_S], h.work.frame)
    high = at_edge(h.tree, min(box[_S] + box[_HALF_S], h.tree.arc[-1]), h.work.frame)
    low = at_edge(h.tree, max(box[_S] - box[_HALF_S], h.tree.arc[0]), h.work.frame)
    at_edge(h.tree, box[_S], h.work.frame)
    slide, turn = _SHARE * box[_HALF_S], _SHARE * (max(high - here, here - low) + box[_HALF_LAM])
    bound = past(
        h.f, h.work.frame, place, box[_LAM], box[_KEY], cap, h.tolerance, slide, turn, h.work.hint, h.work.point
    )
    if bound <= cap:
        bound = first_held(h.hold, h.work.frame, place, box[_LAM], bound, cap, turn, slide, h.work.axis)
    if bound > cap:
        return best, count
    alpha = solved(h, place, box[_LAM], bound, cap)
    if alpha <= cap:
        best = alpha
        out[0], out[1] = box[_S], box[_LAM]
    if count < len(heap) and bound <= best - h.limits[6]:
        box[_KEY] = bound
        count = _push(heap, count, box)
    return best, count


@inner
def _better(h: Hunt, place: Floats, lam: float, best: float, cap: float) -> float:
    """A clear angle up to the cap of the posture of h.work.frame, looked for from a little below the best one on."""
    begin = max(0.0, min(best, cap) - _BACK)
    alpha = solved(h, place, lam, begin, cap)
    if alpha == begin > 0:
        alpha = solved(h, place, lam, 0.0, begin)
    return alpha


@inner
def _seam(h: Hunt, place: Floats, best: float, out: Floats, s0: float, s1: float) -> float:
    """Look along the edge from s0 to s1 at both ends of the inclinations: boxes end there, and windows often do."""
    for i in range(2 * _STITCHES):
        # Closer together near the middle: where the edge is most bent when the whole of it is looked at.
        t = 2 * (i // 2) / (_STITCHES - 1) - 1
        s, lam = (s0 + s1 + (s1 - s0) * t * np.sqrt(abs(t))) / 2, h.limits[2 + i % 2]
        at_edge(h.tree, s, h.work.frame)
        cap = min(best - h.limits[6], h.limits[4])
        alpha = _better(h, place, lam, best, cap)
        if alpha < best:
            best, out[0], out[1] = alpha, s, lam
    return best


@inner
def _polish(h: Hunt, place: Floats, best: float, out: Floats) -> float:
    """Walk from the best posture to better neighbours in ever smaller steps; the best angle then.

    The way to go is mostly a narrow valley, often one in which the inclination changes and the place hardly does: the
    directions crowd there, and one that helps is followed on.
    """
    size = _STRIDE
    while size > _LEAST and best > h.limits[5]:
        before = best
        for k in range(len(_WAYS)):
            step = size
            while True:
                s = min(max(out[0] + step * _WAYS[k][0], h.limits[0]), h.limits[1])
                lam = min(max(out[1] + step / ARM_MM * _WAYS[k][1], h.limits[2]), h.limits[3])
                at_edge(h.tree, s, h.work.frame)
                alpha = _better(h, place, lam, best, best - _STEP)
                if alpha >= best:
                    break
                best, out[0], out[1] = alpha, s, lam
                step *= 2
        if best == before:
            size /= 2
    return best


@inner
def _from_next(h: Hunt, place: Floats, seed: Floats, out: Floats) -> None:
    """Try the posture of the place after this one too, and walk on from it where it is better."""
    best = out[2]
    if best <= h.limits[5] or seed[2] == np.inf:
        return
    at_edge(h.tree, seed[0], h.work.frame)
    cap = min(best - _STEP, h.limits[4])
    alpha = solved(h, place, seed[1], 0.0, cap)
    if alpha < best:
        out[0], out[1] = seed[0], seed[1]
        out[2] = _polish(h, place, alpha, out)


@compiled
def _run(h: Hunt, places: Floats, heap: Floats, room: Floats, out: Floats) -> None:
    """Search places in a row, each with the posture of the one before it to try first."""
    seed, box, part = room[0], room[1], room[2]
    for i in range(len(places)):
        best_of(h, places[i], seed, heap, box, part, out[i])
        if out[i, 2] < np.inf:
            seed[0], seed[1] = out[i, 0], out[i, 1]
    for i in range(len(places) - 2, -1, -1):
        _from_next(h, places[i], out[i + 1], out[i])


@dataclass(frozen=True, eq=False)
class Best:
    """For g = places × feeds, places first: the best posture of each. alpha is infinite where none is clear.

    feed: (g,) +1 or -1. boxes: (g,) how many were divided.
    """

    postures: Postures
    feed: Ints
    boxes: Ints

    @property
    def alpha(self) -> Floats:
        """(g,) rad."""
        return self.postures.alpha


_IN_A_ROW = 20  # places that one thread searches, each beginning with the posture before it


def search(
    contact: Contact, fineness: Fineness = USUAL, feeds: tuple[int, ...] = FEEDS, hold: Floats | None = None
) -> Best:
    """The best posture of every place and feed, among those that `hold` (as `Hold.terms` gives it) allows."""
    hold = FREE.terms(contact.body, np.inf, (np.inf, -np.inf)) if hold is None else hold
    body, places = contact.body, contact.places
    left, right = body.ends
    rad = np.radians
    limits = np.array(
        [
            fineness.wing * left,
            fineness.wing * right,
            rad(fineness.lam_least_deg),
            rad(fineness.inclination_max_deg),
            rad(fineness.most_deg),
            rad(fineness.enough_deg),
            rad(fineness.gain_deg),
        ]
    )
    rows = places.rows
    out = np.empty((len(feeds), len(places), 4))
    jobs = [(k, begin) for begin in range(0, len(places), _IN_A_ROW) for k in range(len(feeds))]
    tree, field = body.tree, contact.wood.field

    def job(what: tuple[int, int]) -> None:
        k, begin = what
        part, mine, room = slice(begin, begin + _IN_A_ROW), limits.copy(), np.full((3, 5), np.nan)
        # Feed along the meridian has inclinations of 0 or below, feed against it the others.
        mine[2:4] = (-limits[3], -limits[2]) if feeds[k] > 0 else limits[2:4]
        heap = np.empty((2 * fineness.boxes + 4, 5))
        _run(Hunt(tree, field, hold, mine, contact.tolerance, desk(body)), rows[part], heap, room, out[k, part])

    at_once(job, jobs)
    found = out.transpose(1, 0, 2).reshape(-1, 4)
    place = np.repeat(np.arange(len(places)), len(feeds))
    columns = [np.ascontiguousarray(found[:, k]) for k in range(4)]
    _least_deep(contact, columns, np.tile(np.array(feeds), len(places)), limits)
    postures = Postures(place, *columns[:3])
    return Best(postures, np.tile(np.array(feeds), len(places)), columns[3].astype(np.intp))


@compiled
def _again(
    h: Hunt, places: Floats, which: Ints, edge: Floats, lam: Floats, alpha: Floats, cap: Floats, out: Floats
) -> None:
    for i in range(len(which)):
        at_edge(h.tree, edge[i], h.work.frame)
        out[i] = solved(h, places[which[i]], lam[i], alpha[i], cap[i])


def again(contact: Contact, postures: Postures, cap: Floats, hold: Floats) -> Floats:
    """(n,) rad: the smallest clear angles, from the postures' own on, that `hold` allows; infinite beyond the caps."""
    out = np.empty(len(postures))
    body = contact.body
    hunt = Hunt(body.tree, contact.wood.field, hold, np.empty(0), contact.tolerance, desk(body))
    _again(hunt, contact.places.rows, *postures.columns, cap, out)
    return out


_DEEP = 13  # edge places and inclinations that are looked at where nothing is clear


def _least_deep(contact: Contact, found: list[Floats], feed: Ints, limits: Floats) -> None:
    """Where nothing is clear, let the posture stand that digs in least at the largest angle looked at."""
    hopeless = np.flatnonzero(~np.isfinite(found[2]))
    if not len(hopeless):
        return
    edge, lam = (a.ravel() for a in np.meshgrid(*(np.linspace(limits[k], limits[k + 1], _DEEP) for k in (0, 2))))
    many = len(edge)
    place = np.repeat(hopeless // (len(feed) // len(contact.places)), many)
    every = Postures(
        place, np.tile(edge, len(hopeless)), (-feed[hopeless][:, None] * lam).ravel(), np.full(len(place), limits[4])
    )
    deepest = contact.depths(every).reshape(-1, many).argmin(1)
    found[0][hopeless], found[1][hopeless] = edge[deepest], -feed[hopeless] * lam[deepest]


def at_once(job: Callable[[tuple[int, int]], None], jobs: Sequence[tuple[int, int]]) -> None:
    """Do compiled jobs side by side, one thread a core; the order makes no difference to what comes out."""
    many = min(cores(), len(jobs))
    if many < 2:
        for one in jobs:
            job(one)
        return
    with ThreadPoolExecutor(many) as pool:
        list(pool.map(job, jobs))
