"""Half of a tool may be the other's mirror image: it is what the kernel finds there, and never where halves differ."""

from __future__ import annotations

import numpy as np
import pytest

from gougeform.grind.ground import Ground
from gougeform.measure.crease import creases
from gougeform.measure.edge import measure_edge

CASES = {
    "foot": ("foot", {}),
    "foot, square bar": ("foot", {"bar": {"outline": "square", "side_mm": 9.0, "corner_radius_mm": 1.5}}),
    "rod": ("rod", {}),
    "rolled on a rod": ("rod-steady", {}),
    "table": ("table", {}),
    "relief": ("foot-relief", {}),
    "relief on a rod": ("rod-relief", {}),
    "off the middle": ("foot", {"grind.0.contact_mm": 6.0}),
    "off the middle, table": ("table", {"grind.0.contact_mm": 6.0}),
    "off the middle, relief": ("foot-relief", {"grind.0.contact_mm": 6.0, "grind.1.contact_mm": 6.0}),
}


@pytest.fixture(params=CASES.values(), ids=CASES)
def gouge(request, tool):
    base, edits = request.param
    if "bar" in edits:
        edits = {f"bar.{name}": value for name, value in edits["bar"].items()} | {"bar.diameter_mm": None}
    return tool(base, edits)


def test_edge_and_heel_are_the_kernel_s(gouge):
    edge = measure_edge(gouge)
    for point, cut in ((edge.point, edge.cut), (edge.heel_line, edge.heel_cut)):
        again = gouge.ground.heights(point[:2].T)
        np.testing.assert_allclose(point[2], again.z, rtol=0, atol=2e-9)
        np.testing.assert_allclose(cut.normal, again.normal, rtol=0, atol=1e-6)
        np.testing.assert_array_equal(cut.grind, again.grind)
        np.testing.assert_array_equal(cut.surface, again.surface)
        inner = np.abs(point[0]) > 1e-6  # in the middle plane two places of the path may cut alike
        np.testing.assert_allclose(cut.s[inner], again.s[inner], rtol=0, atol=1e-5)


def test_creases_lie_on_both_surfaces(gouge):
    found = creases(gouge)
    assert len(found) == (len(gouge.ground.passes) > 1)
    for curve in found:
        first, second = (Ground((one,)).heights(curve.point[:2].T) for one in gouge.ground.passes)
        np.testing.assert_allclose(curve.point[2], first.z, rtol=0, atol=1e-8)
        np.testing.assert_allclose(curve.point[2], second.z, rtol=0, atol=1e-8)
        np.testing.assert_allclose(curve.normal, first.normal, rtol=0, atol=1e-6)
        assert (np.diff(curve.point[0]) > 0).all()
        assert curve.point[0, 0] < -3
        assert curve.point[0, -1] > 3


def test_a_contact_off_the_middle_leaves_two_different_halves(tool):
    """Otherwise the cases above could not tell whether anything is mirrored that must not be."""
    for base, least in (("foot", 2e-3), ("table", 0.05)):
        heel = measure_edge(tool(base, {"grind.0.contact_mm": 6.0})).heel_line[2]
        assert np.abs(heel - heel[::-1]).max() > least
