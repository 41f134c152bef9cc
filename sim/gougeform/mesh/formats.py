"""Triangles as STL and 3MF files, whatever they are the triangles of.

Every file is written beside its place and then renamed, so that a broken run leaves the old file or none. The
libraries are loaded when a file of their kind is written.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

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
    "{objects}</resources><build>{items}</build></model>"
)
_OBJECT = (
    '<object id="{number}" name={name} type="model"><mesh>'
    "<vertices>{points}</vertices><triangles>{faces}</triangles></mesh></object>"
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


def stl(path: str | Path, vertices: Floats, faces: Ints, header: bytes) -> None:
    """Binary STL of vertices (n, 3) and faces (m, 3). Raises InputError where it cannot be written.

    header: up to 80 bytes; the only place where STL can say its unit. Written here: on a full disk the libraries that
    can lose the last bytes without a word.
    """
    corner = vertices[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    facets = np.zeros(len(faces), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
    facets["normal"], facets["corners"] = normal, corner
    with replaced(path) as beside:
        beside.write_bytes(header.ljust(80) + len(faces).to_bytes(4, "little") + facets.tobytes())


def threemf(path: str | Path, bodies: Sequence[tuple[str, Floats, Ints]]) -> None:
    """3MF with unit millimeter, the core specification alone: for each body its name, vertices (n, 3), faces (m, 3).

    Raises InputError where it cannot be written. Written here, since the libraries that can are slow to load, and there
    is little to it.
    """
    from xml.sax.saxutils import quoteattr
    from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

    objects = "".join(
        _OBJECT.format(
            number=number,
            name=quoteattr(name),
            points="".join([f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in vertices.tolist()]),
            faces="".join([f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces.tolist()]),
        )
        for number, (name, vertices, faces) in enumerate(bodies, 1)
    )
    items = "".join([f'<item objectid="{number}"/>' for number in range(1, len(bodies) + 1)])
    model = _MODEL.format(objects=objects, items=items)
    with replaced(path) as beside, ZipFile(beside, "w") as package:
        for name, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _RELATIONS), ("3D/3dmodel.model", model)):
            # A fixed date: the same tool gives the same file.
            package.writestr(ZipInfo(name), text, ZIP_DEFLATED, compresslevel=6)
