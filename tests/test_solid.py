"""The mesh of a ground tool: closed, outward, without a crossing, exact where it says so, close elsewhere."""

from __future__ import annotations

import numpy as np
import pytest

import solids
from gougeform.errors import InputError
from gougeform.grind.ground import Ground
from gougeform.measure.volume import head_volume_mm3
from gougeform.mesh.solid import build_solid
from solids import BAR, FLUTE, FOOT, GRIND, RELIEF, ROD, TABLE, WHEEL

SQUARE = {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 0.0, "length_mm": 150.0}
HEX = {
    "outline": "points",
    "points_mm": [[3.1, 5.4], [-3.1, 5.4], [-6.2, 0.1], [-3.2, -5.3], [3.0, -5.4], [6.3, 0.0]],
    "length_mm": 120.0,
}
MEASURED = {
    "shape": "points",
    "points_mm": [[0, 0], [1, 0.1], [2, 0.55], [3, 1.4], [4, 3.3]],
    "web_mm": 6.0,
    "length_mm": 60.0,
}

CASES = {
    "round": {},
    "relief": {"grind": [GRIND, RELIEF]},
    "three grinds": {"grind": [GRIND, RELIEF, {"nose_angle_deg": 18.0, "land_mm": 6.0}]},
    "square, sharp": {"bar": SQUARE, "grind": [GRIND, RELIEF]},
    "square, 2 mm": {"bar": SQUARE | {"corner_radius_mm": 2.0}},
    "six sides, not symmetric": {"bar": HEX, "grind": [GRIND, RELIEF]},
    "parabola, rod": {
        "flute": {"shape": "parabola", "floor_radius_mm": 2.5, "web_mm": 5.0, "length_mm": 60.0},
        "jig": ROD,
        "grind": [{"path": "traced", "wing_length_mm": 4.0}],
    },
    "ellipse, table, steady": {
        "flute": {"shape": "ellipse", "floor_radius_mm": 3.0, "half_width_mm": 3.6, "web_mm": 6.0, "length_mm": 60.0},
        "jig": TABLE,
        "grind": [{"path": "steady", "roll_max_deg": 70.0}],
    },
    "vee, belt": {
        "flute": {
            "shape": "vee", "floor_radius_mm": 1.0, "flank_angle_deg": 30.0, "web_mm": 5.0, "length_mm": 60.0,
            "run_out_mm": 6.0,
        },
        "wheel": {"kind": "belt", "width_mm": 50.0},
    },
    "measured flute": {"flute": MEASURED},
    "deep, walls lean in": {
        "bar": BAR | {"diameter_mm": 12.7},
        "flute": {"shape": "arc", "radius_mm": 4.2, "web_mm": 5.0, "length_mm": 60.0},
        "jig": FOOT | {"nose_angle_deg": 50.0},
        "grind": [{"path": "traced", "wing_length_mm": 7.0}],
    },
}  # fmt: skip


@pytest.fixture(scope="module", params=CASES, ids=list(CASES))
def case(request):
    gouge = solids.tool(**CASES[request.param])
    return gouge, build_solid(gouge)


def test_is_closed_and_outward(case):
    _, solid = case
    solids.assert_closed(solid)
    assert set(np.unique(solid.surface)) == set(range(len(solid.names)))


def test_nothing_crosses(case):
    _, solid = case
    solids.assert_no_fold(solid)


def test_sections_are_simple(case):
    """A check with another kernel: where a section crossed itself, its filled area would not be its signed one."""
    import manifold3d

    _, solid = case
    body = manifold3d.Manifold(manifold3d.Mesh64(solid.vertices, solid.faces.astype(np.uint64)))
    assert body.status() == manifold3d.Error.NoError
    assert body.volume() == pytest.approx(solid.volume, rel=1e-12)
    low, high = solid.vertices[:, 2].min(), solid.vertices[:, 2].max()
    for z in np.concatenate([np.linspace(low, high, 9)[1:-1] + 0.0123, np.linspace(-12, high, 9)[1:-1] + 0.0123]):
        assert body.slice(float(z)).area() == pytest.approx(signed_section(solid, z), rel=1e-7, abs=1e-7)


def signed_section(solid, z):
    corner = solid.vertices[solid.faces]
    side = corner[..., 2] > z
    area = 0.0
    cut = side.any(1) & ~side.all(1)
    for p, up in zip(corner[cut], side[cut], strict=True):
        ends = []
        for i in range(3):
            j = (i + 1) % 3
            if up[i] != up[j]:
                t = (z - p[i, 2]) / (p[j, 2] - p[i, 2])
                ends.append((up[i], p[i, :2] + t * (p[j, :2] - p[i, :2])))
        (a,) = (e for down, e in ends if not down)
        (b,) = (e for down, e in ends if down)
        area += (b[0] * a[1] - b[1] * a[0]) / 2
    return area


def test_ground_vertices_lie_on_the_surface(case):
    gouge, solid = case
    ground = np.unique(solid.faces[solid.surface < len(gouge.ground.passes)])
    z = gouge.ground.heights(solid.vertices[ground, :2]).z
    np.testing.assert_allclose(solid.vertices[ground, 2], z, rtol=0, atol=1e-9)


def test_facets_are_within_tolerance(case):
    gouge, solid = case
    measured = solids.deviation(solid, gouge, np.random.default_rng(5), 6000)
    assert measured <= 0.01
    assert solid.tolerance <= 0.01


def test_volume_agrees_with_the_height_integral(case):
    gouge, solid = case
    depth = max(gouge.recipe.flute.length_mm, 1 - float(solid.vertices[solid.heel, 2].min()))
    mesh = solids.head_volume(solid, depth, len(gouge.ground.passes))
    assert mesh == pytest.approx(head_volume_mm3(gouge, depth), rel=1e-4)


def test_lines_are_edges_of_the_mesh(case):
    gouge, solid = case
    solids.assert_lines_are_edges(solid)
    section = gouge.section
    edge, heel = solid.vertices[solid.edge, :2], solid.vertices[solid.heel, :2]
    np.testing.assert_allclose(edge[[0, -1]], [section.lip(-1), section.lip(1)], rtol=0, atol=1e-12)
    np.testing.assert_array_equal(solid.edge[[0, -1]], solid.heel[[0, -1]])
    assert np.abs(section.outline.nearest(heel)[0]).max() < 1e-9
    nose = solid.edge[np.abs(edge[:, 0]).argmin()]
    np.testing.assert_allclose(solid.vertices[nose], [0, section.y_floor, 0], rtol=0, atol=1e-9)
    # Every piece of edge, heel and lips is where two different parts of the surface meet.
    where = {}
    for face, code in zip(solid.faces.tolist(), solid.surface.tolist(), strict=True):
        for i in range(3):
            where.setdefault(frozenset((face[i], face[i - 1])), set()).add(solid.names[code].split()[0])
    for line, parts in ((solid.edge, {"grind", "flute"}), (solid.heel, {"grind", "outline"})):
        assert all(where[frozenset(pair)] == parts for pair in zip(line[:-1].tolist(), line[1:].tolist(), strict=True))
    for line in solid.lips:
        parts = [where[frozenset(pair)] for pair in zip(line[:-1].tolist(), line[1:].tolist(), strict=True)]
        assert parts[0] == {"flute", "outline"}
        assert all(p == {"run-out", "outline"} for p in parts[1:])


def test_creases_are_where_two_grinds_meet(case):
    gouge, solid = case
    grinds = len(gouge.ground.passes)
    assert bool(solid.creases) == (grinds > 1)
    alone = [Ground((one,)).heights for one in gouge.ground.passes]
    for line in solid.creases:
        inner = line[1:-1]
        z = np.sort([height(solid.vertices[inner, :2]).z for height in alone], axis=0)
        assert np.abs(z[1] - z[0]).max() < 3e-9
    # And no other edge of the mesh lies between facets of two grinds.
    if grinds > 1:
        size = len(solid.vertices)
        ground = solid.surface < grinds
        edges = np.sort(solids.half_edges(solid.faces[ground]), axis=1) @ [size, 1]
        code = np.repeat(solid.surface[ground], 3)
        order = np.lexsort((code, edges))
        twice = edges[order][1:] == edges[order][:-1]
        border = edges[order][1:][twice & (code[order][1:] != code[order][:-1])]
        crease = np.concatenate([np.sort(np.stack([c[:-1], c[1:]], -1), axis=1) @ [size, 1] for c in solid.creases])
        np.testing.assert_array_equal(np.sort(border), np.sort(crease))


def test_wedge_is_the_angle_between_the_surfaces(case):
    gouge, solid = case
    on_edge = np.isfinite(solid.wedge_deg)
    np.testing.assert_array_equal(np.flatnonzero(on_edge), np.sort(solid.edge))
    nose = solid.edge[np.abs(solid.vertices[solid.edge, 0]).argmin()]
    asked = gouge.recipe.grinds[0].jig.nose_angle_deg
    if gouge.recipe.grinds[0].path.path == "traced" and gouge.recipe.grinds[0].jig.kind == "foot":
        assert solid.wedge_deg[nose] == pytest.approx(asked, abs=1e-6)


def test_finer_mesh_comes_closer():
    gouge = solids.tool(grind=[GRIND, RELIEF])
    exact = head_volume_mm3(gouge, 60.0)
    off, count = [], []
    for tolerance in (0.05, 0.01, 0.002):
        solid = build_solid(gouge, tolerance)
        solids.assert_closed(solid)
        assert solid.tolerance <= tolerance
        off.append(solids.deviation(solid, gouge, np.random.default_rng(1)))
        assert off[-1] <= tolerance
        assert solids.head_volume(solid, 60.0, 2) == pytest.approx(exact, rel=1e-4)
        count.append(len(solid.faces))
    assert off[0] > 2 * off[1] > 4 * off[2]
    assert count[0] < count[1] < count[2]


def test_whole_volume_is_the_sum_of_its_parts():
    """Head and prism by the height integral, run-out and shank by their sections' areas (shoelace on 40,000 points)."""
    gouge = solids.tool()
    solid = build_solid(gouge)
    section, depth = gouge.section, 60.0
    top = section.outline.point(np.zeros(1))[0]
    length = 3 * (top[1] - section.y_floor)

    def void(w: float) -> float:
        """Area of T + w (C - T) inside the bar: the scaled curve between its crossings with the circle, and the arc."""
        u = np.linspace(-np.pi / 2, np.pi / 2, 40001)
        curve = top + w * (section.flute_point(u) - top)
        inside = np.flatnonzero(np.hypot(*curve.T) <= 5)
        curve = curve[inside]
        a, b = (np.arctan2(p[1], p[0]) for p in (curve[-1], curve[0]))
        arc = np.linspace(a, b, 2001)
        ring = np.vstack([curve, 5 * np.stack([np.cos(arc), np.sin(arc)], -1)])
        x, y = ring.T
        return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)

    x, weight = np.polynomial.legendre.leggauss(24)
    # Where full depth ends the depth falls like a circle: back = length sin(a) takes the root out of the integrand.
    angle = (x + 1) / 2 * np.pi / 2
    back = length * np.sin(angle)
    share = np.sqrt(25 - 9 * (back / length) ** 2) - 4
    run_out = sum(
        wt * np.pi / 4 * length * np.cos(a) * (np.pi * 25 - void(w))
        for wt, a, w in zip(weight, angle, share, strict=True)
    )
    shank = np.pi * 25 * (150 - depth - length)
    assert solid.volume == pytest.approx(head_volume_mm3(gouge, depth) + run_out + shank, rel=1e-4)


@pytest.mark.parametrize(
    ("relief", "ends"),
    [
        ({"nose_angle_deg": 25.0, "land_mm": 0.3, "wing_length_mm": 14.0}, {"edge"}),
        ({"nose_angle_deg": 32.0, "land_mm": 1.0}, {"heel"}),
        ({"nose_angle_deg": 25.0, "land_mm": 9.9}, {"heel"}),
    ],
)
def test_crease_ends_exactly_on_edge_or_heel(relief, ends):
    gouge = solids.tool(grind=[GRIND, relief])
    solid = build_solid(gouge)
    solids.assert_closed(solid)
    solids.assert_no_fold(solid)
    (line,) = solid.creases
    found = {"edge" if v in solid.edge[1:-1] else "heel" if v in solid.heel[1:-1] else "lip" for v in line[[0, -1]]}
    assert found == ends
    alone = [Ground((one,)).heights(solid.vertices[line[[0, -1]], :2]).z for one in gouge.ground.passes]
    np.testing.assert_allclose(alone[0], alone[1], rtol=0, atol=1e-6)


WRONG = [
    ({}, 0.0, "tolerance", "given 0, allowed is 0.0001 to 1 mm"),
    ({}, float("nan"), "tolerance", "given nan, allowed is 0.0001 to 1 mm"),
    ({"flute": FLUTE | {"length_mm": 9.0}}, 0.01, "flute.length_mm", "the edge of this grind reaches 10.0 mm"),
    (
        {
            "bar": BAR | {"length_mm": 30.0}, "flute": FLUTE | {"length_mm": 25.0},
            "jig": FOOT | {"projection_mm": 20.0},
        },
        0.01, "flute.length_mm", "of run-out",
    ),
    (
        {
            "bar": BAR | {"length_mm": 13.0}, "flute": FLUTE | {"length_mm": 12.0, "run_out_mm": 0.5},
            "jig": FOOT | {"projection_mm": 11.0},
        },
        0.01, "bar.length_mm", "the heel of this grind reaches 23.0 mm",
    ),
    (
        {
            "wheel": WHEEL | {"width_mm": 4.0, "corner_radius_mm": 0.0}, "jig": TABLE,
            "grind": [{"path": "steady", "roll_max_deg": 3.0}],
        },
        0.01, "grind", "brings the wheel to the bar at x = -3.50, y = 3.57 mm",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("change", "tolerance", "field", "words"), WRONG)
def test_says_what_is_wrong(change, tolerance, field, words):
    with pytest.raises(InputError) as caught:
        build_solid(solids.tool(**change), tolerance)
    assert caught.value.field.startswith(field)
    assert words in caught.value.problem
    assert caught.value.hint


def test_refuses_an_outline_that_hides_behind_itself():
    points = [
        [5, 5],
        [-5, 5],
        [-5, -5],
        [-1, -5],
        [-1, 0.5],
        [-4, 0.5],
        [-4, 1],
        [4, 1],
        [4, 0.5],
        [1, 0.5],
        [1, -5],
        [5, -5],
    ]
    bar = {"outline": "points", "points_mm": points, "length_mm": 100.0}
    flute = {"shape": "arc", "radius_mm": 3.0, "web_mm": 1.0, "length_mm": 50.0}
    with pytest.raises(InputError, match="cannot be meshed"):
        build_solid(solids.tool(bar=bar, flute=flute))


def test_import_is_light():
    import subprocess
    import sys

    code = (
        "import sys, gougeform.mesh.solid, gougeform.measure.volume, gougeform.mesh.files;"
        "print([m for m in ('trimesh', 'meshio', 'pyvista', 'vtk', 'networkx', 'lxml') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
