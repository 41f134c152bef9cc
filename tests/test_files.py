"""Mesh files: read back equal, unit said, written whole or not at all."""

from __future__ import annotations

import errno
import os
import zipfile

import numpy as np
import pytest

import solids
from gougeform.errors import InputError
from gougeform.mesh import files, formats
from gougeform.mesh.files import write_mesh
from gougeform.mesh.formats import replaced
from gougeform.mesh.solid import build_solid
from solids import GRIND, RELIEF


@pytest.fixture(scope="module")
def solid():
    return build_solid(solids.tool(grind=[GRIND, RELIEF]))


def read(path, **more):
    import trimesh

    return trimesh.load(path, force="mesh", **more)


def assert_same(mesh, solid, volume):
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert len(mesh.faces) == len(solid.faces)
    assert len(mesh.vertices) == len(solid.vertices)
    assert mesh.area_faces.min() > 1e-7
    assert len(np.unique(np.sort(mesh.faces, axis=1), axis=0)) == len(solid.faces)
    assert mesh.volume == pytest.approx(solid.volume, rel=volume)


def test_stl(solid, tmp_path):
    path = tmp_path / "gouge.stl"
    write_mesh(solid, path)
    data = path.read_bytes()
    assert len(data) == 84 + 50 * len(solid.faces)
    assert b"lengths in mm" in data[:80]
    assert not data.startswith(b"solid")
    assert_same(read(path), solid, 1e-6)


def test_3mf(solid, tmp_path):
    path = tmp_path / "gouge.3mf"
    write_mesh(solid, path)
    with zipfile.ZipFile(path) as archive:
        model = archive.read("3D/3dmodel.model").decode()
    assert 'unit="millimeter"' in model.partition("<resources")[0]
    assert model.count("<object ") == 1
    mesh = read(path)
    assert_same(mesh, solid, 1e-12)
    np.testing.assert_array_equal(mesh.extents, np.ptp(solid.vertices, axis=0))


def test_vtu(solid, tmp_path):
    import meshio
    import trimesh

    path = tmp_path / "gouge.vtu"
    write_mesh(solid, path)
    mesh = meshio.read(path)
    np.testing.assert_array_equal(mesh.points, solid.vertices)
    np.testing.assert_array_equal(mesh.cells_dict["triangle"], solid.faces)
    np.testing.assert_array_equal(mesh.point_data["wedge_deg"], solid.wedge_deg)
    codes = mesh.cell_data["surface"][0]
    np.testing.assert_array_equal(codes, solid.surface)
    for code, name in enumerate(solid.names):
        np.testing.assert_array_equal(mesh.cell_data["is_" + name.replace(" ", "_")][0] == 1, codes == code)
    assert_same(trimesh.Trimesh(mesh.points, mesh.cells_dict["triangle"], process=False), solid, 1e-12)


def test_overwrites(solid, tmp_path):
    path = tmp_path / "gouge.stl"
    path.write_text("old")
    write_mesh(solid, path)
    assert path.stat().st_size > 1000
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("ending", [".stl", ".3mf", ".vtu"])
def test_a_full_disk_leaves_the_old_file(solid, tmp_path, monkeypatch, ending):
    path = tmp_path / f"gouge{ending}"
    path.write_text("old")

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(formats.os, "replace", full)
    with pytest.raises(InputError) as caught:
        write_mesh(solid, path)
    assert caught.value.file == str(path)
    assert "no space left" in caught.value.problem
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there(solid, tmp_path):
    for ending in files.WRITERS:
        with pytest.raises(InputError, match="cannot be written: no such file or directory"):
            write_mesh(solid, tmp_path / "nowhere" / f"gouge{ending}")


def test_another_ending(solid, tmp_path):
    with pytest.raises(InputError) as caught:
        write_mesh(solid, tmp_path / "gouge.obj")
    assert caught.value.problem == "the name ends in '.obj', allowed are .stl, .3mf, .vtu"


def test_an_error_inside_removes_the_part(tmp_path):
    def half():
        with replaced(tmp_path / "a.txt") as beside:
            beside.write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        half()
    assert list(tmp_path.iterdir()) == []
