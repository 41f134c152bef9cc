"""A plane bevel on a flute's wall: cos β = cos β0 · cos θ, θ the wall's slope (in a round flute its polar angle).

Derived from the two planes' normals; (40°, 30°) gives 48.4392374298, (60°, 45°) 69.2951889454. The edge is an arc of an
ellipse: its length by scipy's incomplete elliptic integral of the second kind, E(φ | m) (DLMF 19.30, from memory).
"""

import numpy as np
import pytest
from scipy.special import ellipeinc

from gougeform.measure.edge import measure_edge
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table
from still import ground_by, plane_cut

SOURCE = "cos β = cos β0 · cos θ · derived"
ARC = {}
PARABOLA = {"flute": {"shape": "parabola", "floor_radius_mm": 2.5, "web_mm": 6.5, "length_mm": 60.0}}
VEE = {"flute": {
    "shape": "vee", "floor_radius_mm": 1.0, "flank_angle_deg": 35.0, "web_mm": 6.0, "length_mm": 60.0
}}  # fmt: skip
ELLIPSE = {"flute": {
    "shape": "ellipse", "floor_radius_mm": 2.0, "half_width_mm": 3.0, "web_mm": 6.0, "length_mm": 60.0
}}  # fmt: skip
SQUARE = {"bar": {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.0, "length_mm": 150.0}}


def slope(kind, x):
    """Angle (rad) of the wall at |x|, from the flute's own formula."""
    if kind == "parabola":
        return np.arctan(x / 2.5)
    if kind == "ellipse":
        return np.arctan2(9 / 2 / 3 * (x / 3), np.sqrt(1 - (x / 3) ** 2))
    if kind == "vee":
        return np.minimum(np.arcsin(np.minimum(x, 1.0)), np.radians(55))
    return np.arcsin(x / 4)


@pytest.mark.parametrize(("nose", "wall", "wedge"), [(40, 30, 48.4392374298), (60, 45, 69.2951889454)])
@pytest.mark.parametrize(
    ("kind", "edits"),
    [("arc", ARC), ("arc", SQUARE), ("parabola", PARABOLA), ("vee", VEE), ("ellipse", ELLIPSE)],
    ids=["arc", "square bar", "parabola", "vee", "ellipse"],
)
def test_wedge_along_the_wall(table, agree, kind, edits, nose, wall, wedge):
    """A belt as one pose cuts the plane; every station of the edge obeys, both wings."""
    # z = (y − y_floor) / tan β0: steel below the floor reaches less far, the bevel lies under the edge.
    gouge = ground_by(changed(from_table(table("foot")), edits), plane_cut(1 / np.tan(np.radians(nose))))
    edge = measure_edge(gouge, stations=201)
    # Where a wall leans inward above its widest place, its slope is past 90°.
    x = np.abs(edge.point[0])
    theta = slope(kind, x)
    steep = gouge.section.flute_tangent(edge.u)[:, 0] < 0
    theta = np.where(steep, np.pi - theta, theta)
    expected = np.degrees(np.arccos(np.cos(np.radians(nose)) * np.cos(theta)))
    clear = np.abs(np.cos(theta)) > 1e-3  # an upright wall's slope is not told by x
    agree("edge angle along both wings, plane bevel", edge.wedge[clear], expected[clear], 1e-11, "deg")
    agree("nose angle of a plane bevel", edge.wedge[edge.nose], nose, 1e-11, "deg")
    agree("hollow of a plane bevel", edge.hollow[np.isfinite(edge.hollow)], 0, 1e-11, "mm")
    web = gouge.section.y_floor + 5
    chord = web / np.sin(np.radians(nose))
    agree("bevel length at the nose: the web seen along the plane", edge.bevel[edge.nose], chord, 1e-11, "mm")
    assert np.degrees(np.arccos(np.cos(np.radians(nose)) * np.cos(np.radians(wall)))) == pytest.approx(wedge, abs=1e-9)


@pytest.mark.parametrize(("nose", "wall", "wedge"), [(40, 30, 48.4392374298), (60, 45, 69.2951889454)])
def test_at_the_very_place(table, agree, nose, wall, wedge):
    """At θ itself, from the flute's and the plane's normals as the kernel and the section give them."""
    gouge = ground_by(from_table(table("foot")), plane_cut(1 / np.tan(np.radians(nose))))
    for sign in (1, -1):
        u = np.array([sign * np.radians(wall)])
        flute = np.append(gouge.section.flute_normal(u)[0], 0.0)
        bevel = gouge.ground.heights(gouge.section.flute_point(u)).normal[:, 0]
        found = 180 - np.degrees(np.arccos(flute @ bevel))
        agree("edge angle at one place of the wall, worked values", found, wedge, 1e-9, "deg")


@pytest.mark.parametrize("nose", [25.0, 40.0, 60.0])
def test_length_of_the_edge(table, agree, nose):
    """A plane cuts a round flute in an ellipse: half axes a and a / sin β0, from −θ to θ about its lowest point."""
    gouge = ground_by(from_table(table("foot")), plane_cut(1 / np.tan(np.radians(nose))))
    edge = measure_edge(gouge)
    # ds² = a² (1 + sin²θ cot²β0) dθ², which is E(θ | m) with m = −cot²β0.
    m = -1 / np.tan(np.radians(nose)) ** 2
    ends = ellipeinc(gouge.section.u_right, m) - ellipeinc(gouge.section.u_left, m)
    agree(
        "edge length of a plane bevel: arc of an ellipse", edge.length, 4 * ends, 2e-9, "mm",
        source="scipy.special.ellipeinc (DLMF 19.30) · from memory",
    )  # fmt: skip
