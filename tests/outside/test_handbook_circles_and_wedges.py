"""Machinery's Handbook, 31st edition, pp. 50, 79, 90, 93: circles, segments, cylinder wedge, torus. Text seen."""

import numpy as np
import pytest

from gougeform.bar.section import build_section
from gougeform.machine.solid import WheelSolid
from gougeform.measure.cheek import cheek_widths
from gougeform.measure.volume import steel_removed_mm3
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table
from gougeform.stiffness.properties import fluted
from still import gauss, ground_by, plane_cut

SOURCE = "Machinery's Handbook 31, pp. 50, 79, 90, 93 · seen"


def flat_topped(table, radius, depth, side):
    """A square bar with a sharp-cornered flat top, and a round flute of that radius and depth in it."""
    made = table("foot")
    made["bar"] = {"outline": "square", "side_mm": side, "length_mm": 150.0}
    made["flute"] = {"shape": "arc", "radius_mm": radius, "web_mm": side - depth, "length_mm": 60.0}
    recipe = from_table(made)
    return build_section(recipe.bar, recipe.flute)


def test_chord_and_height_of_an_arc(table, agree):
    """p. 79: c = 2√(h(2r − h)), r = (c² + 4h²)/8h; c = 16 and h = 6 give r = 8⅓."""
    section = flat_topped(table, 25 / 3, 6.0, 30.0)
    chord = section.lip(1) - section.lip(-1)
    agree("width of a flute from lip to lip: chord of an arc", chord, [16.0, 0.0], 1e-12, "mm")


def test_segment(table, agree):
    """p. 50: R 12, height 2: chord 13.2664991614, area 18.0062224507 (printed 13.27 and 18.01)."""
    section = flat_topped(table, 12.0, 2.0, 30.0)
    width = np.linalg.norm(section.lip(1) - section.lip(-1))
    agree("lip to lip: chord of a segment", width, 13.2664991614, 1e-10, "mm")
    # What the flute takes out of the bar is the segment.
    agree("area that a flute takes: segment", 30.0**2 - fluted(section).area, 18.0062224507, 1e-9, "mm²")


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
def test_cylinder_wedge(agree, r, b, length):
    """p. 90: V = (⅔a³ ± bA)L/(r ± b), S = (ad ± b·arc)L/(r ± b); plus where the base is more than half a circle.

    Worked there: d = 5, L = 2, half a circle: 8.33 and 10.0.
    """
    a = np.sqrt(r * r - b * b)
    arc = 2 * r * (np.pi / 2 + np.arcsin(b / r))
    area = r * arc / 2 + b * a
    volume, lateral = wedge(r, b, length)
    formula = (2 / 3 * a**3 + b * area) * length / (r + b)
    agree("volume under a plane bevel of a plain round bar: cylinder wedge", volume, formula, 1e-11, "1", relative=True)
    skin = (a * 2 * r + b * arc) * length / (r + b)
    agree("bar's surface under a plane bevel: lateral surface of the wedge", lateral, skin, 1e-11, "1", relative=True)
    if b == 0:
        assert (formula, skin) == pytest.approx((8.3333333333, 10.0), rel=1e-9)  # as printed there, 8.33 and 10.0


@pytest.mark.parametrize(("diameter", "web", "nose"), [(10, 6.5, 35), (10, 4.0, 40), (12.7, 8.0, 60), (6.0, 3.0, 27)])
def test_steel_removed_by_a_plane_bevel(table, agree, diameter, web, nose):
    """p. 90 again: what a plane bevel takes off a square-ended blank is a cylinder wedge with its tip at the floor."""
    made = changed(from_table(table("foot")), {"bar.diameter_mm": float(diameter), "flute.web_mm": web})
    gouge = ground_by(made, plane_cut(1 / np.tan(np.radians(nose))))
    r, b = diameter / 2, web - diameter / 2
    # The plane goes through the bar's axis: set it back to the floor.
    a, length = np.sqrt(r * r - b * b), web / np.tan(np.radians(nose))
    area = r * r * (np.pi / 2 + np.arcsin(b / r)) + b * a
    formula = (2 / 3 * a**3 + b * area) * length / (r + b)
    back = gouge.section.y_floor / np.tan(np.radians(nose))
    removed = steel_removed_mm3(gouge, setback=back)
    agree("steel removed by a plane bevel: cylinder wedge", removed, formula, 1e-9, "1", relative=True)
    # p. 50: in the section d behind the nose the bevel stands d·tan β below the floor; the cheek is the chord there.
    deep = np.array([0.3, 0.7, 1.1])
    height = gouge.section.y_floor - deep * np.tan(np.radians(nose))
    chord = 2 * np.sqrt(r * r - np.where(height > 0, height, 0.0) ** 2)
    lowest = 2 * np.sqrt(r * r - b * b) if b < 0 else None
    chord = chord if lowest is None else np.full(3, lowest)
    # The widest height is narrowed down to 2e-5 mm of width, no further.
    agree("cheek widths of a plane bevel: chords", cheek_widths(gouge, deep - back), chord, 2e-5, "mm")


def test_torus(agree):
    """p. 93: V = ¼π²Dd², S = π²Dd; D 5, d 1.5 printed 27.76 and 74.022.

    A wheel all corner is a disc of radius D/2 and thickness d with the outer half of the torus round it, which holds
    half the torus and a ball of diameter d; and likewise for the surface.
    """
    big, small = 5.0, 1.5
    volume, surface = np.pi**2 / 4 * big * small**2, np.pi**2 * big * small
    assert (volume, surface) == pytest.approx((27.7582623781, 74.0220330082), rel=1e-11)
    core, c = big / 2, small / 2
    radius = core + c
    wheel = WheelSolid(1 / radius, c, c)
    t, w = gauss(0, np.pi / 2, 80)
    rho = core + c * np.sin(t)  # smooth at the rim in this parameter
    o = np.stack([rho - radius, np.full_like(rho, -50.0), 0 * rho])
    d = np.broadcast_to(np.array([[0.0], [1.0], [0.0]]) + np.array([[1e-13], [0], [0]]), o.shape)
    z, out, normal, _ = wheel.crossing(o, d)
    outer = (2 * np.pi * rho * (out - z) * c * np.cos(t) * w).sum()
    half = volume / 2 + np.pi / 6 * small**3
    agree("volume of a wheel's rounded rim: half a torus and a ball", outer, half, 1e-9, "1", relative=True)
    # dS = 2π ρ dρ / |n · d| on both sides of the middle.
    skin = (2 * 2 * np.pi * rho * c * np.cos(t) / np.abs(normal[1]) * w).sum()
    half = surface / 2 + np.pi * small**2
    agree("surface of a wheel's rounded rim, from the normals where lines enter", skin, half, 1e-7, "1", relative=True)
