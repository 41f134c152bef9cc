"""ISO 2768-1 class m (text seen) and general guides to fused-filament printing (seen): gauges, as files read by
trimesh.

Class m allows ±0.1 mm to 6, ±0.2 to 30, ±0.3 to 120, ±0.5 to 400 mm; a printer holds ±0.2 to 0.3. A file has to be a
tenth of that or better, so that the printing is all that is left. Guides: a sliding fit takes 0.2 to 0.3 a side,
walls have 1.2 mm or more, overhangs go to 45° at most. The distances themselves come from formulas, not from the
gauges.
"""

import numpy as np
import pytest

from gougeform.gauges.build import build
from gougeform.gauges.checks import section
from gougeform.gauges.making import planned
from gougeform.gauges.options import Printing
from gougeform.gauges.setup import Setup
from gougeform.gauges.writing import write_stl
from gougeform.grind.gouge import shape
from gougeform.recipe.reading import load

SOURCE = "ISO 2768-1 m · seen"
GUIDES = "guides to fused-filament printing · seen"
TENTH = 0.02


@pytest.fixture(scope="module")
def gouge():
    return shape(load("finial-round-10-fingernail-foot"))


def read(folder, gauge, printing=None):
    import trimesh

    write_stl([build(gauge, printing or Printing())], folder / "gauge.stl")
    mesh = trimesh.load(folder / "gauge.stl", force="mesh")
    mesh.merge_vertices()
    return mesh


def plan(mesh, z):
    """(n, 2, 2) mm: lines of a level cut."""
    import trimesh

    return trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, z])[:, :, :2]


def crossings(lines, y):
    """Sorted x where lines cross the height y."""
    a, b = lines[:, 0], lines[:, 1]
    hit = (a[:, 1] - y) * (b[:, 1] - y) < 0
    share = (y - a[hit, 1]) / (b - a)[hit, 1]
    return np.sort(a[hit, 0] + share * (b - a)[hit, 0])


def test_projection_stop(tmp_path, gouge, agree):
    """Lanes as long as the projections asked for."""
    lengths = (60.0, 65.0, 75.0)
    ((gauge,), _) = planned(Setup(gouge), "projection", {"projection_mm": lengths})
    lines = plan(read(tmp_path, gauge), 2.0)
    heights = np.linspace(lines[..., 1].min() + 1, lines[..., 1].max() - 1, 301) + 1e-4
    found = np.array([np.ptp(x) for x in (crossings(lines, y) for y in heights) if len(x)])
    for length in lengths:
        near = found[np.abs(found - length) < 0.5]
        assert len(near) > 40
        agree("lanes of the projection stop, read from its file", np.median(near), length, TENTH, "mm")


def test_rim_spacer(tmp_path, gouge, agree):
    """Between its seats, and half the foot: the rim distance, by the law of cosines from the recipe's own lengths."""
    ((gauge,), _) = planned(Setup(gouge), "spacer", {"foot_mm": 8.0})
    lines = plan(read(tmp_path, gauge), 2.0)
    low, high = lines[..., 1].min(), lines[..., 1].max()
    x = crossings(lines, (low + high) / 2 + 1e-5)
    jig, radius = gouge.recipe.grinds[0].jig, gouge.recipe.grinds[0].wheel.diameter_mm / 2
    cant = np.radians(jig.arm_cant_deg)
    along = jig.projection_mm + jig.hinge_back_mm + jig.arm_length_mm * np.cos(cant)
    # The clamp's datum is the bar's axis in this recipe.
    assert jig.clamp == "axis"
    above = gouge.section.y_floor + jig.hinge_drop_mm + jig.arm_length_mm * np.sin(cant)
    at_nose = np.radians(jig.nose_angle_deg) + np.pi / 2 - np.arctan2(above, along)
    r = np.hypot(along, above)
    rim = np.sqrt(radius**2 + r**2 - 2 * radius * r * np.cos(at_nose)) - radius
    agree("rim distance held by the spacer, read from its file", x[1] - x[0] + 4.0, rim, TENTH, "mm")


def test_wheel_gauge(tmp_path, gouge, agree):
    """Its arcs by chord and height (Machinery's Handbook 31, p. 79): r = (c² + 4h²)/8h, on points of the file."""
    ((gauge,), _) = planned(Setup(gouge), "wheel", {"wheel_mm": (200.0, 180.0, 160.0, 150.0)})
    lines = plan(read(tmp_path, gauge), 1.5)
    points = np.unique(lines.reshape(-1, 2).round(5), axis=0)
    found = []
    for side in (points[:, 1].min(), points[:, 1].max()):
        # Points off the straight side, past the small rounding at an arc's ends; teeth of plate part the arcs.
        depth = np.abs(points[:, 1] - side)
        cut = points[(depth > 0.3) & (depth < 6) & (np.abs(points[:, 0] - np.median(points[:, 0])) < 60)]
        for arc in np.split(cut, np.flatnonzero(np.diff(cut[:, 0]) > 4) + 1):
            if np.ptp(arc[:, 0]) < 15:  # a corner of the plate
                continue
            middle = arc[:, 0].mean()
            arc = arc[np.abs(arc[:, 0] - middle) < 0.35 * np.ptp(arc[:, 0])]
            deepest = np.abs(arc[:, 1] - side).argmax()
            low, high = arc[0], arc[-1]
            c = np.linalg.norm(high - low)
            h = abs(arc[deepest, 1] - (low[1] + high[1]) / 2)
            found.append((c * c + 4 * h * h) / (4 * h))
    # A diameter read off an arc so short takes an error of its points tens of times; 0.4 is still inside class m.
    agree("arcs of the wheel gauge, read from its file", sorted(found), [150, 160, 180, 200], 0.4, "mm")


def test_every_gauge_can_be_printed(tmp_path, gouge, agree):
    """Closed and outward; nothing but the bed side hangs over by more than 45°; the fit is what guides give."""
    made, _ = planned(Setup(gouge))
    assert len(made) >= 5
    for gauge in made:
        mesh = read(tmp_path, gauge)
        assert mesh.is_watertight
        assert mesh.volume > 0
        down = (mesh.triangles_center[:, 2] > mesh.bounds[0, 2] + 1e-6) & (mesh.face_normals[:, 2] < -1e-6)
        over = np.degrees(np.arcsin(-mesh.face_normals[down, 2])).max(initial=0.0)
        # What an opening by a disc of 1.2 mm cannot reach is thinner than that; the disc grows a little to come back.
        level = section(mesh, 1.2)
        thin = level.difference(level.buffer(-0.6, quad_segs=32).buffer(0.61, quad_segs=32))
        agree.at_most("plan of every gauge's file thinner than 1.2 mm", [thin.area], 1e-9, "mm²", source=GUIDES)
        agree.at_most("steepest overhang of every gauge's file", [over], 45.1, "deg", source=GUIDES)
    agree("gap of a sliding fit, a side", Printing().fit_mm, 0.25, 0.05001, "mm", source=GUIDES)
