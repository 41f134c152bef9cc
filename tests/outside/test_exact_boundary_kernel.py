"""An exact boundary-representation kernel (Open CASCADE through cadquery-ocp, a test extra): one single-pose cut.

Bar, flute and wheel are true cylinders there, so its volume and its points on the edge hold without facets.
"""

import numpy as np
import pytest

from gougeform.grind.ground import Ground, Pass
from gougeform.machine.wheel import Wheel
from gougeform.measure.volume import head_volume_mm3
from gougeform.read.recipe import from_table
from still import ground_by, still

pytest.importorskip("OCP", reason="cadquery-ocp is a test extra")


def cylinder(base, axis, radius, height):
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    frame = gp_Ax2(gp_Pnt(*map(float, base)), gp_Dir(*map(float, axis)))
    return BRepPrimAPI_MakeCylinder(frame, radius, height).Shape()


def less(a, b):
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut

    return BRepAlgoAPI_Cut(a, b).Shape()


def volume(shape):
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    props = GProp_GProps()
    measure = getattr(BRepGProp, "VolumeProperties_s", None) or BRepGProp.VolumeProperties
    measure(shape, props, 1e-10)
    return props.Mass()


def distance(shape, point):
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt

    return BRepExtrema_DistShapeShape(BRepBuilderAPI_MakeVertex(gp_Pnt(*map(float, point))).Shape(), shape).Value()


def test_one_pose(table):
    """Volume to 1e-6, points of edge, heel and face on its boundary to 1e-7 mm."""
    gouge = ground_by(from_table(table("foot")), None)
    radius, half, depth = 100.0, 60.0, 30.0
    # The wheel's face meets the nose under 38°, its axis a little askew to both, so that no symmetry helps.
    x = np.array([0.12, -np.cos(np.radians(38)), np.sin(np.radians(38))])
    x[1:] *= -1
    y = np.array([-1.0, 0.05, 0.1])
    x /= np.linalg.norm(x)
    y -= (y @ x) * x
    y /= np.linalg.norm(y)
    nose = np.array([0.0, gouge.section.y_floor, 0.0])
    placed = still(x, y, [-x @ nose, -y @ nose, -np.cross(x, y) @ nose])
    placed.turn[2] = np.cross(placed.turn[0], placed.turn[1])
    ground = Ground((Pass(placed, Wheel(1 / radius, half, 0.0)),))
    gouge = ground_by(gouge.recipe, ground)
    ours = head_volume_mm3(gouge, depth)

    bar = cylinder([0, 0, -depth], [0, 0, 1], 5.0, depth + 40)
    flute = cylinder([0, gouge.section.y_floor + 4.0, -depth - 1], [0, 0, 1], 4.0, depth + 42)
    centre = placed.turn.T @ (np.array([-radius, 0, 0]) - placed.shift)
    wheel = cylinder(centre - half * y, y, radius, 2 * half)
    steel = less(less(bar, flute), wheel)
    # Steel ahead of the wheel stays behind as other pieces; ours is the piece that holds the shank.
    from OCP.TopAbs import TopAbs_SOLID
    from OCP.TopExp import TopExp_Explorer

    pieces, explorer = [], TopExp_Explorer(steel, TopAbs_SOLID)
    while explorer.More():
        pieces.append(explorer.Current())
        explorer.Next()
    shank = min(pieces, key=lambda piece: distance(piece, [0, -4, -depth]))
    assert ours == pytest.approx(volume(shank), rel=1e-6)

    section = gouge.section
    u, v = np.linspace(section.u_left, section.u_right, 7)[1:-1], np.linspace(section.v_left, section.v_right, 7)[1:-1]
    inside = np.array([[0, -1.0], [2.0, -2.5], [-3.0, -1.0]])
    p = np.vstack([section.flute_point(u), section.outline.point(v), inside])
    for point in np.column_stack([p, ground.heights(p).z]):
        assert _boundary_gap(shank, point) < 1e-7


def _boundary_gap(solid, point):
    """Distance to the solid's faces (a point inside a solid has none to the solid itself)."""
    from OCP.TopAbs import TopAbs_FACE
    from OCP.TopExp import TopExp_Explorer

    gaps, explorer = [], TopExp_Explorer(solid, TopAbs_FACE)
    while explorer.More():
        gaps.append(distance(explorer.Current(), point))
        explorer.Next()
    return min(gaps)
