"""shapely (areas of polygons) and trimesh (level cuts of the mesh): sections of bar and ground head."""

import numpy as np
import pytest
from shapely import Polygon

from gougeform.bar.section import build_section
from gougeform.measure.cheek import cheek_widths
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
