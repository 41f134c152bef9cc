"""Writes the gouge: STL (32 bit, no unit of its own), 3MF (millimetre, all digits) and VTU (with data for plots)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from gougeform.errors import InputError
from gougeform.mesh.formats import replaced, stl, threemf
from gougeform.mesh.solid import Solid

if TYPE_CHECKING:
    import meshio

_STL_HEADER = b"binary STL, lengths in mm, z along the bar toward the tip, y up"


def write_stl(solid: Solid, path: str | Path) -> None:
    """Binary STL in mm, as its header says. Raises InputError where it cannot be written."""
    stl(path, solid.vertices, solid.faces, _STL_HEADER)


def write_3mf(solid: Solid, path: str | Path) -> None:
    """3MF with unit millimeter, the core specification alone. Raises InputError where it cannot be written."""
    threemf(path, [("gouge", solid.vertices, solid.faces)])


def with_data(solid: Solid) -> meshio.Mesh:
    """The same vertices (n, 3) mm and faces as the solid, with data.

    Cell data: `surface`, the code of the part each face belongs to, and for each part `is_<name>` (1 or 0; blanks in
    names are underscores), so that the mesh itself says what the codes mean. Point data: `wedge_deg`, the wedge angle
    at vertices of the edge and NaN elsewhere.
    """
    import meshio

    cells: dict[str, list[np.ndarray]] = {"surface": [solid.surface.astype(np.int32)]}
    for code, name in enumerate(solid.names):
        cells[f"is_{name.replace(' ', '_')}"] = [(solid.surface == code).astype(np.uint8)]
    return meshio.Mesh(
        solid.vertices,
        [("triangle", solid.faces)],
        point_data={"wedge_deg": solid.wedge_deg},
        cell_data=cells,
    )


def write_vtu(solid: Solid, path: str | Path) -> None:
    """VTU in mm, with the data of `with_data`. Raises InputError where it cannot be written."""
    import meshio

    with replaced(path) as beside:
        meshio.write(beside, with_data(solid), file_format="vtu")


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
