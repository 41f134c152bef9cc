"""The marker-pen routine: from where the ink is gone to which setting moves, which way, and by how much.

Ink the bevel, turn the wheel by hand against it once round, and look. Where ink goes first the wheel stands nearest; so
every picture of ink is a difference of light between two parts of the bevel, and what a setting does to it is its
derivative, taken here from the light gap a small step to both sides. Lengths mm, angles deg.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.settings.bench import Bench
from gougeform.settings.match import Bevel, gap_on
from gougeform.settings.names import NAMES
from gougeform.settings.wants import Free

Floats = NDArray[np.float64]

LIGHT_MM = 0.1
"""Amounts are told for this much light at one end of the bevel: what a person sees against a lamp (no source)."""
TURN = "turn"
"""The bar turned in its clamp, deg: no field of a recipe, and the only thing that changes the two wings apart."""
_STEPS = {"mm": 0.05, "deg": 0.05, "": 0.005}  # to both sides
_NOSE, _WINGS = 15.0, (40.0, 80.0)  # per cent of a wing: what is nose, and what wings
_MOST = 20.0  # mm or deg: what asks for more does nothing to that picture
_GONE_MM = 0.02  # where the wheel stands no further off the ink is gone: about a layer of ink, no source


@dataclass(frozen=True)
class Symptom:
    """Where the ink is gone; nose, wings: how the light at the heel there must change, in units of LIGHT_MM.

    Both are None for the one that only the bar's place in its clamp can mend.
    """

    words: str
    nose: int | None = None
    wings: int | None = None


SYMPTOMS = (
    Symptom("all down the nose; on the wings along the edge only", 0, -1),
    Symptom("all down the nose; on the wings along the heel only", 0, 1),
    Symptom("all down the wings; at the nose along the edge only", -1, 0),
    Symptom("all down the wings; at the nose along the heel only", 1, 0),
    Symptom("along the edge only, all the way round", -1, -1),
    Symptom("along the heel only, all the way round", 1, 1),
    Symptom("along the heel on one wing, along the edge on the other"),
)


@dataclass(frozen=True)
class Remedy:
    """What to do about a symptom of LIGHT_MM.

    first: the one setting that mends most of it. exact: the two settings that mend it with least effort; the same where
    one does it all, empty where no two can.
    """

    symptom: Symptom
    first: dict[str, float]
    exact: dict[str, float]


def remedies(bevel: Bevel, bench: Bench, frees: Sequence[Free] = ()) -> tuple[Remedy, ...]:
    """What to do about each symptom at a setting that lies on the bevel.

    frees: what may be turned, by default all that the jig has to set by hand. A setting that cannot go either way and
    still grind that edge mends nothing. Raises InputError where the setting itself cannot.
    """
    names = [free.name.name for free in frees] or bench.by_hand
    matrix = np.array([_opened(bevel, _slope(bevel, bench, name)) for name in names]).T
    found = []
    for one in SYMPTOMS:
        if one.nose is None or one.wings is None:
            left, right = (_heel(bevel, _turned(bevel, bench))[side] for side in (bevel.place < 0, bevel.place > 0))
            opens = abs(float(left.mean() - right.mean()))
            turn = {TURN: 2 * LIGHT_MM / opens} if opens * _MOST > 2 * LIGHT_MM else {}
            found.append(Remedy(one, turn, turn))
            continue
        aim = LIGHT_MM * np.array([one.nose, one.wings], float)
        found.append(Remedy(one, _first(names, matrix, aim), _exact(names, matrix, aim)))
    return tuple(found)


def _heel(bevel: Bevel, gap: Floats) -> Floats:
    """(stations,) light at the far end of the bevel or of the land, over that at the edge."""
    last = bevel.first.shape[1] - 1 - bevel.first[:, ::-1].argmax(1)
    return np.asarray(gap[np.arange(len(gap)), last] - gap[:, 0])


def _opened(bevel: Bevel, gap: Floats) -> tuple[float, float]:
    """Mean light at the heel at the nose, and on the wings."""
    far, light = np.abs(bevel.place), _heel(bevel, gap)
    return float(light[far <= _NOSE].mean()), float(light[(far >= _WINGS[0]) & (far <= _WINGS[1])].mean())


def _first(names: Sequence[str], matrix: Floats, aim: Floats) -> dict[str, float]:
    """The one setting after whose best move least is left of `aim`; empty where none mends half of it."""
    with np.errstate(invalid="ignore", divide="ignore"):
        moves = (matrix * aim[:, None]).sum(0) / (matrix**2).sum(0)
    left = np.linalg.norm(matrix * moves - aim[:, None], axis=0)
    left[~(np.abs(moves) < _MOST)] = np.inf
    k = int(left.argmin())
    return {names[k]: float(moves[k])} if left[k] < np.linalg.norm(aim) / 2 else {}


def _exact(names: Sequence[str], matrix: Floats, aim: Floats) -> dict[str, float]:
    """The two settings whose moves change the light (2,) by `aim` with least effort; empty where no two can."""
    best: dict[str, float] = {}
    for pair in combinations(range(len(names)), 2):
        move, *_ = np.linalg.lstsq(matrix[:, pair], aim, rcond=1e-6)
        if np.allclose(matrix[:, pair] @ move, aim, atol=0.02 * LIGHT_MM) and np.abs(move).max() < _MOST:
            found = {names[k]: float(by) for k, by in zip(pair, move, strict=True)}
            best = min((one for one in (best, found) if one), key=lambda one: max(map(abs, one.values())))
    return best


def _slope(bevel: Bevel, bench: Bench, name: str) -> Floats:
    """(stations, down) change of the gap for one unit of a setting; to one side where the jig ends at the other."""
    now, step = bench.value(name), _STEPS[NAMES[name].unit]
    gaps, at = [gap_on(bevel, bench)], [0.0]
    for way in (step, -step):
        try:
            gaps.append(gap_on(bevel, bench.set({name: now + way})))
            at.append(way)
        except InputError:
            continue
    first, last = (0, -1) if len(gaps) < 3 else (1, 2)
    return np.zeros_like(gaps[0]) if len(gaps) < 2 else (gaps[first] - gaps[last]) / (at[first] - at[last])


def _turned(bevel: Bevel, bench: Bench) -> Floats:
    """(stations, down) change of the gap for one degree that the bar is turned in its clamp. Raises InputError."""
    step = _STEPS["deg"]
    gaps = []
    for way in (1, -1):
        c, s = np.cos(np.radians(way * step)), np.sin(np.radians(way * step))
        spin = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        point, normal = (np.einsum("ij,jsd->isd", spin, part) for part in (bevel.point, bevel.normal))
        gaps.append(gap_on(Bevel(point, normal, bevel.place, bevel.reach, bevel.first), bench))
    return np.asarray((gaps[0] - gaps[1]) / (2 * step))


def gone(bevel: Bevel, bench: Bench, remedy: Remedy) -> NDArray[np.bool_]:
    """(stations, down) where the ink is gone on a bevel ground at this setting, set off by what the remedy mends.

    Rolling the tool by hand lays the wheel on every station in turn: there the ink goes where it stands nearest. Raises
    InputError where such a setting cannot grind that edge.
    """
    moves = remedy.exact or remedy.first
    if TURN in moves:
        gap = -moves[TURN] * _turned(bevel, bench)
    else:
        off = bench.set({name: bench.value(name) - move for name, move in moves.items()})
        gap = gap_on(bevel, off) - gap_on(bevel, bench)
    return np.asarray(gap - np.nanmin(gap, axis=1, keepdims=True) < _GONE_MM)
