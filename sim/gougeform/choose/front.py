"""Of the tools tried those worth having: the trade-off front, the few to name, the smallest set that reaches all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.choose.search import Searched
from gougeform.choose.trial import Asked, Tried

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ALL_MM = 0.5
"""So little profile more or less counts as the same reach: it is what places half a millimetre apart tell."""
WORTH_DEG = 5.0
"""A nose so much finer is worth a second gouge being named (common practice, no source)."""


def front(tools: Sequence[Tried], prices: bool) -> list[Tried]:
    """Those that no other tool beats in one cost without being worse in another; of equal ones the first."""
    if not tools:
        return []
    costs = np.round(np.stack([one.costs(prices) for one in tools]), 9)
    _, first = np.unique(costs, axis=0, return_index=True)
    kept = []
    for i in np.sort(first):
        better = (costs <= costs[i]).all(1) & (costs < costs[i]).any(1)
        if not better.any():
            kept.append(tools[i])
    return kept


@dataclass(frozen=True, eq=False)
class Pick:
    """A tool to name, and why: one sentence."""

    tool: Tried
    why: str


def picks(searched: Searched, limit: int) -> list[Pick]:
    """The few tools to name: of those that reach the most the stiffest, the finest, the plainest and the leanest; and
    the one whose much finer nose gives up least.
    """
    best = front(searched.tools, searched.question.prices)
    if not best:
        return []
    least = min(one.missed for one in best)
    most = [one for one in best if one.missed <= least + ALL_MM]
    reaches = "all of it" if least <= ALL_MM else f"the most, all but {least:.1f} mm"
    prices = searched.question.prices
    leanest = (lambda one: one.price or 0.0) if prices else (lambda one: one.steel)
    found: list[Pick] = []

    def add(tool: Tried, why: str) -> None:
        if all(tool is not one.tool for one in found):
            found.append(Pick(tool, why))

    stiff = max(most, key=lambda one: (one.stiffness, -one.nose))
    add(
        stiff,
        f"Reaches {reaches}, and is the stiffest that does: {stiff.stiffness:.0f} N/mm at {stiff.overhang:.0f} mm.",
    )
    fine = min(most, key=lambda one: (one.nose, 1 / one.stiffness))
    add(fine, f"Reaches {reaches} with the finest nose, {fine.nose:g}°, which cuts cleanest.")
    plain = min(most, key=lambda one: (one.set_ups, one.nose, 1 / one.stiffness))
    if plain.set_ups < min(stiff.set_ups, fine.set_ups):
        add(plain, f"Reaches {reaches} in one set-up at the wheel, without a relief.")
    lean = min(most, key=lambda one: (leanest(one), one.nose))
    word = f"the cheapest, {lean.price:g}" if prices else f"the least steel, {lean.steel:.0f} g"
    add(lean, f"Reaches {reaches} and is {word}.")
    if (almost := second(searched)) is not None:
        gain, more = fine.nose - almost.nose, almost.missed - least
        add(almost, f"Gives up {more:.1f} mm of profile for a nose {gain:g}° finer, {almost.nose:g}°.")
    return found[: max(limit, 1)]


def second(searched: Searched) -> Tried | None:
    """The tool whose nose is finer by WORTH_DEG at least and by the most for each mm of profile that it gives up."""
    best = front(searched.tools, searched.question.prices)
    least = min(one.missed for one in best)
    fine = min(one.nose for one in best if one.missed <= least + ALL_MM)
    others = [one for one in best if one.missed > least + ALL_MM and fine - one.nose >= WORTH_DEG]
    return max(others, key=lambda one: (fine - one.nose) / (one.missed - least)) if others else None


def union(tools: Sequence[Tried]) -> Flags:
    """(n,) the places that some tool reaches."""
    return np.logical_or.reduce([one.reached for one in tools])


def smallest_set(tools: Sequence[Tried], asked: Asked) -> list[Tried]:
    """The fewest tools that together reach all that any reaches; of as few the ones with the finest noses.

    Set cover as an integer programme (scipy.optimize.milp, HiGHS).
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    masks: dict[bytes, Tried] = {}
    for one in sorted(tools, key=lambda one: (one.nose, 1 / one.stiffness)):
        masks.setdefault(one.reached.tobytes(), one)
    kept = list(masks.values())
    every = np.stack([one.reached for one in kept], 1)[union(kept)].astype(float)
    if not every.size:
        return []
    cost = 1 + np.array([one.nose for one in kept]) / (180 * len(kept))
    found = milp(
        cost,
        integrality=np.ones(len(kept)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(every, 1, np.inf),
    )
    chosen = [one for one, take in zip(kept, np.round(found.x), strict=True) if take]
    return sorted(chosen, key=lambda one: -float(asked.length[one.reached].sum()))


def wishes(searched: Searched) -> list[str]:
    """What each wish costs, from the tools tried."""
    best = front(searched.tools, searched.question.prices)
    if not best:
        return []
    least = min(one.missed for one in best)
    most = [one for one in best if one.missed <= least + ALL_MM]
    fine = min(most, key=lambda one: (one.nose, 1 / one.stiffness))
    stiff = max(most, key=lambda one: one.stiffness)
    told = []
    if (almost := second(searched)) is not None:
        last = almost.missed - least
        told.append(
            f"Reaching the last {last:.1f} mm costs {fine.nose - almost.nose:g}° of nose ({fine.nose:g}° instead of"
            f" {almost.nose:g}°): a second gouge for it may be the better buy."
        )
    if stiff.nose > fine.nose + 1e-9:
        told.append(
            f"The stiffest that reaches as much has a nose of {stiff.nose:g}° instead of {fine.nose:g}°, and gives way"
            f" by {100 * (1 - fine.stiffness / stiff.stiffness):.0f} % less."
        )
    single = [one for one in best if one.set_ups == 1]
    if fine.set_ups > 1 and single:
        one = min(single, key=lambda one: (one.missed, one.nose))
        if one.missed > least + ALL_MM:
            told.append(f"Doing without a relief leaves {one.missed - least:.1f} mm more of profile unreached.")
        else:
            more = one.nose - fine.nose
            told.append(f"Doing without a relief costs {more:g}° of nose: {one.nose:g}° instead of {fine.nose:g}°.")
    return told
