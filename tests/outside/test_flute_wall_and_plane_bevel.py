"""A plane bevel on a round flute: cos β = cos β0 · cos θ, θ the flute's polar angle from its floor.

Derived: the plane's normal makes 90° − … with the flute's; (40°, 30°) gives 48.4392374298, (60°, 45°) 69.2951889454.
"""

import numpy as np
import pytest

from gougeform.measure.edge import measure_edge
from gougeform.read.recipe import from_table
from still import ground_by, plane_cut


@pytest.mark.parametrize(("nose", "wall", "wedge"), [(40, 30, 48.4392374298), (60, 45, 69.2951889454)])
def test_wedge_along_the_wall(table, nose, wall, wedge):
    """A belt as one pose cuts the plane; every station of the edge obeys, both wings."""
    made = table("foot")
    # z = (y − y_floor) / tan β0: steel below the floor reaches less far, the bevel lies under the edge.
    ground = plane_cut(1 / np.tan(np.radians(nose)))
    edge = measure_edge(ground_by(from_table(made), ground), stations=201)
    theta = edge.u  # an arc's place is its polar angle
    expected = np.degrees(np.arccos(np.cos(np.radians(nose)) * np.cos(theta)))
    np.testing.assert_allclose(edge.wedge, expected, rtol=0, atol=1e-10)
    assert edge.wedge[edge.nose] == pytest.approx(nose, abs=1e-10)
    assert theta.max() > np.radians(wall)
    np.testing.assert_allclose(np.interp(np.radians(wall), theta, edge.wedge), wedge, rtol=0, atol=2e-3)
    exact = np.degrees(np.arccos(np.cos(np.radians(nose)) * np.cos(np.radians(wall))))
    assert exact == pytest.approx(wedge, abs=1e-9)
    np.testing.assert_allclose(edge.hollow[np.isfinite(edge.hollow)], 0, atol=1e-9)  # a plane has no hollow
    # The bevel at the nose is the web seen along the plane.
    assert edge.bevel[edge.nose] == pytest.approx(6.5 / np.sin(np.radians(nose)), abs=1e-9)


@pytest.mark.parametrize(("nose", "wall", "wedge"), [(40, 30, 48.4392374298), (60, 45, 69.2951889454)])
def test_at_the_very_place(table, nose, wall, wedge):
    """At θ itself, from the flute's and the plane's normals as the kernel and the section give them."""
    gouge = ground_by(from_table(table("foot")), plane_cut(1 / np.tan(np.radians(nose))))
    for sign in (1, -1):
        u = np.array([sign * np.radians(wall)])
        flute = np.append(gouge.section.flute_normal(u)[0], 0.0)
        bevel = gouge.ground.heights(gouge.section.flute_point(u)).normal[:, 0]
        assert 180 - np.degrees(np.arccos(flute @ bevel)) == pytest.approx(wedge, abs=1e-9)
