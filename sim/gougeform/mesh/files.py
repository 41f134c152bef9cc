"""Writes meshes: STL (32 bit, no unit of its own), 3MF (millimetre, all digits) and VTU (with data for plots).

Every file is written beside its place and then renamed, so that a broken run leaves the old file or none. The
libraries are loaded when a file of their kind is written.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gougeform.errors import InputError
from gougeform.mesh.solid import Solid

if TYPE_CHECKING:
    import meshio

_STL_HEADER = b"binary STL, lengths in mm, z along the bar toward the tip, y up"

_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
_3MF = "http://schemas.microsoft.com/3dmanufacturing"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPES = (
    f'{_XML}<Types xmlns="{_PACKAGE}/content-types">'
    f'<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    f'<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELATIONS = (
    f'{_XML}<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="{_3MF}/2013/01/3dmodel"/></Relationships>'
)
_MODEL = (
    f'{_XML}<model unit="millimeter" xml:lang="en" xmlns="{_3MF}/core/2015/02"><resources>'
    '<object id="1" name="gouge" type="model"><mesh>'
    "<vertices>{points}</vertices><triangles>{faces}</triangles>"
    '</mesh></object></resources><build><item objectid="1"/></build></model>'
)


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
    import meshio

    with replaced(path) as beside:
        meshio.write(beside, _triangles(solid), file_format="stl", binary=True)
        # The library leaves its own name in the 80 bytes of the header.
        with beside.open("r+b") as stream:
            stream.write(_STL_HEADER.ljust(80))


def write_3mf(solid: Solid, path: str | Path) -> None:
    """3MF with unit millimeter, the core specification alone. Raises InputError where it cannot be written.

    Written here, since the libraries that can are slow to load, and there is little to it.
    """
    from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

    points = "".join([f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in solid.vertices.tolist()])
    faces = "".join([f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in solid.faces.tolist()])
    model = _MODEL.format(points=points, faces=faces)
    with replaced(path) as beside, ZipFile(beside, "w") as package:
        for name, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _RELATIONS), ("3D/3dmodel.model", model)):
            # A fixed date: the same tool gives the same file.
            package.writestr(ZipInfo(name), text, ZIP_DEFLATED, compresslevel=6)


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
            "",
            f"the name ends in {ending!r}, allowed are {', '.join(WRITERS)}",
            "choose one of these endings",
            str(path),
        )
    WRITERS[ending](solid, path)


def _triangles(solid: Solid) -> meshio.Mesh:
    import meshio

    return meshio.Mesh(solid.vertices, [("triangle", solid.faces)])
