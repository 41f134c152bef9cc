"""Wheels turned about an axis: the neck left on a bar, and the surface a skew axis gives.

The neck: derived from the torus and the sagitta. The skew axis: derived; envelope theory as in do Carmo and in
Pottmann and Wallner, Computational Line Geometry, from memory (texts not seen).
"""

import numpy as np
import pytest

from gougeform.grind.ground import Ground, Pass
from gougeform.machine.path import Steady
from gougeform.machine.wheel import Wheel
from still import gauss


def turned_round_the_bar(radius, distance, skew, width=500.0):
    """A wheel turned fully about the bar axis; `distance` centre to bar axis, `skew` between the two axes (rad)."""
    x, y = np.array([0.0, 1.0, 0.0]), np.array([np.sin(skew), 0.0, np.cos(skew)])
    turn = np.stack([x, y, np.cross(x, y)])
    path = Steady(np.array([0.0, 0, 1]), np.zeros(3), turn, np.array([distance - radius, 0.0, 0.0]), np.pi)
    return Ground((Pass(path, Wheel(1 / radius, width, 0.0)),))


def radial(ground, z, angle):
    """How far from the axis a line square to it at height z first meets the surface."""
    n = len(z)
    origin = np.stack([np.zeros(n), np.zeros(n), z])
    return ground.cut(origin, np.stack([np.cos(angle), np.sin(angle), np.zeros(n)]), from_origin=True).z


def test_neck_left_on_a_round_bar():
    """ρ = D − √(R² − x²); R 100, D 103, b 8: c 31.2249899920, ρ(20) 5.02041028867, V 4674.23594395."""
    big, far, b = 100.0, 103.0, 8.0
    ground = turned_round_the_bar(big, far, np.pi / 2)
    angle = np.linspace(-3, 3, 13)
    np.testing.assert_allclose(radial(ground, np.full(13, 20.0), angle), 5.02041028867, rtol=0, atol=2e-10)
    c = -ground.heights(np.array([[b * np.cos(1.0), b * np.sin(1.0)]])).z[0]
    assert c == pytest.approx(31.2249899920, abs=1e-9)
    # Steel left between −c and c, over radii in two parts: lines nearer the axis than D − R never meet the wheel.
    u, w = gauss(0, np.sqrt(b - 3), 60)
    rho = 3 + u * u
    # Looked at where a knot of the path (every 2.5°) faces the line: close to ρ = 3 the wheel touches a line over less
    # of a turn than that, which the kernel's scan may step over. All round the surface is the same.
    a = np.radians(-90 + 30 * np.arange(12))
    wa = np.full(12, np.pi / 6)
    points = np.stack([np.outer(rho, np.cos(a)).ravel(), np.outer(rho, np.sin(a)).ravel()], -1)
    h = ground.heights(points).z.reshape(len(rho), len(a))
    left = (w * 2 * u * rho * ((2 * c + 2 * h) @ wa)).sum() + np.pi * 9 * 2 * c
    exact = (
        2
        * np.pi
        * ((far**2 + big**2) * c - c**3 / 3 - far * (c * np.sqrt(big**2 - c**2) + big**2 * np.arcsin(c / big)))
    )
    assert exact == pytest.approx(4674.23594395, rel=1e-10)
    assert left == pytest.approx(exact, rel=1e-9)
    inner = np.stack([np.linspace(0, 2.9, 7), np.zeros(7)], -1)
    assert np.isinf(ground.heights(inner).z).all()


@pytest.mark.parametrize("z0", [-40.0, 0.0, 5.0, 12.0])
def test_full_turn_about_a_skew_axis(z0):
    """The parallel surface of a one-sheet hyperboloid; R 100, d 103, φ 60°, z0 5: ρ 4.400068094774."""
    big, gap, t = 100.0, 103.0, np.tan(np.radians(60))
    rho0 = np.sqrt(gap**2 + z0**2 * t**2)
    n = np.sqrt(rho0**2 + z0**2 * t**4)
    rho, z = rho0 - big * rho0 / n, z0 + big * z0 * t**2 / n
    if z0 == 5:
        assert (rho, z) == pytest.approx((4.400068094774, 19.361466455913), abs=1e-11)
    ground = turned_round_the_bar(big, gap, np.radians(60), 2000.0)
    angle = np.linspace(-2.8, 2.9, 9)
    np.testing.assert_allclose(radial(ground, np.full(9, z), angle), rho, rtol=0, atol=1e-8)
    # Along the bar the first entry is on the lower half of that surface.
    points = rho * np.stack([np.cos(angle), np.sin(angle)], -1)
    if z0:
        np.testing.assert_allclose(ground.heights(points).z, -abs(z), rtol=0, atol=1e-7)
