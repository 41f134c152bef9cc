"""Bar and flute put together: curves, lips, where the clamp's datum lies, and areas known from elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

from dense import in_steel
from gougeform.bar.section import build_section
from gougeform.errors import InputError
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table


@pytest.fixture(scope="module")
def section(table):
    def build(**edits):
        recipe = changed(from_table(table("foot")), {name.replace("__", "."): value for name, value in edits.items()})
        return build_section(recipe.bar, recipe.flute)

    return build


ROUND = {"bar__diameter_mm": 16.0, "flute__radius_mm": 5.0, "flute__web_mm": 9.0}
SQUARE_BAR = {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.2, "length_mm": 150.0}
FREE_BAR = {
    "outline": "points",
    "points_mm": [[5, 4.2], [-4.6, 4.6], [-5.2, -2], [-2, -5.1], [3, -4.8], [5.4, -1]],
    "length_mm": 150.0,
}
FLUTES = {
    "arc": {"shape": "arc", "radius_mm": 4.0, "web_mm": 6.5},
    "parabola": {"shape": "parabola", "floor_radius_mm": 2.0, "web_mm": 5.0},
    "ellipse": {"shape": "ellipse", "floor_radius_mm": 1.5, "half_width_mm": 3.6, "web_mm": 5.5},
    "vee": {"shape": "vee", "floor_radius_mm": 1.5, "flank_angle_deg": 30.0, "web_mm": 5.5},
    "points": {"shape": "points", "points_mm": [[0, 1.5], [1.5, 2.0], [3, 3.2], [4.2, 5.2]]},
}
BARS = {"round": {"outline": "round", "diameter_mm": 10.0, "length_mm": 150.0}, "square": SQUARE_BAR, "free": FREE_BAR}


def area_moments(section, count=4000):
    """Area, centroid and second moments of the steel by Green's theorem on a fine polygon of it."""
    flute = section.flute_point(np.linspace(section.u_right, section.u_left, count))
    v = np.unique(np.concatenate([np.linspace(section.v_left, section.v_right, count), section.outline.breaks]))
    heel = section.outline.point(v[(v >= section.v_left) & (v <= section.v_right)])
    p = np.vstack([heel, flute[1:-1]])
    x, y = p.T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    c = x * y1 - x1 * y
    area = c.sum() / 2
    cx, cy = ((x + x1) * c).sum() / (6 * area), ((y + y1) * c).sum() / (6 * area)
    ixx = ((y * y + y * y1 + y1 * y1) * c).sum() / 12 - area * cy**2
    iyy = ((x * x + x * x1 + x1 * x1) * c).sum() / 12 - area * cx**2
    return area, cx, cy, ixx, iyy


def test_a_flute_whose_walls_lean_inward(section):
    """R8, flute radius 5, its centre 6 above the axis; derived, a finite-element library agrees."""
    s = section(**ROUND)
    area, cx, cy, ixx, iyy = area_moments(s)
    assert area == pytest.approx(147.359624346, rel=2e-6)
    assert cx == pytest.approx(0, abs=1e-9)
    assert cy == pytest.approx(-1.70069106640, abs=2e-5)
    assert ixx == pytest.approx(1457.76334484, rel=2e-6)
    assert iyy == pytest.approx(2889.53197722, rel=2e-6)
    # Lips where both circles meet: x² + y² = 64 and x² + (y − 6)² = 25.
    y = (64 - 25 + 36) / 12
    assert s.lip(1) == pytest.approx([np.sqrt(64 - y * y), y], abs=1e-12)
    assert s.lip(-1) == pytest.approx([-np.sqrt(64 - y * y), y], abs=1e-12)
    assert y > 6  # above the flute's centre: the wall leans inward there


def test_a_groove_of_a_round_cutter(section):
    """Steel left = circle less the lens of two circles; the segment formula is in a handbook, text seen."""
    s = section(bar__diameter_mm=10.0, flute__radius_mm=4.0, flute__web_mm=6.5)
    d = 1.5 + 4.0  # the cutter's centre over the bar axis
    alpha, beta = np.arccos((d * d + 25 - 16) / (10 * d)), np.arccos((d * d + 16 - 25) / (8 * d))
    lens = 25 * (alpha - np.sin(2 * alpha) / 2) + 16 * (beta - np.sin(2 * beta) / 2)
    assert area_moments(s)[0] == pytest.approx(25 * np.pi - lens, rel=2e-6)


@pytest.mark.parametrize("bar", BARS)
@pytest.mark.parametrize("flute", FLUTES)
def test_flute_and_outline_meet_at_the_lips(section, bar, flute):
    s = section(bar=BARS[bar], flute={**FLUTES[flute], "length_mm": 60.0})
    assert s.u_left < 0 < s.u_right
    assert s.v_left < s.v_right
    for side, v in ((-1, s.v_left), (1, s.v_right)):
        lip = s.lip(side)
        assert np.sign(lip[0]) == side
        np.testing.assert_allclose(s.outline.point(np.array([v]))[0], lip, rtol=0, atol=1e-11)
        assert abs(s.outline.nearest(lip[None])[0][0]) < 1e-11
    u = np.linspace(s.u_left, s.u_right, 301)
    p = s.flute_point(u)
    assert s.outline.contains(p[1:-1]).all()
    np.testing.assert_allclose(s.flute_point(-u), p * [-1, 1], rtol=0, atol=1e-12)  # a flute is symmetric
    np.testing.assert_allclose(s.flute_point(np.zeros(1))[0], [0, s.y_floor], atol=1e-15)
    # Derivatives and normals by central differences; the normal points out of the steel.
    step = 1e-6
    inner = u[1:-1] + 1e-5
    slope = (s.flute_point(inner + step) - s.flute_point(inner - step)) / (2 * step)
    np.testing.assert_allclose(s.flute_tangent(inner), slope, rtol=0, atol=5e-6)
    normal = s.flute_normal(u[1:-1])
    assert not in_steel(s, p[1:-1] + 1e-3 * normal)[np.abs(u[1:-1]) < 0.9 * s.u_right].any()
    assert in_steel(s, p[1:-1] - 1e-3 * normal)[np.abs(u[1:-1]) < 0.9 * s.u_right].all()


@pytest.mark.parametrize("name", FLUTES)
def test_height_and_its_derivatives_over_x(section, name):
    flute = section(flute={**FLUTES[name], "length_mm": 60.0}).flute
    x = np.linspace(0.05, 0.9 * min(flute.widest, 4.0), 57)
    y, dy, ddy = flute.height(x)
    px, py = flute.point(flute.place(x))
    np.testing.assert_allclose(px, x, rtol=0, atol=1e-12)
    np.testing.assert_allclose(py, y, rtol=0, atol=1e-12)
    h = 1e-5
    (up, dup, _), (down, ddown, _) = flute.height(x + h), flute.height(x - h)
    np.testing.assert_allclose((up - down) / (2 * h), dy, rtol=1e-6, atol=1e-7)
    smooth = np.abs(dup - ddown) < 1  # the vee's curvature jumps at one place
    if name == "vee":
        smooth &= np.abs(x - 1.5 * np.cos(np.radians(30))) > 2 * h
    np.testing.assert_allclose(((dup - ddown) / (2 * h))[smooth], ddy[smooth], rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize(("name", "radius"), [("arc", 4.0), ("parabola", 2.0), ("ellipse", 1.5), ("vee", 1.5)])
def test_the_floor_has_the_radius_asked_for(section, name, radius):
    flute = section(flute={**FLUTES[name], "length_mm": 60.0}).flute
    y, dy, ddy = flute.height(np.zeros(1))
    assert (y[0], dy[0]) == (0, 0)
    assert ddy[0] == pytest.approx(1 / radius, rel=1e-12)


def test_the_web_is_the_steel_under_the_floor(section):
    for bar in BARS.values():
        s = section(bar=bar, flute={**FLUTES["arc"], "web_mm": 6.0, "length_mm": 60.0})
        assert s.y_floor - s.outline.on_middle_plane(below=True) == pytest.approx(6.0, abs=1e-12)


def test_outlines_go_round_once(section):
    """Perimeter, area and winding of every outline, against the plain formulas."""
    for bar, area, length in (
        (BARS["round"], 25 * np.pi, 10 * np.pi),
        (SQUARE_BAR, 100 - (4 - np.pi) * 1.44, 40 - (8 - 2 * np.pi) * 1.2),
        ({**SQUARE_BAR, "corner_radius_mm": 0.0}, 100, 40),
        ({**SQUARE_BAR, "corner_radius_mm": 5.0}, 25 * np.pi, 10 * np.pi),
    ):
        outline = section(bar=bar).outline
        p = outline.point(np.linspace(0, outline.count, 8 * 4000 + 1))
        q = np.roll(p, -1, 0)
        assert (p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]).sum() / 2 == pytest.approx(area, rel=1e-6)
        assert np.linalg.norm(np.diff(p, axis=0), axis=1).sum() == pytest.approx(length, rel=1e-6)
        v = np.linspace(0.01, outline.count - 0.01, 97)
        assert outline.contains(outline.point(v) - 1e-6 * outline.normal(v)).all()
        assert not outline.contains(outline.point(v) + 1e-6 * outline.normal(v)).any()


def test_nearest_is_the_nearest_of_many_points(section):
    rng = np.random.default_rng(3)
    for bar in BARS.values():
        outline = section(bar=bar).outline
        p = rng.uniform(-8, 8, (200, 2))
        distance, v = outline.nearest(p)
        many = outline.point(np.linspace(0, outline.count, 20001)[:-1])
        brute = np.sqrt(((p[:, None] - many) ** 2).sum(-1).min(1))
        assert (brute >= np.abs(distance) - 1e-12).all()
        np.testing.assert_allclose(np.abs(distance), brute, rtol=0, atol=1e-3)
        np.testing.assert_allclose(np.linalg.norm(outline.point(v) - p, axis=1), np.abs(distance), rtol=0, atol=1e-12)
        np.testing.assert_array_equal(distance < 0, outline.contains(p))


def test_the_underside_and_the_plate_over_the_lips(section):
    s = section(**ROUND)
    assert s.underside == pytest.approx(-8)
    assert s.lip_plane == pytest.approx(6.25, abs=1e-12)  # both lips are the highest steel
    s = section(bar=SQUARE_BAR, flute={**FLUTES["parabola"], "web_mm": 6.5, "length_mm": 60.0})
    assert (s.underside, s.lip_plane) == pytest.approx((-5, 5))


@pytest.mark.parametrize("vee", [60.0, 90.0, 120.0])
def test_the_apex_of_a_v(section, vee):
    """A round bar r has its axis r / sin(ψ/2) above the apex; a square bar on its rounded edges by hand."""
    half = np.radians(vee) / 2
    assert section(**ROUND).vee_apex(2 * half) == pytest.approx(-8 / np.sin(half), rel=1e-12)
    # Square of half side 5, corners r 1.2 about (±3.8, −3.8): the flanks touch those corners.
    s = section(bar=SQUARE_BAR)
    reach = 3.8 * np.cos(half) + 3.8 * np.sin(half) + 1.2
    assert s.vee_apex(2 * half) == pytest.approx(-reach / np.sin(half), rel=1e-12)


def test_a_lip_on_the_side_of_a_square_bar(section):
    """A flute wider than the flat on top runs out on the side faces."""
    s = section(bar=SQUARE_BAR, flute={"shape": "arc", "radius_mm": 7.0, "web_mm": 6.0, "length_mm": 60.0})
    assert s.lip(1)[0] == pytest.approx(5.0, abs=1e-12)
    assert s.lip(1)[1] == pytest.approx(1 + 7 - np.sqrt(49 - 25), abs=1e-12)


@pytest.mark.parametrize("sense", [1, -1])
def test_a_free_outline_may_be_given_in_either_sense(section, sense):
    points = FREE_BAR["points_mm"][::sense]
    s = section(bar={**FREE_BAR, "points_mm": points})
    assert area_moments(s)[0] == pytest.approx(area_moments(section(bar=FREE_BAR))[0], rel=1e-9)


def test_a_flute_that_misses_the_outline_is_refused(section):
    with pytest.raises(InputError, match="does not meet the bar's outline"):
        section(flute={"shape": "arc", "radius_mm": 1.0, "web_mm": 3.0, "length_mm": 60.0})
