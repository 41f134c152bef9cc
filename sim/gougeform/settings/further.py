"""What to ask next where a want is not met: the bounds that stopped the search moved out, or one more setting freed."""

from __future__ import annotations

import math
from typing import Any

from gougeform.settings.bench import HELD_MM, Bench
from gougeform.settings.names import Name
from gougeform.settings.problem import Problem, Solution
from gougeform.settings.wants import Free, Span

_AT = 1e-6  # of its span: so near an end a setting was stopped by it
_ORDER = ("distance", "tilt", "projection", "cant", "roll", "fullness", "shoulder", "arm_length", "shoe", "hinge_back")


def hard_limits(bench: Bench, name: Name) -> tuple[float, float]:
    """How far a setting could be looked for at all, mm or deg: what a recipe allows, and the bar's own end."""
    low, high = name.quantity.within(-math.inf, math.inf)
    return (low, min(high, bench.steel_mm - HELD_MM)) if bench.ends_at_ferrule(name) else (low, high)


def further(problem: Problem, solution: Solution, held: str = "") -> dict[str, dict[str, Any]]:
    """Parameters of a search that may come nearer than this solution; empty where no setting is left to free.

    held: a setting whose bounds are no choice of a person's.
    """
    bench = problem.reader.bench
    free: dict[str, Span | None] = {}
    stops: dict[str, list[float]] = {}
    moved = False
    for one in problem.frees:
        name = one.name.name
        if one.stops:
            stops[name] = list(one.stops)
            continue
        span = (one.low, one.high) if name == held else _widened(bench, one, solution.values[name])
        moved |= span != (one.low, one.high)
        free[name] = None if span == bench.bounds(one.name) else span
    if not moved:
        another = next((name for name in _ORDER if name in bench.names and name not in {**free, **stops}), None)
        if another is None:
            return {}
        free[another] = None
    return {name: given for name, given in (("free", free), ("stops", stops)) if given}


def _widened(bench: Bench, free: Free, value: float) -> tuple[float, float]:
    """The bounds of a setting, half as wide again where it stands at one of them."""
    span, (least, most) = free.high - free.low, hard_limits(bench, free.name)
    low, high = free.low, free.high
    if value - low <= _AT * span:
        low = min(low, max(round(low - span / 2, 2), least))
    if high - value <= _AT * span:
        high = max(high, min(round(high + span / 2, 2), most))
    return low, high
