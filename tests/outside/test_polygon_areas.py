"""shapely (areas of polygons) and trimesh (level cuts of the mesh): sections of bar and ground head."""

import numpy as np
import pytest
from shapely import Polygon

from gougeform.bar.section import build_section
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.cheek import cheek_widths, edge_widths, past_edge
from gougeform.measure.measures import measure
from gougeform.mesh.solid import build_solid
from gougeform.read.library import names
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table
from gougeform.stiffness.properties import fluted
from polygons import limit, polygon

SOURCE = "shapely, polygons"
CUTS = "trimesh, level cuts of the mesh"


def bar_of(flute):
    """The library's bar that a flute is made for, by the end of its name."""
    return next(f"{shape}-{flute.split(shape + '-')[1]}" for shape in ("round", "square", "flatted") if shape in flute)


@pytest.mark.parametrize("name", names("flutes"))
def test_every_flute_of_the_library_in_its_bar(table, agree, name):
    """Area and centroid of polygons of 200 and 400 sides a piece, extrapolated; vees leave most of the error."""
    recipe = changed(from_table(table("foot")), {"bar": bar_of(name), "flute": name})
    section = build_section(recipe.bar, recipe.flute)
    made = [Polygon(polygon(section, n)) for n in (200, 400)]
    area = limit(*(p.area for p in made))
    ours = fluted(section)
    agree("area of every library bar with its flutes", ours.area, area, 3e-8, "1", relative=True)
    y = limit(*(p.centroid.y for p in made))
    agree("height of the centroid of every library bar with its flutes", ours.y, y, 3e-8, "mm")


@pytest.mark.parametrize("base", ["foot", "foot-relief", "rod", "rod-steady", "table"])
def test_cheeks_on_the_mesh(tool, agree, base):
    """The mesh cut level at z = -d, what of that lies at or below the floor, and its width; facets within 0.002 mm."""
    import trimesh

    gouge = tool(base)
    solid = build_solid(gouge, 0.002)
    mesh = trimesh.Trimesh(solid.vertices, solid.faces, process=False)
    behind = np.array([1.0, 3.0, 5.0, 10.0])
    floor, widths = gouge.section.y_floor, []
    for d in behind:
        start, end = np.moveaxis(trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, -d])[:, :, :2], 1, 0)
        # What of the cut's outline lies at or below the floor: whole lines, and where others cross its height.
        ends = np.concatenate([start, end])
        under = [ends[ends[:, 1] <= floor, 0]]
        across = (start[:, 1] - floor) * (end[:, 1] - floor) < 0
        share = (floor - start[across, 1]) / (end - start)[across, 1]
        under.append(start[across, 0] + share * (end - start)[across, 0])
        widths.append(np.ptp(np.concatenate(under)))
    agree("cheek widths, cut out of the mesh", cheek_widths(gouge, behind), widths, 0.003, "mm", source=CUTS)


def random_tools(count):
    """Foot-jig tools of many sizes, round and square, with and without relief, some ground off the wheel's middle."""
    rng = np.random.default_rng(5)
    while count:
        size, relief, aside = rng.uniform(6, 13), rng.random() < 0.4, rng.random() < 0.3
        square = {"outline": "square", "side_mm": size, "corner_radius_mm": rng.uniform(0.03, 0.4) * size}
        first = {"path": "traced", "wing_length_mm": rng.uniform(0.4, 1.3) * size}
        second = {"nose_angle_deg": rng.uniform(20, 28), "land_mm": rng.uniform(0.1, 0.25) * size}
        table = {
            "bar": (square if rng.random() < 0.5 else {"outline": "round", "diameter_mm": size}) | {"length_mm": 150.0},
            "flute": {"web_mm": rng.uniform(0.5, 0.7) * size, "length_mm": 60.0}
            | (
                {"shape": "arc", "radius_mm": rng.uniform(0.3, 0.5) * size}
                if rng.random() < 0.6
                else {"shape": "parabola", "floor_radius_mm": rng.uniform(0.2, 0.5) * size}
            ),
            "wheel": {"diameter_mm": rng.uniform(150, 250), "width_mm": 40.0, "corner_radius_mm": 1.0},
            "jig": {
                "kind": "foot",
                "projection_mm": rng.uniform(60, 80),
                "hinge_back_mm": 15.0,
                "hinge_drop_mm": 8.0,
                "arm_length_mm": 90.0,
                "arm_cant_deg": rng.uniform(35, 45),
                "nose_angle_deg": rng.uniform(30, 45),
            },
            "grind": [first | ({"contact_mm": rng.uniform(-4, 4)} if aside else {}), *([second] if relief else [])],
        }
        try:
            made = measure(shape(from_table(table)))
        except InputError:
            continue
        count -= 1
        yield made


def cut_level(mesh, flute, d, below):
    """From the mesh alone, cut at z = -d: width between the ends of the flute's line, and of the steel past that.

    flute: (m,) which faces are the flute's. Only what lies `below` mm under those ends, or lower, counts as past them.
    """
    import trimesh

    lines, face = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, -d], return_faces=True)
    start, end = np.moveaxis(lines[:, :, :2], 1, 0)
    joints = np.concatenate([start[flute[face]], end[flute[face]]])
    _, first, times = np.unique(joints.round(6), axis=0, return_index=True, return_counts=True)
    left, right = sorted(joints[first[times == 1]].tolist())
    out = 0.0
    for (_, y), side in ((left, -1), (right, 1)):
        top = y - below
        across = (start[:, 1] - top) * (end[:, 1] - top) < 0
        share = (top - start[across, 1]) / (end - start)[across, 1]
        ends = np.concatenate([start, end])
        under = ends[ends[:, 1] <= top + 1e-9, 0]
        x = np.concatenate([under, start[across, 0] + share * (end - start)[across, 0]])
        out += max((side * x).max(initial=0.0), 0.0)
    return right[0] - left[0], max(out - (right[0] - left[0]), 0.0)


def test_cheek_past_the_edge_on_the_mesh(agree):
    """Thirty random tools: level cuts ahead of the lips and behind them, facets within 0.01 mm."""
    import trimesh

    edges, past = [], []
    for made in random_tools(30):
        solid = build_solid(made.gouge, 0.01)
        mesh = trimesh.Trimesh(solid.vertices, solid.faces, process=False)
        flute = np.isin(solid.surface, solid.names.index("flute"))
        behind = np.array([3.0, 7.0, 10.0, 14.0])
        ours = edge_widths(made.edge, behind), past_edge(made.edge, behind), past_edge(made.edge, behind, 2.0)
        for i, d in enumerate(behind):
            for below, mine in ((0.0, ours[1]), (2.0, ours[2])):
                edge, over = cut_level(mesh, flute, d, below)
                past.append((mine[i], over))
            edges.append((ours[0][i], edge))
    assert np.mean([over > 0.1 for _, over in past]) > 0.3
    agree("edge widths, cut out of the mesh", *np.transpose(edges), 0.001, "mm", source=CUTS)
    agree("cheek past the edge, cut out of the mesh", *np.transpose(past), 0.006, "mm", source=CUTS)
