"""How fast settings are found, with the sizes that were promised. Run with --benchmark-enable for tables.

The limits hold for one free core; each is checked on the best of a few runs.
"""

import time

import numpy as np
import pytest

from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.read.recipe import load
from gougeform.settings.bench import bench_of
from gougeform.settings.problem import Problem
from gougeform.settings.sensitivity import sensitivity
from gougeform.settings.solve import solve
from gougeform.settings.transfer import wear
from gougeform.settings.wants import read_frees, read_wants

FOOT, ROD = "finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod"


def best_of(work, runs=5):
    """CPU time of the quickest run, s."""
    work()
    times = []
    for _ in range(runs):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return min(times)


def two_for_two(name):
    recipe = load(name)
    wants = read_wants(["nose=32", "wing50=45"])
    frees = read_frees(bench_of(recipe), [], [], wants)
    return lambda: solve(Problem(recipe, wants, frees))


def wear_of_15():
    recipe = load(FOOT)
    before = measure_edge(shape(recipe))
    return lambda: wear(recipe, np.linspace(200, 150, 15), before)


CASES = {
    "two settings for two angles, foot jig": (two_for_two(FOOT), 0.1),
    "two settings for two angles, rod jig": (two_for_two(ROD), 0.1),
    "wear table of 15 diameters": (wear_of_15(), 1.0),
    "all derivatives, foot jig": (lambda: sensitivity(load(FOOT)), 0.5),
    "all derivatives, rod jig": (lambda: sensitivity(load(ROD)), 0.5),
}


@pytest.mark.parametrize(("work", "limit"), CASES.values(), ids=CASES)
def test_as_fast_as_promised(work, limit):
    assert best_of(work) <= limit


@pytest.mark.parametrize("case", CASES)
def test_benchmark(case, benchmark):
    assert benchmark(CASES[case][0])
