"""Machinery's Handbook, 31st edition, pp. 50, 79, 90, 93: circles, segments, cylinder wedge, torus. Text seen."""

import numpy as np
import pytest

from gougeform.bar.section import build_section
from gougeform.machine.wheel import Wheel
from gougeform.read.recipe import from_table
from still import gauss, plane_cut


def flat_topped(table, radius, depth, side):
    """A square bar with a sharp-cornered flat top, and a round flute of that radius and depth in it."""
    made = table("foot")
    made["bar"] = {"outline": "square", "side_mm": side, "length_mm": 150.0}
    made["flute"] = {"shape": "arc", "radius_mm": radius, "web_mm": side - depth, "length_mm": 60.0}
    recipe = from_table(made)
    return build_section(recipe.bar, recipe.flute)


def test_chord_and_height_of_an_arc(table):
    """p. 79: c = 2√(h(2r − h)), r = (c² + 4h²)/8h; c = 16 and h = 6 give r = 8⅓."""
    section = flat_topped(table, 25 / 3, 6.0, 30.0)
    chord = section.lip(1) - section.lip(-1)
    assert chord == pytest.approx([16.0, 0.0], abs=1e-12)
    assert pytest.approx(section.flute.a) == (16**2 + 4 * 6**2) / (8 * 6)


def test_segment(table):
    """p. 50: R 12, height 2: chord 13.2664991614, area 18.0062224507 (printed 13.27 and 18.01)."""
    section = flat_topped(table, 12.0, 2.0, 30.0)
    assert np.linalg.norm(section.lip(1) - section.lip(-1)) == pytest.approx(13.2664991614, rel=1e-11)
    u, w = gauss(section.u_left, section.u_right)
    depth = section.lip(1)[1] - section.flute_point(u)[:, 1]
    assert (w * depth * section.flute_tangent(u)[:, 0]).sum() == pytest.approx(18.0062224507, rel=1e-11)


def wedge(r, b, length):
    """Volume and lateral surface of the part of a round bar cut off by a plane, base segment y > -b."""
    slope = length / (r + b)
    ground = plane_cut(slope)
    t, w = gauss(-np.arcsin(b / r), np.pi / 2, 80)
    y, half = r * np.sin(t), r * np.cos(t)
    u, wu = gauss(-1, 1, 4)
    points = np.stack([np.outer(half, u).ravel(), np.repeat(y, len(u))], -1)
    height = ground.heights(points).z.reshape(len(t), len(u)) + slope * b
    volume = (w * r * np.cos(t) * half * (height @ wu)).sum()
    rim = ground.heights(np.stack([half, y], -1)).z + slope * b
    return volume, 2 * r * (w * rim).sum()


@pytest.mark.parametrize(("r", "b", "length"), [(2.5, 0.0, 2.0), (5.0, 2.0, 7.0), (5.0, -2.0, 7.0)])
def test_cylinder_wedge(r, b, length):
    """p. 90: V = (⅔a³ ± bA)L/(r ± b), S = (ad ± b·arc)L/(r ± b); plus where the base is more than half a circle.

    Worked there: d = 5, L = 2, half a circle: 8.33 and 10.0.
    """
    a = np.sqrt(r * r - b * b)
    arc = 2 * r * (np.pi / 2 + np.arcsin(b / r))
    area = r * arc / 2 + b * a
    volume, lateral = wedge(r, b, length)
    assert volume == pytest.approx((2 / 3 * a**3 + b * area) * length / (r + b), rel=1e-10)
    assert lateral == pytest.approx((a * 2 * r + b * arc) * length / (r + b), rel=1e-10)
    if b == 0:
        assert (volume, lateral) == pytest.approx((8.3333333333, 10.0), rel=1e-9)


def test_torus():
    """p. 93: V = ¼π²Dd², S = π²Dd; D 5, d 1.5 printed 27.76 and 74.022.

    A wheel all corner is a disc of radius D/2 and thickness d with the outer half of the torus round it, which holds
    half the torus and a ball of diameter d; and likewise for the surface.
    """
    big, small = 5.0, 1.5
    volume, surface = np.pi**2 / 4 * big * small**2, np.pi**2 * big * small
    assert (volume, surface) == pytest.approx((27.7582623781, 74.0220330082), rel=1e-11)
    core, c = big / 2, small / 2
    radius = core + c
    wheel = Wheel(1 / radius, c, c)
    t, w = gauss(0, np.pi / 2, 80)
    rho = core + c * np.sin(t)  # smooth at the rim in this parameter
    o = np.stack([rho - radius, np.full_like(rho, -50.0), 0 * rho])
    d = np.broadcast_to(np.array([[0.0], [1.0], [0.0]]) + np.array([[1e-13], [0], [0]]), o.shape)
    z, out, normal, _ = wheel.crossing(o, d)
    outer = (2 * np.pi * rho * (out - z) * c * np.cos(t) * w).sum()
    assert outer == pytest.approx(volume / 2 + np.pi / 6 * small**3, rel=1e-9)
    # dS = 2π ρ dρ / |n · d| on both sides of the middle.
    skin = (2 * 2 * np.pi * rho * c * np.cos(t) / np.abs(normal[1]) * w).sum()
    assert skin == pytest.approx(surface / 2 + np.pi * small**2, rel=1e-7)
