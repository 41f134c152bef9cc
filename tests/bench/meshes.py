"""Our mesh and edge against general mesh booleans and against an isosurface: the same grind, errors measured alike."""

from __future__ import annotations

import numpy as np
import shapely

from bench.timing import Row, Times, row, say, timed
from brute import blank, ground, section_polygon
from dense import dense_heights
from gougeform.grind.gouge import Gouge
from gougeform.measure.edge import measure_edge
from gougeform.mesh.solid import build_solid

DEPTH = 22.0  # mm of bar behind the nose: the whole head lies in it
_MARGIN = 0.02  # mm: facets closer to flute or outline than this may be walls of the bar
_SAMPLES = 20_000
FACETS = 1024  # of the booleans' disc: its sagitta is 0.0005 mm
CORNERS = 120  # of flute and of outline of the booleans' bar: off by 0.001 mm, less than the scallops between poses


def ground_facets(gouge: Gouge, corner: np.ndarray, low, high, margin: float = _MARGIN) -> np.ndarray:
    """Which facets (n, 3, 3) of somebody's mesh are ground: off flute and outline by `margin` mm, and in a box."""
    middle = corner.mean(1)
    inside = shapely.Polygon(section_polygon(gouge.section)).buffer(-margin)
    mine = shapely.contains_xy(inside, middle[:, 0], middle[:, 1])
    return mine & ((corner > np.add(low, margin)) & (corner < np.subtract(high, margin))).all((1, 2))


def off_surface(gouge: Gouge, corner: np.ndarray) -> float:
    """Largest distance (mm) of random points of ground facets (n, 3, 3) from the exact surface, square to it."""
    area = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
    rng = np.random.default_rng(1)
    pick = corner[rng.choice(len(corner), _SAMPLES, p=area / area.sum())]
    point = (rng.dirichlet([1, 1, 1], _SAMPLES)[:, :, None] * pick).sum(1)
    cut = gouge.ground.heights(point[:, :2])
    return float((np.abs(cut.z - point[:, 2]) * np.abs(cut.normal[2])).max())


def off_edge(gouge: Gouge, vertices: np.ndarray, faces: np.ndarray, box=None) -> float:
    """Largest distance (mm) of places of the exact edge from a mesh."""
    import pyvista

    mesh = pyvista.PolyData.from_regular_faces(vertices, faces)
    point = measure_edge(gouge).point.T
    if box is not None:
        point = point[((point > box[0]) & (point < box[1])).all(1)]
    _, nearest = mesh.find_closest_cell(np.ascontiguousarray(point), return_closest_point=True)
    return float(np.linalg.norm(nearest - point, axis=1).max())


def against_booleans(gouge: Gouge, poses: tuple[int, ...], quick: bool) -> list[Row]:
    """The edge with all measures, the whole mesh, and a bar less one disc after another."""
    say("mesh booleans")
    one = gouge.ground.passes[0]
    rows = []
    edge, times = timed(lambda: measure_edge(gouge), 3 if quick else 25)
    some = edge.point[:, :: 100 if quick else 8]
    error = float(np.abs(dense_heights(gouge.ground, some[:2].T) - some[2]).max())
    note = f"error: {some.shape[1]} stations against a dense search"
    rows.append(row("edge", "ours: edge, angles, bevel", f"{len(edge.u)} stations", times, error=error, note=note))
    solid, mesh_times = timed(lambda: build_solid(gouge), 2 if quick else 7)
    mesh = row(
        "mesh",
        "ours: closed mesh of the whole tool",
        f"{len(solid.faces):,} triangles",
        mesh_times,
        error=off_surface(gouge, solid.vertices[solid.faces[solid.surface < len(gouge.ground.passes)]]),
        note=f"states {solid.tolerance:.4f}; edge off by {off_edge(gouge, solid.vertices, solid.faces):.4f} mm",
    )
    bar = blank(gouge.section, DEPTH, 1.0, points=CORNERS)
    theirs = []
    for count in poses:
        facets = 128 if quick else FACETS
        left, times = timed(lambda count=count, facets=facets: ground(bar, one, count, facets), 1, warm=False)
        data = left.to_mesh()
        corner = np.asarray(data.vert_properties)[:, :3].astype(float)[np.asarray(data.tri_verts)]
        error = off_surface(gouge, corner[ground_facets(gouge, corner, [-9, -9, -DEPTH], [9, 9, 9])])
        for group in ("edge", "mesh"):
            theirs.append(
                row(
                    group,
                    "manifold3d booleans: the head",
                    f"{count} poses x {facets:,} facets",
                    times,
                    error=error,
                    note=f"bar of {2 * CORNERS} corners; {left.num_tri():,} triangles",
                )
            )
    return [rows[0], *(r for r in theirs if r.group == "edge"), mesh, *(r for r in theirs if r.group == "mesh")]


def against_isosurface(gouge: Gouge, cells: tuple[float, ...], box_mm: float, quick: bool) -> list[Row]:
    """Flying edges (VTK) over the whole head at some cell sizes, and at 0.01 mm over a cube near the nose.

    Its function is max(z - h(x, y), the section's distance) with h from our own kernel, which is the cheapest and most
    exact one could hand it; a function made of poses would cost far more.
    """
    say("isosurface")
    low, high = np.array([-5.1, -5.1, -DEPTH]), np.array([5.1, 5.1, 0.3])
    rows = []
    for cell in cells:
        rows.append(_isosurface(gouge, low, high, cell, "the whole head", quick))
    nose = np.array([0.0, gouge.section.y_floor, 0.0])
    half = box_mm / 2
    near = (nose - np.array([half, half, box_mm - 0.1]), nose + np.array([half, half, 0.1]))
    fine = _isosurface(gouge, *near, 0.01, f"a cube of {box_mm:g} mm at the nose", quick)
    more = float(np.prod(high - low) / box_mm**3)
    whole = fine.scaled(
        more,
        what="isosurface (VTK): the whole head",
        size=f"cells of 0.01 mm: the cube's time x {more:.0f}",
        extrapolated=True,
        error=None,
        note=f"{4e-9 * np.prod((high - low) / 0.01):.0f} GB of values; not run",
    )
    return [*rows, fine, whole]


def _isosurface(gouge: Gouge, low: np.ndarray, high: np.ndarray, cell: float, where: str, quick: bool) -> Row:
    import pyvista

    count = np.ceil((high - low) / cell).astype(int) + 1
    x, y, z = (low[i] + cell * np.arange(count[i]) for i in range(3))

    def contour():
        field = _field(gouge, x, y, z)
        grid = pyvista.ImageData(dimensions=count, spacing=(cell,) * 3, origin=low)
        grid["f"] = field.reshape(-1)
        return grid.contour([0.0], scalars="f", method="flying_edges", compute_normals=False, compute_gradients=False)

    mesh, times = timed(contour, 1, warm=quick)
    vertices, faces = np.asarray(mesh.points, float), mesh.regular_faces
    box, corner = (low, high), vertices[faces]
    return row(
        "mesh",
        f"isosurface (VTK): {where}",
        f"cells of {cell:g} mm, {np.prod(count) / 1e6:.1f} million",
        times,
        error=off_surface(gouge, corner[ground_facets(gouge, corner, low, high, 2 * cell)]),
        note=f"{len(faces):,} triangles; edge off by {off_edge(gouge, vertices, faces, box):.3f} mm",
    )


def _field(gouge: Gouge, x: np.ndarray, y: np.ndarray, z: np.ndarray) -> np.ndarray:
    """(z, y, x) float32: below 0 in the steel of a round bar with an arc flute."""
    flute, section = gouge.section.flute, gouge.section
    xx, yy = np.meshgrid(x, y)
    flat = np.stack([xx.ravel(), yy.ravel()], -1)
    h = np.clip(gouge.ground.heights(flat).z, -1e3, 1e3).reshape(xx.shape).astype(np.float32)
    radius = float(section.outline.radius[0])
    wall = np.maximum(np.hypot(xx, yy) - radius, flute.a - np.hypot(xx, yy - section.y_floor - flute.a)).astype(
        np.float32
    )
    out = z.astype(np.float32)[:, None, None] - h
    return np.maximum(out, wall, out=out)


def level_set_rate() -> Row:
    """What Manifold's own level set costs a point: it calls Python back for each, here with the cheapest function."""
    import manifold3d

    calls = 0

    def ball(x: float, y: float, z: float) -> float:
        nonlocal calls
        calls += 1
        return 1.0 - x * x - y * y - z * z

    _, times = timed(
        lambda: manifold3d.Manifold.level_set(ball, [-1.1, -1.1, -1.1, 1.1, 1.1, 1.1], 0.05), 1, warm=False
    )
    cells = 2 * np.prod(np.array([10.2, 10.2, DEPTH + 0.3]) / 0.01)  # two shifted grids
    whole = times.cpu_s / calls * cells
    return row(
        "mesh",
        "Manifold.level_set: the whole head",
        f"0.01 mm: {cells / 1e9:.1f} thousand million calls back to Python at {1e6 * times.cpu_s / calls:.1f} us",
        Times(whole, times.clock_s / calls * cells, 1),
        extrapolated=True,
        note="from a ball of radius 1 mm at 0.05 mm; the function's own time comes on top",
    )
