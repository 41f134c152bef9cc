"""The one way to make a gauge: built, written, and measured on the written file; what is not sound is refused."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from gougeform.errors import InputError
from gougeform.gauges.build import Body, build
from gougeform.gauges.checks import Found, inspect, read
from gougeform.gauges.gauge import LEAST_WALL_MM, TEXT_DEPTH_MM, Gauge
from gougeform.gauges.setup import Setup
from gougeform.gauges.writing import write_3mf, write_stl
from gougeform.present.files import captured

_RAYS = 150  # for the thinnest wall
_STEEPEST_DEG = 45.1


@dataclass(frozen=True, eq=False)
class Made:
    """One gauge: what it is, its solid, what its file was found to be, and its files' bytes by name."""

    gauge: Gauge
    body: Body
    found: Found
    files: dict[str, bytes]


def made(gauge: Gauge, setup: Setup) -> Made:
    """Build a gauge, write both files, and measure the STL. Raises InputError where it cannot be printed as it is."""
    try:
        body = build(gauge, setup.printing)
    except ValueError as error:
        raise InputError(
            "chamfer",
            f"given {setup.printing.chamfer_mm:g}, for the {gauge.kind} gauge {error}",
            "ask for a smaller one, or 0",
        ) from error
    files = as_files(body.name, [body])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{body.name}.stl"
        path.write_bytes(files[path.name])
        (mesh,) = read(path).values()
    scale = setup.printing.scale
    bands = [(scale * (t.top - TEXT_DEPTH_MM - 0.01), scale * (t.top + TEXT_DEPTH_MM + 0.01)) for t in gauge.lettering]
    found = inspect(mesh, bands, _RAYS)
    faults = [
        *(["it is not closed"] if not found.closed else []),
        *([f"it falls into {found.bodies} pieces"] if found.bodies != 1 else []),
        *([f"{found.crossings} of its faces cut each other"] if found.crossings else []),
        *([f"a wall is only {found.wall_mm:.2f} mm"] if found.wall_mm < LEAST_WALL_MM * min(scale, 1.0) - 0.01 else []),
        *([f"a face overhangs by {found.overhang_deg:.0f} degrees"] if found.overhang_deg > _STEEPEST_DEG else []),
        *(["its volume changed when it was written"] if abs(found.volume - body.volume) > 1e-4 * body.volume else []),
    ]
    if faults:
        raise InputError(
            "",
            f"the {gauge.kind} gauge cannot be printed as it is: {'; '.join(faults)}",
            "try another `text`, `fit` or `chamfer`, or leave this kind out",
            setup.gouge.recipe.source,
        )
    return Made(gauge, body, found, files)


def as_files(name: str, bodies: Sequence[Body]) -> dict[str, bytes]:
    """NAME.stl and NAME.3mf of bodies, as they stand on a disk."""

    def write(folder: Path) -> None:
        write_stl(bodies, folder / f"{name}.stl")
        write_3mf(bodies, folder / f"{name}.3mf")

    return captured(write)
