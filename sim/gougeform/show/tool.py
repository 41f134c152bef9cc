"""The tool as bodies of a scene, in the tool's frame: its mesh with every grind in its colour; ferrule; handle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground, Pass
from gougeform.mesh.solid import Solid, build_solid
from gougeform.present.palette import of_grind
from gougeform.show.scene import Segments, Surface, Thing
from gougeform.show.solids import chain, corners, steps_round, surface, turned

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

TOLERANCE_MM = 0.01
"""How far a facet of a shown tool may lie off the true surface."""
TOOL, FERRULE, HANDLE = "tool", "ferrule", "handle"


def after(gouge: Gouge, grinds: int) -> Gouge:
    """The tool as it is after its first so many grinds."""
    return replace(gouge, ground=Ground(gouge.ground.passes[:grinds]))


def share(one: Pass, s: Floats) -> Floats:
    """(n,): places along a grind's path from 0 at its beginning to 1 at its end."""
    first, last = one.path.knots[[0, -1]]
    return (s - first) / (last - first)


def tool_body(gouge: Gouge, name: str = TOOL, *, tolerance: float = TOLERANCE_MM) -> Thing:
    """The tool's steel, every surface in its meaning. Raises InputError where the tool cannot be meshed."""
    return steel(build_solid(gouge, tolerance), len(gouge.ground.passes), name)


def steel(solid: Solid, grinds: int, name: str = TOOL, when: Floats | None = None) -> Thing:
    """A mesh as a body; with `when`, the last grind gets its colour at those moments (n,), one for each vertex."""
    surfaces: list[Surface] = []
    last = grinds - 1
    for code, part in enumerate(solid.names):
        mesh = solid.vertices, solid.faces[solid.surface == code]
        if not len(mesh[1]):
            continue
        meaning = of_grind(code) if code < grinds else "flute" if part in ("flute", "run-out") else "steel"
        if code == last and when is not None:
            surfaces.append(surface(meaning, mesh, when=when, before=of_grind(last - 1) if last else "steel"))
        else:
            surfaces.append(surface(meaning, mesh))
    return Thing(name, tuple(surfaces), tool_lines(solid))


def tool_lines(solid: Solid, edge: str = "edge") -> tuple[Segments, ...]:
    """Edge, heel, creases and lips of a mesh."""
    at = solid.vertices
    creases = [chain(at[one]) for one in solid.creases]
    return (
        Segments("heel line", np.concatenate([chain(at[lip]) for lip in solid.lips]), 2.0),
        Segments("heel line", chain(at[solid.heel]), 2.5),
        *((Segments("crease", np.concatenate(creases), 3.0),) if creases else ()),
        Segments(edge, chain(at[solid.edge]), 5.0),
    )


def places(gouge: Gouge, solid: Solid, number: int) -> Floats:
    """(n,): for every vertex the place on one grind's path that would cut it; NaN at vertices that are not its own."""
    mine = np.unique(solid.faces[solid.surface == number])
    out = np.full(len(solid.vertices), np.nan)
    out[mine] = Ground((gouge.ground.passes[number],)).heights(solid.vertices[mine, :2]).s
    return out


def behind(gouge: Gouge) -> tuple[Thing, Thing]:
    """Ferrule and handle, the plain cylinders that reach is worked out with."""
    handle, z = gouge.recipe.handle, -gouge.recipe.bar.length_mm
    out = []
    for name, radius, length in (
        (FERRULE, handle.ferrule_diameter_mm / 2, handle.ferrule_length_mm),
        (HANDLE, handle.handle_diameter_mm / 2, handle.handle_length_mm),
    ):
        outline = np.array([[z - length, 0], [z - length, radius], [z, radius], [z, 0]])
        mesh = turned(outline, steps_round(radius, 0.01))
        out.append(Thing(name, (surface("jig" if name == FERRULE else "handle", mesh),), outlines(mesh)))
        z -= length
    return out[0], out[1]


def outlines(mesh: tuple[Floats, Ints]) -> tuple[Segments, ...]:
    """The sharp sides of a mesh (points (n, 3) mm, faces (m, 3)) as thin dark lines."""
    found = corners(mesh)
    return (Segments("quiet", found, 1.5),) if len(found) else ()
