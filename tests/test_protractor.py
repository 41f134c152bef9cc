"""Wing angles as a protractor reads them, against the ground surface itself and against the derived formula."""

import numpy as np
import pytest

from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.measure.protractor import along_marks, marks, through_axis
from gougeform.recipe.reading import load

NAMES = ["finial-round-10-fingernail-foot", "baluster-square-10-fingernail-rod", "finial-round-10-plain-table"]


@pytest.mark.parametrize("name", NAMES)
def test_through_the_axis_is_the_slope_of_the_surface_there(name):
    """Independent: heights of the ground surface a little further out on the same ray from the bar's axis."""
    gouge = shape(load(name))
    edge = measure(gouge).edge
    at = np.arange(edge.nose + 20, len(edge.u) - 5, 13)
    ray = edge.point[:2, at]
    far = np.linalg.norm(ray, axis=0)
    step = 1e-4
    z = [gouge.ground.heights((ray * (1 + way * step / far)).T).z for way in (-1, 1)]
    slope = (z[1] - z[0]) / (2 * step)
    np.testing.assert_allclose(through_axis(gouge, edge)[at], np.degrees(np.arctan2(1, np.abs(slope))), atol=0.01)


@pytest.mark.parametrize("name", NAMES)
def test_along_the_marks_is_the_wedge_turned_by_their_direction(name):
    """Derived: tan(read) = tan(wedge) cos(turn), in a plane square on the bevel turned from square to the edge."""
    gouge = shape(load(name))
    edge = measure(gouge).edge
    way = marks(gouge, edge)
    np.testing.assert_allclose((way * edge.normal).sum(0), 0, atol=1e-9)  # the grain moves in the bevel
    np.testing.assert_allclose(np.linalg.norm(way, axis=0), 1, atol=1e-12)
    square = np.cross(edge.plane, edge.normal, axis=0)
    cosine = np.abs((way * square).sum(0)) / np.linalg.norm(square, axis=0)
    acute = (edge.wedge < 85) & (cosine > 0.05)
    read = np.degrees(np.arctan(np.tan(np.radians(edge.wedge)) * cosine))
    np.testing.assert_allclose(along_marks(gouge, edge)[acute], read[acute], atol=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_at_the_nose_all_three_are_one(name):
    measures = measure(shape(load(name)))
    edge = measures.edge
    for read in (along_marks, through_axis):
        assert read(measures.gouge, edge)[edge.nose] == pytest.approx(measures.nose_angle, abs=1e-6)
