"""Settings for a wanted edge: our search against plain least squares on the full simulation, no closed forms used."""

from __future__ import annotations

import numpy as np
from scipy.optimize import least_squares

from bench.timing import Row, row, say, timed
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.recipe.reading import load
from gougeform.settings.bench import bench_of, with_settings
from gougeform.settings.problem import Problem
from gougeform.settings.solve import solve
from gougeform.settings.wants import read_frees, read_wants, reading_of

JIGS = {"foot jig": "finial-round-10-fingernail-foot", "rod jig": "finial-round-10-fingernail-rod"}
WANTS = {"nose": 32.0, "wing50": 45.0}


def problem_of(name: str) -> Problem:
    """Two settings (distance, projection) for two angles."""
    recipe = load(name)
    wants = read_wants(WANTS)
    return Problem(recipe, wants, read_frees(bench_of(recipe), {}, {}, wants))


def against_least_squares(quick: bool) -> list[Row]:
    """For both jigs, from the recipe's own settings on; misses are read off the finished surface."""
    say("settings")
    rows = []
    for jig in list(JIGS)[: 1 if quick else 2]:
        name = JIGS[jig]
        group = f"settings, {jig}"
        answer, times = timed(lambda name=name: solve(problem_of(name)), 2 if quick else 7)
        problem = problem_of(name)
        size = f"{' and '.join(free.name.name for free in problem.frees)} for {' and '.join(WANTS)}"
        miss = _miss(problem, [answer.solutions[0].values[free.name.name] for free in problem.frees])
        note = f"all solutions: {len(answer.solutions)}"
        rows.append(row(group, "ours", size, times, error=float(np.abs(miss).max()), unit="deg", note=note))
        found, times = timed(lambda problem=problem: _plain(problem), 1 if quick else 3, warm=not quick)
        miss = _miss(problem, found.x)
        note = f"one solution from one start, {found.nfev + 2 * found.njev} edges"
        what = "scipy least squares on the whole edge"
        rows.append(row(group, what, size, times, error=float(np.abs(miss).max()), unit="deg", note=note))
    return rows


def _miss(problem: Problem, values) -> np.ndarray:
    """(m,) deg: angles measured on the finished surface less those wanted; 90 where nothing can be ground."""
    names = [free.name.name for free in problem.frees]
    try:
        gouge = shape(with_settings(problem.recipe, dict(zip(names, map(float, values), strict=True))))
    except InputError:
        return np.full(len(problem.sought), 90.0)
    reading = reading_of(measure_edge(gouge), problem.reader.per_cents)
    return np.array([reading.value(want.name) - want.value for want in problem.sought])


def _plain(problem: Problem):
    low, high = (np.array([getattr(free, end) for free in problem.frees]) for end in ("low", "high"))
    now = [problem.reader.bench.value(free.name.name) for free in problem.frees]
    return least_squares(
        lambda x: _miss(problem, x),
        now,
        bounds=(low, high),
        x_scale=(high - low) / 10,
        xtol=1e-9,
        ftol=1e-14,
        gtol=1e-10,
    )
