"""Our mesh files read by other programs' code: trimesh, meshio and Open CASCADE (a test extra), and as plain XML.

3MF Core 1.4.0 (text seen): `millimeter` is the default unit, meshes are closed and face outward. STL knows no unit.
The volume of what is read is held against the kernel's integrals, with no mesh: head, fluted bar to the plane where the
run-out begins, and the rest as read. So a wrong unit, a hole or a turned facet cannot hide.
"""

import zipfile

import numpy as np
import pytest

from conftest import grind_tool
from gougeform.measure.volume import head_volume_mm3
from gougeform.mesh.files import write_3mf, write_stl, write_vtu
from gougeform.mesh.solid import build_solid

SOURCE = "trimesh"
CORE = "3MF Core 1.4.0 · seen"
MESHIO = "meshio"
KERNEL = "Open CASCADE, STL reader"
NAMES = ["foot", "foot-relief", "rod-steady"]


@pytest.fixture(scope="module", params=NAMES)
def made(request, tmp_path_factory):
    """A gouge, its solid, and the folder with its three files."""
    gouge = grind_tool(request.param)
    solid = build_solid(gouge)
    folder = tmp_path_factory.mktemp(request.param)
    for write, ending in ((write_stl, "stl"), (write_3mf, "3mf"), (write_vtu, "vtu")):
        write(solid, folder / f"gouge.{ending}")
    return gouge, solid, folder


def surface_area(points, faces):
    a, b, c = (points[faces[:, i]] for i in range(3))
    return np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2


@pytest.mark.parametrize("ending", ["stl", "3mf"])
def test_trimesh(made, agree, ending):
    """Closed, outward, 150 mm long, and as much steel as the kernel's integral; facets leave 1e-5 of it out."""
    import trimesh

    gouge, solid, folder = made
    mesh = trimesh.load(folder / f"gouge.{ending}", force="mesh")
    mesh.merge_vertices()
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.body_count == 1
    back = -mesh.bounds[0, 2]
    agree("length of bar in the file, as trimesh reads it", back, 150.0, 1e-11, "mm")
    agree("volume of STL and 3MF, as trimesh reads them", mesh.volume, solid.volume, 5e-8, "1", relative=True)
    whole = head_volume_mm3(gouge, 45.0)
    off = volume_ahead(mesh, 45.0)
    agree("volume of the head in the file against the integral", off, whole, 5e-5, "1", relative=True)
    area = surface_area(solid.vertices, solid.faces)
    agree("area of STL and 3MF, as trimesh reads them", mesh.area, area, 5e-8, "1", relative=True)


def volume_ahead(mesh, depth):
    """Volume (mm³) ahead of z = -depth: signed volumes of triangles clipped there (the cut face lies at height 0)."""
    import trimesh

    clipped = trimesh.intersections.slice_mesh_plane(mesh, [0, 0, 1], [0, 0, -depth])
    p = np.add(clipped.triangles, [0, 0, depth])
    return float((p[:, 0] * np.cross(p[:, 1], p[:, 2])).sum() / 6)


def test_3mf_says_millimetres(made, agree):
    """The model part by its own XML: unit, one object that is built, and the size of the tool in that unit."""
    from lxml import etree

    _, solid, folder = made
    with zipfile.ZipFile(folder / "gouge.3mf") as archive:
        root = etree.fromstring(archive.read("3D/3dmodel.model"))
    core = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
    assert root.get("unit") == "millimeter"
    assert len(root.findall(f"{core}build/{core}item")) == 1
    xyz = [[float(v.get(k)) for k in "xyz"] for v in root.iter(f"{core}vertex")]
    faces = [[int(t.get(k)) for k in ("v1", "v2", "v3")] for t in root.iter(f"{core}triangle")]
    points, faces = np.array(xyz), np.array(faces)
    agree("vertices in the 3MF, read as XML", points, solid.vertices, 1e-11, "mm", source=CORE)
    a, b, c = (points[faces[:, i]] for i in range(3))
    volume = (a * np.cross(b, c)).sum() / 6  # above zero: facing outward
    agree("volume of the 3MF, outward by the core's rule", volume, solid.volume, 1e-11, "1", relative=True, source=CORE)
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    there = {tuple(e) for e in edges.tolist()}
    open_ = sum((b, a) not in there for a, b in there) + len(edges) - len(there)
    agree("open or doubled edges in the 3MF", open_, 0, 0, "edges", source=CORE)


def test_meshio(made, agree):
    gouge, solid, folder = made
    import meshio

    mesh = meshio.vtu.read(folder / "gouge.vtu")
    faces = mesh.get_cells_type("triangle")
    agree("vertices in the VTU, as meshio reads them", mesh.points, solid.vertices, 1e-12, "mm", source=MESHIO)
    a, b, c = (mesh.points[faces[:, i]] for i in range(3))
    volume = (a * np.cross(b, c)).sum() / 6
    agree("volume of the VTU, as meshio reads it", volume, solid.volume, 1e-11, "1", relative=True, source=MESHIO)
    # Its wedge angles at the nose and lips against the surfaces'.
    wedge = mesh.point_data["wedge_deg"]
    from gougeform.measure.edge import measure_edge

    edge = measure_edge(gouge)
    at = np.flatnonzero(np.isfinite(wedge))
    x = mesh.points[at]
    near = np.abs(x[:, None, :2] - edge.point[:2].T[None]).max(-1)
    same = near.min(1) < 1e-7
    assert same.sum() >= 3
    agree("edge angles in the VTU at places shared with the measured edge", wedge[at][same],
          edge.wedge[near.argmin(1)[same]], 1e-11, "deg", source=MESHIO)  # fmt: skip


def test_stl_in_the_exact_kernel(made, agree):
    """Read as one triangulation; coordinates come in 32 bits."""
    pytest.importorskip("OCP", reason="cadquery-ocp is a test extra")
    from OCP.RWStl import RWStl

    _, solid, folder = made
    read = getattr(RWStl, "ReadFile_s", None) or RWStl.ReadFile
    mesh = read(str(folder / "gouge.stl"))
    points = np.array([[p.X(), p.Y(), p.Z()] for p in (mesh.Node(i + 1) for i in range(mesh.NbNodes()))])
    faces = np.array(
        [[t.Value(k) - 1 for k in (1, 2, 3)] for t in (mesh.Triangle(i + 1) for i in range(mesh.NbTriangles()))]
    )
    agree(
        "triangles in the STL, as the kernel reads it",
        mesh.NbTriangles(),
        len(solid.faces),
        0,
        "triangles",
        source=KERNEL,
    )
    a, b, c = (points[faces[:, i]] for i in range(3))
    volume = (a * np.cross(b, c)).sum() / 6
    agree("volume of the STL, as the kernel reads it", volume, solid.volume, 5e-8, "1", relative=True, source=KERNEL)
    agree("area of the STL, as the kernel reads it", surface_area(points, faces),
          surface_area(solid.vertices, solid.faces), 5e-8, "1", relative=True, source=KERNEL)  # fmt: skip
