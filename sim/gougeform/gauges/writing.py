"""Writes gauges: STL (32 bit, header says mm) and 3MF (millimetre, all digits, one named object a gauge)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from gougeform.gauges.build import Part3D
from gougeform.mesh.formats import stl, threemf

_HEADER = b"binary STL, lengths in mm, lies on z = 0 as it is printed"


def write_stl(bodies: Sequence[Part3D], path: Path) -> None:
    """Binary STL of all bodies together. Raises InputError where it cannot be written."""
    start = np.cumsum([0] + [len(body.vertices) for body in bodies[:-1]])
    vertices = np.concatenate([body.vertices for body in bodies])
    faces = np.concatenate([body.faces + first for body, first in zip(bodies, start, strict=True)])
    stl(path, vertices, faces, _HEADER)


def write_3mf(bodies: Sequence[Part3D], path: Path) -> None:
    """3MF, unit millimeter, one object a body under its name. Raises InputError where it cannot be written."""
    names = [body.name for body in bodies]
    if len(set(names)) < len(names):
        names = [f"{number}-{name}" for number, name in enumerate(names, 1)]
    threemf(path, [(name, body.vertices, body.faces) for name, body in zip(names, bodies, strict=True)])
