"""The free settings that give the wanted edge: every exact solution, or the best that can be had and what stops it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from gougeform.errors import InputError
from gougeform.settings.problem import EXACT, Blocked, Problem, Solution, Solved
from gougeform.settings.search import Search

_MOST_STOPS = 400


def solve(problem: Problem) -> Solved:
    """All solutions, exact where there are any, else the best in least squares and what cannot be met.

    Raises InputError where no setting within bounds gives any edge.
    """
    stops = [free for free in problem.frees if free.stops]
    if np.prod([len(free.stops) for free in stops]) > _MOST_STOPS:
        raise InputError("stops", f"more than {_MOST_STOPS} combinations of stops", "give fewer")
    answers, blocked = [], None
    for places in product(*(free.stops for free in stops)):
        held = {free.name.name: place for free, place in zip(stops, places, strict=True)}
        try:
            answers.append(_searched(problem, held))
        except Blocked as error:
            blocked = error
    if not answers:
        assert blocked is not None
        raise InputError(blocked.name, blocked.why, "free another setting, or give wider bounds")
    exact = [answer for answer in answers if answer.exact]
    if exact:
        solutions = tuple(s for answer in exact for s in answer.solutions)
        return Solved(_nearest_first(problem, solutions), True, any(answer.family for answer in exact))
    best = min(answers, key=lambda answer: sum(m * m for m in answer.solutions[0].misses.values()))
    if stops:
        note = f"at every stop of {', '.join(free.name.name for free in stops)} it is missed; this is the best of them"
        best = replace(best, unmet=tuple(replace(u, because=f"{u.because}; {note}") for u in best.unmet))
    return best


def _nearest_first(problem: Problem, solutions: Sequence[Solution]) -> tuple[Solution, ...]:
    now, spans = problem.reader.bench, {f.name.name: max(f.high - f.low, 1e-9) for f in problem.frees}

    def far(solution: Solution) -> float:
        return sum(((v - now.value(n)) / spans.get(n, 1.0)) ** 2 for n, v in solution.values.items())

    return tuple(sorted(solutions, key=far))


def _searched(problem: Problem, held: dict[str, float]) -> Solved:
    answer = Search(problem, held).answer()
    steady = not problem.reader.bench.path.outlined
    if steady and any(abs(solution.misses.get("nose", 0.0)) > EXACT for solution in answer.solutions):
        # Rolling took the nose there, so the closed form does not hold: search for it like the others.
        return Search(problem, held, closed=False).answer()
    return answer
