"""Curves met by planes: the point lies on the plane and on the curve, also where the curve hardly crosses it."""

import numpy as np
import pytest

from gougeform.numerics.curve import Curve, hermite


def one_piece(p0, p1, d0, d1):
    return Curve(np.stack([p0, p1], 1).astype(float), np.array([d0], float).T, np.array([d1], float).T, np.ones((3, 2)))


@pytest.mark.parametrize("seed", range(20))
def test_any_cubic_meets_any_plane_that_parts_its_ends(seed):
    rng = np.random.default_rng(seed)
    curve = one_piece(*rng.normal(size=(2, 3)), *(3 * rng.normal(size=(2, 3))))
    plane, through = rng.normal(size=(3, 200)), 0.3 * rng.normal(size=(3, 200))
    j = np.flatnonzero(curve.crosses(plane, through)[:, 0])
    point, _ = curve.meet(plane[:, j], through[:, j], np.zeros(len(j), np.intp))
    assert np.abs((plane[:, j] * (point - through[:, j])).sum(0)).max() < 1e-11
    t = np.linspace(0, 1, 4001)
    near = np.abs(hermite(*(v[:, None] for v in ends(curve)), t)[:, None] - point[:, :, None]).max(0).min(1)
    assert near.max() < 0.02  # on the curve, to the step of this grid


def ends(curve):
    return curve.point[:, 0], curve.point[:, 1], curve.start[:, 0], curve.stop[:, 0]


def test_a_curve_that_turns_flat_where_it_crosses():
    # y = (2 t - 1)^3 is flat in the middle: Newton's steps alone come nearer by a third each.
    curve = one_piece([0, -1, 0], [1, 1, 0], [1, 6, 0], [1, 6, 0])
    point, _ = curve.meet(np.array([[0.0], [1.0], [0.0]]), np.zeros((3, 1)), np.array([0]))
    assert abs(point[1, 0]) < 1e-12
    assert point[0, 0] == pytest.approx(0.5, abs=1e-4)
    # The least turn of the plane no longer turns the point by more than the cube root of it.
    turned, _ = curve.meet(np.array([[0.0], [1.0], [1e-10]]), np.zeros((3, 1)), np.array([0]))
    assert turned == pytest.approx(point, abs=1e-3)
