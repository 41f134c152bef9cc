"""Recipes and checks for the mesh tests: what a closed, outward, honest mesh has to fulfil, with no repair."""

from __future__ import annotations

import numpy as np

from gougeform.grind import gouge as ground_gouge
from gougeform.recipe.reading import from_table

BAR = {"outline": "round", "diameter_mm": 10.0, "length_mm": 150.0}
FLUTE = {"shape": "arc", "radius_mm": 4.0, "web_mm": 6.5, "length_mm": 60.0}
WHEEL = {"diameter_mm": 200.0, "width_mm": 40.0}
FOOT = {
    "kind": "foot",
    "projection_mm": 65.0,
    "hinge_back_mm": 15.0,
    "hinge_drop_mm": 8.0,
    "arm_length_mm": 90.0,
    "arm_cant_deg": 40.0,
    "nose_angle_deg": 35.0,
}
ROD = {
    "kind": "rod",
    "projection_mm": 65.0,
    "hinge_back_mm": 15.0,
    "hinge_drop_mm": 8.0,
    "hinge_cant_deg": 20.0,
    "shoe_mm": 25.0,
    "rod_diameter_mm": 12.0,
    "nose_angle_deg": 40.0,
}
TABLE = {"kind": "table", "nose_angle_deg": 40.0}
GRIND = {"path": "traced", "wing_length_mm": 10.0}
RELIEF = {"nose_angle_deg": 25.0, "land_mm": 2.5}


def tool(bar=BAR, flute=FLUTE, wheel=WHEEL, jig=FOOT, grind=(GRIND,), **more):
    """A ground gouge from tables."""
    table = {"bar": bar, "flute": flute, "wheel": wheel, "jig": jig, "grind": list(grind), **more}
    return ground_gouge.shape(from_table(table))


def half_edges(faces):
    """(3m, 2) directed edges."""
    return faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)


def assert_closed(solid) -> None:
    """Each edge twice in opposite directions, around each vertex one fan of faces, no vertex unused, no face double."""
    edges = half_edges(solid.faces)
    size = len(solid.vertices)
    there = np.sort(edges[:, 0] * size + edges[:, 1])
    assert (np.diff(there) > 0).all()
    np.testing.assert_array_equal(there, np.sort(edges[:, 1] * size + edges[:, 0]))
    np.testing.assert_array_equal(np.unique(solid.faces), np.arange(size))
    assert len(np.unique(np.sort(solid.faces, axis=1), axis=0)) == len(solid.faces)
    assert size - len(edges) // 2 + len(solid.faces) == 2  # Euler: one ball
    # In 32 bits still no two vertices the same and no face without area.
    small = solid.vertices.astype(np.float32)
    assert len(np.unique(small, axis=0)) == size
    for v in (solid.vertices, small.astype(float)):
        a, b, c = (v[solid.faces[:, i]] for i in range(3))
        assert np.linalg.norm(np.cross(b - a, c - a), axis=1).min() > 1e-8
    assert solid.volume > 0


def assert_no_fold(solid) -> None:
    """Ground face and run-out are graphs over the section; walls stand upright between; so nothing can cross."""
    for name in ("grind", "run-out"):
        codes = [i for i, n in enumerate(solid.names) if n.startswith(name)]
        a, b, c = (solid.vertices[solid.faces[np.isin(solid.surface, codes)][:, i], :2] for i in range(3))
        area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        assert area.min() > 0, (name, area.min())
    codes = [i for i, n in enumerate(solid.names) if n in ("flute", "outline")]
    a, b, c = (solid.vertices[solid.faces[np.isin(solid.surface, codes)][:, i], :2] for i in range(3))
    area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    assert np.abs(area).max() < 1e-12


def assert_lines_are_edges(solid) -> None:
    """Edge, heel, lips and creases run along edges of the mesh."""
    size = len(solid.vertices)
    known = np.unique(half_edges(solid.faces) @ [size, 1])
    for line in (solid.edge, solid.heel, *solid.lips, *solid.creases):
        assert np.isin(line[:-1] * size + line[1:], known).all()


def deviation(solid, gouge, rng, count=4000):
    """Largest distance (mm) of random points of the ground facets from the surface, square to it."""
    ground = np.flatnonzero(solid.surface < len(gouge.ground.passes))
    weight = rng.dirichlet([1, 1, 1], count)
    corner = solid.vertices[solid.faces[rng.choice(ground, count)]]
    point = (weight[:, :, None] * corner).sum(1)
    cut = gouge.ground.heights(point[:, :2])
    return float((np.abs(cut.z - point[:, 2]) * np.abs(cut.normal[2])).max())


def head_volume(solid, depth: float, grinds: int) -> float:
    """Volume (mm³) between the ground facets and the plane z = -depth."""
    a, b, c = (solid.vertices[solid.faces[solid.surface < grinds][:, i]] for i in range(3))
    area = ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    return float((area * ((a + b + c)[:, 2] / 3 + depth)).sum())
