"""A general mesh boolean library (manifold3d, maintained, robust): it comes to our shape as poses and facets grow."""

import numpy as np
from brute import blank, ground, vertices

from gougeform.volume import head_volume_mm3


def test_volume_and_vertices_converge_to_ours(tool):
    """Every finite set of poses leaves steel that the whole path takes: vertices above our surface, ever less.

    Scallops between poses fall with the square of their distance, and so does the disc's own sagitta with its facets.
    """
    gouge = tool("foot", {"wheel.corner_radius_mm": 0.0})
    one, section = gouge.ground.passes[0], gouge.section
    depth = 22.0
    ours = head_volume_mm3(gouge, depth)
    bar = blank(section, depth, 1.0)
    thin = bar.volume() / (depth + 1)  # the polygon's area: a little less than the section's
    excess, high = [], []
    for poses, facets in ((13, 512), (26, 1024), (52, 2048), (104, 4096)):
        left = ground(bar, one, poses, facets)
        # The blank is a polygon inside the true section; compare both above the same area.
        p = vertices(left)
        p = p[p[:, 2] > -depth + 1e-3]
        above = p[:, 2] - gouge.ground.heights(p[:, :2]).z
        assert above.min() > -1e-4  # single-precision vertices
        high.append(above.max())
        excess.append(left.volume() - ours * thin / _area(section))
    assert (np.array(excess) > -0.02).all()
    excess, high = np.abs(excess), np.array(high)
    assert (high[1:] < 0.55 * high[:-1]).all(), high
    assert excess[-1] < 0.06 * excess[0], excess
    assert excess[-1] / ours < 3e-4
    assert high[-1] < 0.02


def _area(section):
    """Exact area of the steel: the bar's circle less the lens it shares with the flute's circle."""
    d, r, a = section.y_floor + section.flute.a, 5.0, section.flute.a
    one, two = np.arccos((d * d + r * r - a * a) / (2 * d * r)), np.arccos((d * d + a * a - r * r) / (2 * d * a))
    return np.pi * r * r - r * r * (one - np.sin(2 * one) / 2) - a * a * (two - np.sin(2 * two) / 2)


def test_our_edge_points_lie_on_its_edge(tool):
    """The boolean's highest points near our edge stations: within its own scallops of our edge."""
    from gougeform.edge import measure_edge

    gouge = tool("foot", {"wheel.corner_radius_mm": 0.0})
    edge = measure_edge(gouge, 41)
    left = ground(blank(gouge.section, 22.0, 1.0, points=1500), gouge.ground.passes[0], 100, 2048)
    p = vertices(left)
    p = p[p[:, 2] > -20]
    gap = np.linalg.norm(edge.point.T[:, None] - p[None], axis=-1).min(1)
    assert gap.max() < 0.08  # vertices of its edge are that far apart
    assert np.median(gap) < 0.02
