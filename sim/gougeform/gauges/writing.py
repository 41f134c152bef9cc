"""Writes gauges: STL (32 bit, header says mm) and 3MF (millimetre, all digits, one named object a gauge)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from gougeform.gauges.build import Body
from gougeform.mesh.files import replaced

_HEADER = b"binary STL, lengths in mm, lies on z = 0 as it is printed"


def write_stl(bodies: Sequence[Body], path: Path) -> None:
    """Binary STL of all bodies together. Raises InputError where it cannot be written."""
    from trimesh import Trimesh
    from trimesh.exchange.stl import export_stl

    start = np.cumsum([0] + [len(body.vertices) for body in bodies[:-1]])
    vertices = np.concatenate([body.vertices for body in bodies])
    faces = np.concatenate([body.faces + first for body, first in zip(bodies, start, strict=True)])
    data = export_stl(Trimesh(vertices, faces, process=False))
    with replaced(path) as beside:
        beside.write_bytes(_HEADER.ljust(80) + data[80:])


def write_3mf(bodies: Sequence[Body], path: Path) -> None:
    """3MF, unit millimeter, one object a body under its name. Raises InputError where it cannot be written."""
    from trimesh import Trimesh
    from trimesh.exchange.threemf import export_3MF
    from trimesh.scene import Scene

    scene: Any = Scene()
    for number, body in enumerate(bodies, 1):
        name = body.name if len({b.name for b in bodies}) == len(bodies) else f"{number}-{body.name}"
        scene.add_geometry(Trimesh(body.vertices, body.faces, process=False), geom_name=name, node_name=f"{name}-part")
    data = export_3MF(scene)
    with replaced(path) as beside:
        beside.write_bytes(data)
