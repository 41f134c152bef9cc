"""The wheel as a solid: where lines meet it, its distance, its limits. The other way round is `dense.py`."""

from __future__ import annotations

import numpy as np
import pytest

from dense import _distance, entry
from gougeform.machine.solid import CORNER, FACE, SIDE, WheelSolid
from gougeform.machine.wheel import Wheel as WheelFields

WHEELS = {
    "plain": WheelSolid(1 / 100, 20.0, 1.0),
    "sharp": WheelSolid(1 / 100, 20.0, 0.0),
    "all corner": WheelSolid(1 / 75, 5.0, 5.0),
    "small": WheelSolid(1 / 12, 3.0, 0.5),
    "belt": WheelSolid(0.0, 25.0, 1.0),
    "sharp belt": WheelSolid(0.0, 25.0, 0.0),
}


def random_lines(count, seed, spread=60.0):
    """Lines that start well outside and aim at a place near the rim."""
    rng = np.random.default_rng(seed)
    aim = rng.normal(size=(3, count)) * np.array([[10.0], [spread / 2], [spread / 2]]) - np.array([[8.0], [0], [0]])
    direction = rng.normal(size=(3, count))
    direction[0] = -np.abs(direction[0]) - 0.05
    direction /= np.linalg.norm(direction, axis=0)
    return aim - 80 * direction, direction


@pytest.mark.parametrize("name", WHEELS)
def test_lines_enter_where_the_independent_solid_begins(name):
    wheel = WHEELS[name]
    o, d = random_lines(4000, 1)
    z, out, normal, surface = wheel.crossing(o, d)
    z_dense, out_dense = entry(o, d, wheel)
    near_miss = np.abs(_least(o, d, wheel)) < 1e-6
    np.testing.assert_array_equal(np.isfinite(z)[~near_miss], np.isfinite(z_dense)[~near_miss])
    hit = np.isfinite(z) & np.isfinite(z_dense) & ~near_miss
    assert hit.sum() > 300
    np.testing.assert_allclose(z[hit], z_dense[hit], rtol=0, atol=2e-8)
    far = hit & (out_dense < 1e6)
    np.testing.assert_allclose(out[far], out_dense[far], rtol=0, atol=2e-8)
    # The entry point lies on the solid, and the normal is the direction in which its distance grows.
    p = o[:, hit] + z[hit] * d[:, hit]
    np.testing.assert_allclose(_distance(p, wheel), 0, atol=1e-10)
    assert ((normal[:, hit] * d[:, hit]).sum(0) < 0).all()
    length = np.linalg.norm(normal[:, hit], axis=0)
    np.testing.assert_allclose(length, 1, rtol=0, atol=1e-12)
    step = 1e-6
    for axis in range(3):
        move = step * np.eye(3)[axis][:, None]
        slope = (_distance(p + move, wheel) - _distance(p - move, wheel)) / (2 * step)
        sharp = (
            np.abs(np.abs(p[1]) - wheel.half_width) < 1e-4 if wheel.corner_radius == 0 else np.zeros(len(slope), bool)
        )
        ridge = sharp & (np.abs(wheel.height(p)) < 1e-4)
        np.testing.assert_allclose(normal[axis, hit][~ridge], slope[~ridge], rtol=0, atol=2e-5)
    kinds = set(np.unique(surface[hit]))
    assert kinds == (
        {FACE, SIDE} if wheel.corner_radius == 0 else {FACE, CORNER, SIDE} if wheel.flat else {CORNER, SIDE}
    )


def _least(o, d, wheel):
    """Least distance from the solid along a line, by a ternary search."""
    a, b = np.zeros(o.shape[1]), np.full(o.shape[1], 300.0)
    for _ in range(100):
        one, two = a + (b - a) / 3, b - (b - a) / 3
        left = _distance(o + one * d, wheel) < _distance(o + two * d, wheel)
        a, b = np.where(left, a, one), np.where(left, two, b)
    return _distance(o + (a + b) / 2 * d, wheel)


def test_lines_across_the_axis_meet_face_and_side_exactly():
    wheel = WHEELS["sharp"]
    d = np.array([[-1.0], [0.0], [0.0]])
    z, out, normal, surface = wheel.crossing(np.array([[50.0], [3.0], [0.0]]), d)
    assert (z[0], out[0], surface[0]) == (50.0, 250.0, FACE)
    np.testing.assert_allclose(normal[:, 0], [1, 0, 0])
    z, out, normal, surface = wheel.crossing(np.array([[-50.0], [-30.0], [0.0]]), np.array([[0.0], [1.0], [0.0]]))
    assert (z[0], out[0], surface[0]) == (10.0, 50.0, SIDE)
    np.testing.assert_allclose(normal[:, 0], [0, -1, 0])
    z, out, _, _ = wheel.crossing(np.array([[50.0], [20.5], [0.0]]), d)  # beside the wheel, parallel to its sides
    assert (z[0], out[0]) == (np.inf, -np.inf)


def test_height_is_the_distance_from_the_face():
    rng = np.random.default_rng(2)
    for radius in (12.0, 100.0, 1e7):
        p = rng.normal(size=(3, 200)) * 5
        exact = np.array([_exactly(radius, x, z) for x, z in zip(p[0], p[2], strict=True)])
        np.testing.assert_allclose(WheelSolid(1 / radius, 20, 0).height(p), exact, rtol=1e-12, atol=1e-12)
    p = rng.normal(size=(3, 50))
    np.testing.assert_array_equal(WheelSolid(0.0, 20, 0).height(p), p[0])


def _exactly(radius, x, z):
    """√((R + x)² + z²) − R in 60 digits."""
    from decimal import Decimal, getcontext

    getcontext().prec = 60
    r, x, z = Decimal(radius), Decimal(float(x)), Decimal(float(z))
    return float(((r + x) ** 2 + z * z).sqrt() - r)


def test_a_belt_is_the_limit_of_a_large_wheel():
    """Entry into a wheel of radius R differs from the belt's by z²/2R: the sagitta."""
    o, d = random_lines(500, 4, spread=10)
    belt = WheelSolid(0.0, 1e3, 0.0).face_roots(o[0], o[2], d[0], d[2])[0]
    for radius in (1e7, 1e10):
        large = WheelSolid(1 / radius, 1e3, 0.0).face_roots(o[0], o[2], d[0], d[2])[0]
        sagitta = (o[2] + belt * d[2]) ** 2 / (2 * radius)
        np.testing.assert_allclose(large - belt, sagitta / -d[0], rtol=1e-2, atol=1e-11)


def test_a_line_from_inside_a_belt_enters_nowhere():
    z, out = WheelSolid(0.0, 10, 0).face_roots(*(np.array([v]) for v in (-5.0, 0.0, 1.0, 0.0)))
    assert (z[0], out[0]) == (-np.inf, 5.0)


def test_built_from_a_recipe():
    wheel = WheelFields(diameter_mm=250.0, width_mm=40.0, corner_radius_mm=2.0).build()
    assert (1 / wheel.curvature, wheel.half_width, wheel.corner_radius, wheel.flat) == (125.0, 20.0, 2.0, 18.0)
    assert WheelFields(kind="belt", width_mm=50.0).build().curvature == 0
