"""Where in its ranges and lists a study asks: the points of a grid, of a sample, or of a design for sensitivities."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.study.plan import Plan
from gougeform.study.vary import Vary

Floats = NDArray[np.float64]
Spot = tuple[float | int, ...]
"""For each [[vary]] the value in its range, or which row of its list."""


class Points:
    """The points of a plan, by number; the same for the same plan and seed on every machine."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan

    def places(self, numbers: NDArray[np.intp]) -> list[Spot]:
        """The spot of each point number (n,)."""
        columns = [self._column(k, numbers) for k in range(len(self.plan.vary))]
        return list(zip(*(column.tolist() for column in columns), strict=True))

    def _column(self, k: int, numbers: NDArray[np.intp]) -> NDArray[Any]:
        one = self.plan.vary[k]
        if self.plan.sample == "list":
            return numbers
        if self.plan.sample == "grid":
            # The last field varies fastest, as in nested loops written in the file's order.
            faster = int(np.prod([other.count for other in self.plan.vary[k + 1 :]], dtype=np.int64))
            at = numbers // faster % one.count
            return np.linspace(one.low, one.high, one.steps)[at] if one.is_range else at
        return _in(one, self._units[numbers, k])

    @cached_property
    def _units(self) -> Floats:
        """(size, d) in the unit cube."""
        from scipy.stats import qmc

        plan, d = self.plan, len(self.plan.vary)
        if plan.sample == "latin":
            return np.asarray(qmc.LatinHypercube(d, rng=plan.seed).random(plan.points))
        if plan.sample == "sobol":
            return np.asarray(qmc.Sobol(d, rng=plan.seed).random(plan.points))
        # The design of Saltelli et al., Computer Physics Communications 181 (2010) 259-270, Table 2: two samples a, b,
        # then for each field a with that column taken from b.
        a, b = np.hsplit(np.asarray(qmc.Sobol(2 * d, rng=plan.seed).random(plan.points)), 2)
        return np.concatenate([a, b, *(np.where(np.arange(d) == k, b, a) for k in range(d))])


def _in(one: Vary, unit: Floats) -> NDArray[Any]:
    if one.is_range:
        return one.low + unit * (one.high - one.low)
    # Every row of a list gets an equal share.
    return np.minimum((unit * one.count).astype(np.intp), one.count - 1)


def changes(plan: Plan, place: Spot) -> dict[str, Any]:
    """What to set in the base recipe at one point."""
    return {name: value for one, at in zip(plan.vary, place, strict=True) for name, value in one.at(at).items()}


def labels(plan: Plan, place: Spot) -> dict[str, Any]:
    """The same as the table says it: names stay names."""
    places = zip(plan.vary, place, strict=True)
    return {name: value for one, at in places for name, value in one.at(at, meant=False).items()}
