"""Writes meshes: STL (32 bit, no unit of its own), 3MF (millimetre, all digits) and VTU (with data for plots).

Every file is written beside its place and then renamed, so that a broken run leaves the old file or none. The
libraries are loaded when a file of their kind is written.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from gougeform.errors import InputError
from gougeform.solid import Solid

_STL_HEADER = b"binary STL, lengths in mm, z along the bar toward the tip, y up"


@contextmanager
def replaced(path: str | Path) -> Iterator[Path]:
    """A path beside `path` to write to; it takes the place of `path` when the block ends well, else it is removed.

    Raises InputError where the folder cannot be written, or the disk is full.
    """
    target = Path(path)
    beside = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        yield beside
        os.replace(beside, target)
    except OSError as error:
        raise InputError(
            "",
            f"cannot be written: {(error.strerror or str(error)).lower()}",
            "check that the folder exists, that it may be written, and that the disk is not full",
            str(target),
        ) from error
    finally:
        beside.unlink(missing_ok=True)


def write_stl(solid: Solid, path: str | Path) -> None:
    """Binary STL in mm, as its header says. Raises InputError where it cannot be written."""
    from trimesh.exchange.stl import export_stl

    data = export_stl(_trimesh(solid))
    # The library leaves the 80 bytes of the header empty.
    with replaced(path) as beside:
        beside.write_bytes(_STL_HEADER.ljust(80) + data[80:])


def write_3mf(solid: Solid, path: str | Path) -> None:
    """3MF with unit millimeter. Raises InputError where it cannot be written."""
    from trimesh.exchange.threemf import export_3MF
    from trimesh.scene import Scene

    scene = Scene()
    scene.add_geometry(_trimesh(solid), geom_name="gouge", node_name="gouge_1")
    data = export_3MF(scene)
    with replaced(path) as beside:
        beside.write_bytes(data)


def write_vtu(solid: Solid, path: str | Path) -> None:
    """VTU in mm, the same vertices and faces as the solid.

    Cell data: `surface`, the code of the part each face belongs to, and for each part `is_<name>` (1 or 0; blanks in
    names are underscores), so that the file itself says what the codes mean. Point data: `wedge_deg`, the wedge angle
    at vertices of the edge and NaN elsewhere. Raises InputError where it cannot be written.
    """
    import meshio

    cells: dict[str, list[np.ndarray]] = {"surface": [solid.surface.astype(np.int32)]}
    for code, name in enumerate(solid.names):
        cells[f"is_{name.replace(' ', '_')}"] = [(solid.surface == code).astype(np.uint8)]
    mesh = meshio.Mesh(
        solid.vertices,
        [("triangle", solid.faces)],
        point_data={"wedge_deg": solid.wedge_deg},
        cell_data=cells,
    )
    with replaced(path) as beside:
        meshio.write(beside, mesh, file_format="vtu")


WRITERS: dict[str, Callable[[Solid, str | Path], None]] = {
    ".stl": write_stl,
    ".3mf": write_3mf,
    ".vtu": write_vtu,
}
"""Mesh writers by the ending of the file's name."""


def write_mesh(solid: Solid, path: str | Path) -> None:
    """Write a mesh in the format the file's name ends in. Raises InputError for another ending, or a failed write."""
    ending = Path(path).suffix.lower()
    if ending not in WRITERS:
        raise InputError(
            "", f"the name ends in {ending!r}, allowed are {', '.join(WRITERS)}", "choose one of these endings", str(path)
        )
    WRITERS[ending](solid, path)


def _trimesh(solid: Solid):  # type: ignore[no-untyped-def]  # noqa: ANN202
    import trimesh

    return trimesh.Trimesh(solid.vertices, solid.faces, process=False)
