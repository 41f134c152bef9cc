"""An exact boundary-representation kernel (Open CASCADE through cadquery-ocp, a test extra). Its code was not read.

Bar, flute and wheel are true cylinders there, and what a steady rod jig leaves is a true solid of revolution, so its
volumes, points and normals hold without facets.
"""

import numpy as np
import pytest

from brep import (
    arc_edge,
    boundary_gap,
    common,
    cylinder,
    distance,
    flat,
    less,
    line_edge,
    normals_at,
    parts,
    prism,
    revolved,
    volume,
)
from gougeform.grind.gouge import shape
from gougeform.grind.ground import Ground, Pass
from gougeform.machine.solid import FACE, SIDE, WheelSolid
from gougeform.measure.edge import measure_edge
from gougeform.measure.volume import head_volume_mm3, steel_removed_mm3
from gougeform.mesh.solid import build_solid
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table
from still import ground_by, still

pytest.importorskip("OCP", reason="cadquery-ocp is a test extra")

SOURCE = "Open CASCADE, exact B-rep"


def fluted_bar(gouge, behind, ahead):
    """The fluted bar between z = -behind and z = ahead; round or square, with a round flute."""
    bar, flute = gouge.recipe.bar, gouge.recipe.flute
    if bar.outline == "round":
        solid = cylinder([0, 0, -behind], [0, 0, 1], bar.diameter_mm / 2, behind + ahead)
    else:
        h, r = bar.side_mm / 2, bar.corner_radius_mm
        ring = []
        for k in range(4):
            c, s = round(np.cos(k * np.pi / 2)), round(np.sin(k * np.pi / 2))
            turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
            at = [turn @ [*p, 0] + [0, 0, -behind] for p in ([h, r - h], [h, h - r], [h - r, h], [h - r, h - r])]
            ring += [line_edge(at[0], at[1]), arc_edge(at[3], [0, 0, 1], r, at[1], at[2])]
        solid = prism(flat(ring), [0, 0, behind + ahead])
    a, floor = flute.radius_mm, gouge.section.y_floor
    return less(solid, cylinder([0, floor + a, -behind - 1], [0, 0, 1], a, behind + ahead + 2))


def turned(gouge, one, behind):
    """What a steady pass leaves, turned all round about the roll axis: the wheel's face is an arc of its meridian."""
    path, radius = one.path, 1 / one.wheel.curvature
    back = np.array([0, 0, one.setback])
    base, axis = path.through + back, path.axis
    centre = path.turn0.T @ (np.array([-radius, 0, 0]) - path.shift0) + back
    along = (centre - base) @ axis
    off = centre - base - along * axis
    far = np.linalg.norm(off)
    assert abs(centre[0]) < 1e-12  # both lie in the middle plane
    out, foot = off / far, base + along * axis
    # From where the arc is low enough to lie behind all of the bar that counts, to where it is nearest to the axis.
    low = min(np.dot([0, y, -behind] - foot, axis) for y in (-9.0, 9.0)) - 1
    assert low > -0.98 * radius
    top = 0.0 if far > radius else -np.sqrt(radius**2 - far**2)

    def at(rho, z):
        return foot + rho * out + z * axis

    def rho(z):
        return far - np.sqrt(radius**2 - z**2)

    first, last = at(rho(low), low), at(rho(top), top) if far > radius else at(0, top)
    edges = [line_edge(at(0, low), first), arc_edge(centre, np.cross(axis, out), radius, first, last)]
    if far > radius:
        edges.append(line_edge(last, at(0, top)))
    edges.append(line_edge(at(0, top), at(0, low)))
    return revolved(flat(edges), base, axis)


def shank_of(steel, depth):
    """Steel ahead of the wheel stays behind as other pieces; ours is the piece that holds the shank."""
    return min(parts(steel, "SOLID"), key=lambda piece: distance(piece, [0, -4, -depth]))


RELIEF = {"grind": [{"path": "steady", "roll_max_deg": 179.0}, {"nose_angle_deg": 28.0, "land_mm": 2.0}]}
SQUARE = {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 1.5, "length_mm": 150.0}
SETUPS = {
    "wheel 200": {},
    "wheel 150, blunter": {"wheel.diameter_mm": 150.0, "jig.nose_angle_deg": 45.0},
    "wheel 250, square bar": {"wheel.diameter_mm": 250.0, "bar": SQUARE},
    "cant 8": {"jig.hinge_cant_deg": 8.0, "jig.hinge_drop_mm": 12.0},
    "worn wheel 130": {"wheel.diameter_mm": 130.0, "jig.nose_angle_deg": 50.0},
    "relief": RELIEF,
}


@pytest.mark.parametrize("name", SETUPS)
def test_steady_rod_grind(table, agree, name):
    """Bar less flute, in common with the solid of revolution that each grind leaves."""
    edits = {"grind.0.roll_max_deg": 179.0} | SETUPS[name]
    gouge = shape(changed(from_table(table("rod-steady")), edits))
    edge = measure_edge(gouge, 41)
    depth = 5.0 - min(edge.heel_line[2].min(), edge.point[2].min())
    left = [turned(gouge, one, depth) for one in gouge.ground.passes]
    steel, blank = fluted_bar(gouge, depth, 30.0), fluted_bar(gouge, depth, 0.0)
    square_end = volume(blank)
    for solid in left:
        steel, blank = common(steel, solid), common(blank, solid)
    shank = shank_of(steel, depth)
    agree("volume of a steady rod-jig head", head_volume_mm3(gouge, depth), volume(shank), 3e-8, "1", relative=True)
    removed = square_end - volume(shank_of(blank, depth))
    agree("steel removed by a steady rod-jig grind", steel_removed_mm3(gouge), removed, 3e-8, "1", relative=True)
    some = np.arange(2, 39, 4)
    gaps = [boundary_gap(shank, point) for point in edge.point[:, some].T]
    agree("edge points of a steady rod-jig grind", gaps, 0, 2e-7, "mm")  # the kernel's own precision is 1e-7
    wedge = []
    for point in edge.point[:, some].T:
        normals = normals_at(shank, point)
        flute = min(normals, key=lambda n: abs(n[2]))
        bevel = max(normals, key=lambda n: n[2])
        wedge.append(180 - np.degrees(np.arccos(np.clip(flute @ bevel, -1, 1))))
    agree("edge angle by the kernel's normals, steady rod jig", edge.wedge[some], wedge, 1e-11, "deg")
    solid = build_solid(gouge, 0.05)
    on = np.unique(solid.faces[solid.surface < len(left)])
    random = np.random.default_rng(1)
    gaps = [boundary_gap(shank, p) for p in solid.vertices[random.choice(on, 25, replace=False)]]
    agree("mesh vertices of the ground face, steady rod jig", gaps, 0, 2e-7, "mm")
    if len(left) > 1:
        k = edge.nose
        to_land = edge.bevel_end[0][:, k]
        agree("end of the land at the nose, on the kernel's crease", boundary_gap(shank, to_land), 0, 1e-9, "mm")
        both = {tuple(np.round(n, 9)) for n in normals_at(shank, to_land, 1e-5)}  # each face may have its seam here
        assert len(both) == 2


@pytest.mark.parametrize(("half", "offset", "tilt"), [(60.0, 0.0, 0.1), (1.5, 0.6, 0.75), (1.0, -0.5, 0.6)])
def test_one_pose(table, agree, half, offset, tilt):
    """One pose of a wide wheel, and of two narrow, slanted ones whose side cuts a part of edge and heel."""
    gouge = ground_by(from_table(table("foot")), None)
    radius, depth = 100.0, 30.0
    # The wheel's face meets the nose under 38°, its axis a little askew to both, so that no symmetry helps.
    x = np.array([0.12, np.cos(np.radians(38)), -np.sin(np.radians(38))])
    y = np.array([-1.0, 0.05, tilt])
    x /= np.linalg.norm(x)
    y -= (y @ x) * x
    y /= np.linalg.norm(y)
    nose = np.array([0.0, gouge.section.y_floor, 0.0])
    placed = still(x, y, [-x @ nose, offset - y @ nose, -np.cross(x, y) @ nose])
    placed.turn[2] = np.cross(placed.turn[0], placed.turn[1])
    ground = Ground((Pass(placed, WheelSolid(1 / radius, half, 0.0)),))
    gouge = ground_by(gouge.recipe, ground)

    section = gouge.section
    u, v = np.linspace(section.u_left, section.u_right, 9)[1:-1], np.linspace(section.v_left, section.v_right, 9)[1:-1]
    inside = np.array([[0, -1.0], [2.0, -2.5], [-3.0, -1.0]])
    p = np.vstack([section.flute_point(u), section.outline.point(v), inside])
    cut = ground.heights(p)
    bar = less(
        cylinder([0, 0, -depth], [0, 0, 1], 5.0, depth + 40),
        cylinder([0, section.y_floor + 4.0, -depth - 1], [0, 0, 1], 4.0, depth + 42),
    )
    centre = placed.turn.T @ (np.array([-radius, 0, 0]) - placed.shift)
    wheel = cylinder(centre - half * y, y, radius, 2 * half)
    steel = less(bar, wheel)
    hit = np.isfinite(cut.z) & (cut.z > -depth) & (cut.z < 40)
    gaps = [boundary_gap(steel, point) for point in np.column_stack([p, cut.z])[hit]]
    if half > 10:
        assert hit.all()
        ours = head_volume_mm3(gouge, depth)
        agree("volume left by one askew pose", ours, volume(shank_of(steel, depth)), 1e-9, "1", relative=True)
        agree("points of edge, heel and face under one askew pose", gaps, 0, 1e-7, "mm")
    else:
        assert {FACE, SIDE} == set(cut.surface[hit])
        agree("points where a narrow wheel's face and side cut", gaps, 0, 1e-7, "mm")
        for point, normal in zip(np.column_stack([p, cut.z])[hit], cut.normal.T[hit], strict=True):
            near = max(n @ normal for n in normals_at(steel, point))
            agree("normals where a narrow wheel's face and side cut", near, 1, 1e-11, "cosine")
