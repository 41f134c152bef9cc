"""A smooth outline through measured points, against shapes that are known exactly."""

import numpy as np
import pytest
from shapely.geometry import LinearRing, Point

from gougeform.bar.smooth import coarse_mm, smooth_outline


def ellipse(count, a=6.0, b=4.5):
    turn = 2 * np.pi * np.arange(count) / count
    return np.stack([a * np.cos(turn), b * np.sin(turn)], 1)


@pytest.mark.parametrize("count", [6, 8, 12, 24])
def test_points_of_a_circle_give_the_circle(count):
    turn = 2 * np.pi * np.arange(count) / count + 0.3
    points = 5 * np.stack([np.cos(turn), np.sin(turn)], 1)
    outline = smooth_outline(points)
    at = outline.point(np.linspace(0, outline.count, 1001)[:-1])
    np.testing.assert_allclose(np.linalg.norm(at, axis=1), 5, atol=1e-12)
    assert coarse_mm(points) < 1e-12
    np.testing.assert_allclose(outline.point(np.zeros(1)), [[0, 5]], atol=1e-12)


@pytest.mark.parametrize("count", [10, 16, 24, 36])
def test_what_is_stated_covers_an_ellipse(count):
    """Outside: the ellipse itself, densely sampled, by shapely's distance."""
    points = ellipse(count)
    outline = smooth_outline(points)
    true = LinearRing(ellipse(40_000))
    off = max(true.distance(Point(p)) for p in outline.point(np.linspace(0, outline.count, 997)[:-1]))
    assert off < coarse_mm(points) < 20 * off
    np.testing.assert_allclose(outline.nearest(points)[0], 0, atol=1e-9)  # it runs through every reading


def test_it_bends_nowhere_but_at_corners():
    """A round bar with a flat: two corners, the flat straight between them, the rest round."""
    low = np.arcsin(-0.8)
    turn = np.linspace(low, np.pi - low, 31)
    points = 5 * np.stack([np.cos(turn), np.sin(turn)], 1)
    outline = smooth_outline(points)
    v = np.linspace(0, outline.count, 20_001)[:-1]
    step = np.abs(np.diff(np.unwrap(np.arctan2(*outline.tangent(v).T[::-1]))))
    assert (step > 0.1).sum() == 2
    assert np.sort(step)[-3] < 2e-3
    flat = outline.point(v)[:, 1] < -4 + 1e-9
    assert flat.sum() > 300
    round_ = np.linalg.norm(outline.point(v)[~flat], axis=1)
    np.testing.assert_allclose(round_, 5, atol=1e-9)


def test_a_square_keeps_its_corners_and_sides():
    side = np.array([[5, 5], [0, 5], [-5, 5], [-5, 0], [-5, -5], [0, -5], [5, -5], [5, 0]], float)
    outline = smooth_outline(side)
    assert not outline.radius.any()
    assert np.abs(outline.point(np.linspace(0, outline.count, 801))).max(1) == pytest.approx(5, abs=1e-12)
    assert coarse_mm(side) < 1e-12
