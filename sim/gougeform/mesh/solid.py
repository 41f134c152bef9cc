"""The whole ground tool as one closed triangle mesh: head, fluted bar, run-out, plain bar, flat end.

Edge, heel, creases and lips are lines of the mesh, and vertices of the ground face lie on the exact surface: nothing
is cut by a boolean and nothing cleaned up afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.measure.columns import LEAST_GAP, ROUND_STEPS, perimeter, sagitta
from gougeform.measure.fan import Fan, build_fan
from gougeform.mesh.head import Head, build_head
from gougeform.mesh.runout import RunOut, build_run_out
from gougeform.numerics.strips import zipped

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

DEFAULT_TOLERANCE = 0.01
"""mm between a facet and the surface it stands for."""
_TOLERANCES = (1e-4, 1.0)
_RUN_OUT_DEPTHS = 3.0  # length of the run-out in flute depths where the recipe does not say


@dataclass(frozen=True, eq=False)
class Solid:
    """A closed mesh in the tool frame, mm, facing outward.

    vertices: (n, 3). faces: (m, 3). surface: (m,) what each face is part of, an index into `names`.
    edge: (k,) vertices from left to right lip along the cutting edge; heel: (k,) the same along the bar's outline,
    lips in common. lips: left and right, from the end of the edge back to where the flute has run out.
    creases: one line of vertices for each border between two grinds. wedge_deg: (n,) the wedge angle at vertices of the
    edge, NaN elsewhere. tolerance: no facet is further from its surface than this, mm
    (the largest distance found at the places measured, and half as much again for those between).
    """

    vertices: Floats
    faces: Ints
    surface: Ints
    names: tuple[str, ...]
    edge: Ints
    heel: Ints
    lips: tuple[Ints, Ints]
    creases: tuple[Ints, ...]
    wedge_deg: Floats
    tolerance: float

    @property
    def volume(self) -> float:
        """mm³, by the divergence theorem."""
        a, b, c = (self.vertices[self.faces[:, i]] - self.vertices.mean(0) for i in range(3))
        return float((a * np.cross(b, c)).sum() / 6)


def build_solid(gouge: Gouge, tolerance: float = DEFAULT_TOLERANCE) -> Solid:
    """The mesh of a ground tool, facets no further than `tolerance` mm (1e-4 … 1) from the true surface.

    Raises InputError for another tolerance, and (with the recipe's file) where the grind reaches behind the flute or
    the bar, where flute and run-out do not fit into the bar, or where the section or the surface cannot be meshed.
    """
    if not _TOLERANCES[0] <= tolerance <= _TOLERANCES[1]:
        raise InputError(
            "tolerance",
            f"given {tolerance:g}, allowed is {_TOLERANCES[0]:g} to {_TOLERANCES[1]:g} mm",
            f"leave it at {DEFAULT_TOLERANCE:g}",
        )
    try:
        return _solid(gouge, tolerance)
    except InputError as error:
        raise error.in_file(gouge.recipe.source or gouge.recipe.name) from None


def _solid(gouge: Gouge, tolerance: float) -> Solid:
    flute, bar = gouge.recipe.flute, gouge.recipe.bar
    fan = build_fan(gouge.section)
    length = run_out_length(gouge)
    head = build_head(fan, gouge.ground, tolerance)
    _fits(head, flute.length_mm, bar.length_mm)
    columns = head.columns
    run_out = build_run_out(gouge.section, columns.u, length, perimeter(fan) / ROUND_STEPS, tolerance)
    _clear_of_run_out(gouge, run_out, flute.length_mm)
    return _joined(gouge, fan, head, run_out, flute.length_mm, bar.length_mm)


def run_out_length(gouge: Gouge) -> float:
    """Length of the run-out in mm, from the recipe or 3 depths. Raises InputError where the bar is too short for it."""
    flute, bar = gouge.recipe.flute, gouge.recipe.bar
    top = float(gouge.section.outline.point(np.zeros(1))[0, 1])
    given = flute.run_out_mm
    length = _RUN_OUT_DEPTHS * (top - gouge.section.y_floor) if given is None else given
    if flute.length_mm + length > bar.length_mm - LEAST_GAP:
        raise InputError(
            "flute.length_mm",
            f"given {flute.length_mm:g}: with {length:.4g} mm of run-out the flute is {flute.length_mm + length:.4g} mm"
            f" long, allowed is less than bar.length_mm = {bar.length_mm:g} mm",
            "make the flute shorter or the bar longer, or give a shorter flute.run_out_mm",
        )
    return length


def _fits(head: Head, flute_length: float, bar_length: float) -> None:
    for field, noun, deepest, length in (
        ("flute.length_mm", "edge", -float(head.z[head.edge].min()), flute_length),
        ("bar.length_mm", "heel", -float(head.z.min()), bar_length),
    ):
        if deepest > length - LEAST_GAP:
            raise InputError(
                field,
                f"given {length:g}: the {noun} of this grind reaches {deepest:.1f} mm back from the nose",
                f"more than {deepest:.1f}, a shorter wing, or a blunter nose angle",
            )


def _clear_of_run_out(gouge: Gouge, run_out: RunOut, flute_length: float) -> None:
    """The wheel must not touch the run-out: its surface would not be the one that is meshed."""
    point = run_out.vertices
    z = gouge.ground.heights(point[:, :2]).z
    if (z < point[:, 2] - flute_length - LEAST_GAP).any():
        raise InputError(
            "flute.length_mm",
            f"given {flute_length:g}: the grind would cut into the flute's run-out behind it",
            "a longer flute or a shorter wing",
        )


def _joined(gouge: Gouge, fan: Fan, head: Head, run_out: RunOut, flute_length: float, bar_length: float) -> Solid:
    count = len(head.z)
    ring = run_out.vertices - np.array([0.0, 0.0, flute_length])
    at_depth = count + np.arange(len(head.columns))
    lips = tuple(count + side for side in (run_out.left, run_out.right))
    # Around the bar anticlockwise from the top: run-out's left lip, heel, right lip, top again.
    wall = np.concatenate([lips[0][:0:-1], head.heel, lips[1][1:]])
    top = np.concatenate([np.column_stack([head.points, head.z]), ring])
    end_point = top[wall[:-1]] * [1, 1, 0] - [0, 0, bar_length]
    end = count + len(ring) + np.arange(len(wall))
    end[-1] = end[0]
    middle = count + len(ring) + len(end_point)
    vertices = np.concatenate([top, end_point, [[*fan.pole, -bar_length]]])

    # Between the lips' run-out and the end, then under the heel, where the lips' chains have one more vertex.
    left, right = len(lips[0]) - 1, len(wall) - len(lips[1])
    exposed = [
        _walls(vertices, *_pairs(lips[0][::-1], end[: left + 1])),
        _walls(vertices, *_pairs(lips[1], end[right:])),
    ]
    chain, run = _pairs(head.heel, end[left : right + 1])
    at, lip_run = np.array([1, len(chain) - 1]), run[[0, -1]]
    under = _walls(vertices, np.insert(chain, at, at_depth[[0, -1]]), np.insert(run, at, lip_run))
    outline = np.concatenate([exposed[0], under, exposed[1]])
    flute = _walls(vertices, *_pairs(head.edge, at_depth))[:, ::-1]
    cap = np.stack([np.full(len(wall) - 1, middle), end[1:], end[:-1]], -1)

    grinds = len(gouge.ground.passes)
    names = (*(f"grind {i + 1}" for i in range(grinds)), "flute", "run-out", "outline", "end")
    parts = (flute, run_out.faces + count, outline, cap)
    faces = np.concatenate([head.faces, *parts])
    code = np.concatenate([head.grind, *(np.full(len(p), grinds + i) for i, p in enumerate(parts))])
    wedge = np.full(len(vertices), np.nan)
    wedge[head.edge] = _wedge_deg(gouge, head)
    return Solid(
        vertices,
        faces,
        code,
        names,
        head.edge,
        head.heel,
        (np.concatenate([head.edge[:1], lips[0]]), np.concatenate([head.edge[-1:], lips[1]])),
        head.creases,
        wedge,
        max(head.off, run_out.off, float(sagitta(fan, head.columns).max())),
    )


def _pairs(front: Ints, back: Ints) -> tuple[Ints, Ints]:
    """Chains of two vertices each, and the number of the chain for every vertex."""
    return np.stack([front, back], -1).ravel(), np.repeat(np.arange(len(front)), 2)


def _walls(vertices: Floats, chain: Ints, run: Ints) -> Ints:
    """Walls along the bar between neighbouring chains that run back along it, facing to the right of the walk."""
    z = vertices[chain, 2]
    first, last = (
        np.searchsorted(run, np.arange(run[-1] + 1)),
        np.searchsorted(run, np.arange(run[-1] + 1), "right") - 1,
    )
    key = (z[first[run]] - z) / (z[first] - z[last])[run]
    left, right = run < run[-1], run > 0
    mirrored = np.arange(run[-1]) >= run[-1] / 2
    return zipped(chain[left], run[left], key[left], chain[right], run[right] - 1, key[right], mirrored)[0]


def _wedge_deg(gouge: Gouge, head: Head) -> Floats:
    """180° minus the angle between the outward normals of flute and ground face along the edge."""
    bevel = gouge.ground.heights(head.points[head.edge]).normal
    flute = gouge.section.flute_normal(head.columns.u).T
    cosine = np.clip(flute[0] * bevel[0] + flute[1] * bevel[1], -1.0, 1.0)
    return np.asarray(180.0 - np.degrees(np.arccos(cosine)))
