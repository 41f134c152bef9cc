"""Conics as rational quadratic Béziers (Farin, Curves and Surfaces for CAGD; from memory): the edge of a traced
grind.

With its control point over the lip (shoulder 1) and fullness √2 − 1 the edge seen from above is a quarter of an
ellipse with half axes x_lip and the wing's length; its radius at the nose is then x_lip²/wing (derived), its length
in plan by scipy's complete elliptic integral. Any other fullness ρ puts the curve's shoulder point at ρ of the way
from the chord's middle to the control point.
"""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.special import ellipe

from gougeform.measure.edge import measure_edge

SOURCE = "conic as rational Bézier; quarter ellipse · from memory"
ELLIPSE = {"grind.0.shoulder": 1.0, "grind.0.fullness": float(np.sqrt(2) - 1)}


@pytest.mark.parametrize(("base", "wing"), [("foot", 6.0), ("foot", 9.0), ("rod", 7.0)])
def test_quarter_ellipse(tool, agree, base, wing):
    gouge = tool(base, ELLIPSE | {"grind.0.wing_length_mm": wing})
    edge = measure_edge(gouge)
    lip = gouge.section.lip(1)[0]
    assert edge.overcut < 1e-5  # at the lips, where the edge runs along the bar
    x, z = edge.point[0, 10:-10] / lip, (edge.point[2, 10:-10] + wing) / wing
    agree("ground edge seen from above: an ellipse", np.hypot(x, z), 1, 1e-11, "1")
    # Plan radius at the nose, from the osculating circle of three places there: x² + z² = -2 r z.
    k = edge.nose
    near = edge.point[:, [k - 2, k - 1, k + 1, k + 2]]
    radius = -(near[0] ** 2 + near[2] ** 2) / (2 * near[2])
    # It grows with x²: the limit from two distances.
    inner, outer = radius[1:3].mean(), radius[[0, 3]].mean()
    limit = inner - (outer - inner) * near[0, 2] ** 2 / (near[0, 3] ** 2 - near[0, 2] ** 2)
    agree("plan radius of the ground nose", limit, lip**2 / wing, 1e-6, "mm")
    # Its length in plan, by splines through the stations.
    t = np.linspace(0, 1, len(edge.u))
    path = CubicSpline(t, edge.point[[0, 2]].T)
    node, weight = np.polynomial.legendre.leggauss(4)
    at = (t[:-1, None] + np.diff(t)[:, None] * (node + 1) / 2).ravel()
    speed = np.linalg.norm(path(at, 1), axis=1).reshape(-1, 4)
    length = (speed @ weight * np.diff(t) / 2).sum()
    big, small = max(lip, wing), min(lip, wing)
    agree("plan length of the ground edge", length, 2 * big * ellipe(1 - (small / big) ** 2), 1e-4, "mm")


@pytest.mark.parametrize("fullness", [0.35, 0.5])
def test_fullness(tool, agree, fullness):
    """The middle of each side of the ground edge, where its tangent runs along the chord."""
    gouge = tool("foot", {"grind.0.fullness": fullness, "grind.0.wing_length_mm": 8.0})
    edge = measure_edge(gouge, 4001)
    lip = gouge.section.lip(1)[0]
    chord, control = np.array([lip, -8.0]), np.array([0.8 * lip, 0.0])
    wing = edge.point[[0, 2]][:, edge.nose :]
    off = np.abs(wing[0] * chord[1] - wing[1] * chord[0]) / np.linalg.norm(chord)
    far = abs(control[0] * chord[1] - control[1] * chord[0]) / np.linalg.norm(chord)
    agree(
        "shoulder of the ground edge, as a part of its control point's distance", off.max() / far, fullness, 1e-11, "1"
    )
