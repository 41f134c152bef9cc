"""A general mesh boolean library (manifold3d; its code was not read): it comes to ours as poses and facets grow."""

import manifold3d as m3
import numpy as np

from brute import blank, ground, vertices
from gougeform.measure.edge import measure_edge
from gougeform.measure.volume import head_volume_mm3
from gougeform.mesh.solid import build_solid

SOURCE = "manifold3d, mesh booleans"


def test_volume_and_vertices_converge_to_ours(tool, agree):
    """Every finite set of poses leaves steel that the whole path takes: vertices above our surface, ever less.

    Scallops between poses fall with the square of their distance, and so does the disc's own sagitta with its facets:
    half the step and half the facet leave a quarter of the error.
    """
    gouge = tool("foot", {"wheel.corner_radius_mm": 0.0})
    one, section = gouge.ground.passes[0], gouge.section
    depth = 22.0
    ours = head_volume_mm3(gouge, depth)
    bar = blank(section, depth, 1.0, points=500)
    # The blank is a polygon inside the true section; compare both over the same area.
    ours *= bar.volume() / (depth + 1) / _area(section)
    solid = build_solid(gouge, 0.002)
    mine = m3.Manifold(m3.Mesh(solid.vertices.astype(np.float32), solid.faces.astype(np.uint32)))
    mine ^= m3.Manifold.cube([30, 30, 40]).translate([-15, -15, -depth])
    excess, high, more, p = [], [], [], np.zeros((0, 3))
    for poses, facets in ((9, 256), (17, 512), (33, 1024)):
        left = ground(bar, one, poses, facets)
        p = vertices(left)
        p = p[p[:, 2] > -depth + 1e-3]
        above = p[:, 2] - gouge.ground.heights(p[:, :2]).z
        assert above.min() > -1e-5  # vertices come in single precision
        high.append(above.max())
        excess.append((left.volume() - ours) / ours)
        more.append((left - mine).volume())
    assert min(excess) > 0
    for each in (high, excess):
        assert 0.15 < each[1] / each[0] < 0.4, each
        assert 0.15 < each[2] / each[1] < 0.4, each
    assert excess[-1] < 1.5e-3
    # So the limit of its volumes, extrapolated, is ours.
    limit = (1 + excess[-1] - (excess[-2] - excess[-1]) / 3) * ours
    agree("volume of the head: limit of booleans of 9, 17, 33 poses", limit, ours, 3e-5, "1", relative=True)
    agree.falls("excess of the booleans' volume over ours, by poses", excess, "1")
    agree.falls("highest vertex of the booleans over our surface, by poses", high, "mm")
    agree.falls("volume of the boolean less our solid, by poses", more, "mm³")
    # Nor does ours stand out of theirs by more than facets of both do.
    agree("our solid less the boolean of 33 poses", (mine - left).volume(), 0, 0.02, "mm³")
    # And its edge runs along ours: a vertex of its mesh near each of our stations, across the height of its scallops.
    edge = measure_edge(gouge, 81)
    gap = np.linalg.norm(edge.point.T[:, None] - p[None], axis=-1).min(1)
    agree("vertices of the boolean near our edge, across its scallops", gap, 0, 0.06, "mm")
    assert np.median(gap) < 0.05


def _area(section):
    """Exact area of the steel: the bar's circle less the lens it shares with the flute's circle."""
    d, r, a = section.y_floor + section.flute.a, 5.0, section.flute.a
    one, two = np.arccos((d * d + r * r - a * a) / (2 * d * r)), np.arccos((d * d + a * a - r * r) / (2 * d * a))
    return np.pi * r * r - r * r * (one - np.sin(2 * one) / 2) - a * a * (two - np.sin(2 * two) / 2)
