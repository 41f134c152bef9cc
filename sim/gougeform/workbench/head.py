"""The head as a page draws it: a light grid on the exact surface, with exact normals, and the lines on it.

Not the mesh that is written to files (`gougeform.mesh.solid`): this one is made anew for every turn of a knob. Each
vertex carries how far every grind's surface lies above the deepest, so that the page finds the crease between two
grinds within a triangle.
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground
from gougeform.measure.edge import heel_places
from gougeform.measure.fan import build_fan, joined
from gougeform.measure.measures import Measures

Floats = NDArray[np.float64]

FLUTE, BAR, CUT = 8, 9, 10
"""Parts of the surface that no grind made: the flute, the bar's outline, and where the picture cuts the bar off."""
MOST_GRINDS = 4
_ACROSS, _ROUND, _ROWS = 57, 48, 14
_BEHIND = 18.0  # mm of bar shown behind the heel
_FAR = 9.0  # mm: further above the deepest surface than this no triangle reaches


def head_shape(measures: Measures) -> dict[str, Any]:
    """The head in the tool frame, mm: vertices of eleven numbers each, triangles, and lines, as base64 (see `packed`).

    A vertex is x, y, z, its normal, its part (0 where a grind made it), and the height of each of four grinds over the
    deepest there, mm. Raises InputError where the wheel does not reach the whole bevel.
    """
    gouge, edge = measures.gouge, measures.edge
    columns = _columns(gouge)
    rows = np.linspace(0.0, 1.0, _ROWS) ** 1.3
    n = len(columns)
    flat = columns.inner[:, None] + rows[None, :, None] * (columns.outer - columns.inner)[:, None]
    z, normal, above = _surface(gouge, flat.reshape(-1, 2))
    zs = z.reshape(n, _ROWS)
    back = -min(float(-zs.min()) + _BEHIND, gouge.recipe.flute.length_mm)
    back = min(back, float(zs.min()) - 0.5)

    ground = _vertices(np.concatenate([flat.reshape(-1, 2), z[:, None]], 1), normal.T, 0.0, above)
    flute_normal = np.concatenate([gouge.section.flute_normal(columns.u), np.zeros((n, 1))], 1)
    outline_normal = np.concatenate([gouge.section.outline.normal(columns.v), np.zeros((n, 1))], 1)
    flute = _wall(columns.inner, zs[:, 0], back, flute_normal, FLUTE)
    outline = _wall(columns.outer, zs[:, -1], back, outline_normal, BAR)
    ends = np.array([0.0, 0.0, -1.0])
    cap = np.concatenate(
        [_vertices(_at(p, np.full(n, back)), np.tile(ends, (n, 1)), CUT) for p in (columns.inner, columns.outer)]
    )
    parts, faces, count = [], [], 0
    for vertices, triangles in (
        (ground, _grid(n, _ROWS)),
        (flute, _grid(n, 2)[:, ::-1]),
        (outline, _grid(n, 2)),
        (cap, _grid(2, n)),
    ):
        parts.append(vertices)
        faces.append(triangles + count)
        count += len(vertices)
    lips = [
        [[*gouge.section.lip(side), float(edge.point[2, k])], [*gouge.section.lip(side), back]]
        for side, k in ((-1, 0), (1, -1))
    ]
    return {
        "vertices": packed(np.concatenate(parts)),
        "faces": packed(np.concatenate(faces), np.uint32),
        "lines": {
            "edge": packed(edge.point.T[::2]),
            "heel": packed(edge.heel_line.T),
            "lips": [packed(np.array(lip)) for lip in lips],
        },
        "grinds": min(len(gouge.ground.passes), MOST_GRINDS),
        "box": [zs.min() - 2.0, float(np.abs(columns.outer).max()), back],
    }


def packed(values: Any, kind: type = np.float32) -> str:
    """Numbers as base64 of little-endian values in their order."""
    return base64.b64encode(np.ascontiguousarray(values, np.dtype(kind).newbyteorder("<")).tobytes()).decode()


def _columns(gouge: Gouge) -> Any:
    """Rays from flute to outline, even over the edge and round the outline, lips included."""
    section, fan = gouge.section, build_fan(gouge.section)
    if gouge.outline is None:
        u = np.linspace(section.u_left, section.u_right, _ACROSS)[1:-1]
    else:
        x = gouge.outline.at(np.linspace(-1.0, 1.0, _ACROSS)[1:-1])[0][0]
        u = np.sign(x) * section.flute.place(np.abs(x))
    places = heel_places(gouge)
    some = places[1:-1][:: max(1, len(places) // _ROUND)]
    return joined(
        fan.lips, fan.at_flute(u), fan.at_outline(np.unique(np.concatenate([some, gouge.section.corners(1e-6)])))
    )


def _surface(gouge: Gouge, flat: Floats) -> tuple[Floats, Floats, Floats]:
    """Depth (m,), normal (3, m) of the deepest grind, and each grind's height over it (m, MOST_GRINDS)."""
    cuts = [Ground((one,)).heights(flat) for one in gouge.ground.passes[:MOST_GRINDS]]
    every = np.stack([cut.z for cut in cuts])
    first = every.argmin(0)
    at = np.arange(flat.shape[0])
    z = every[first, at]
    if not np.isfinite(z).all():
        raise InputError("wheel.width_mm", "the wheel does not reach all of the bevel", "a wider wheel, or more roll")
    normal = np.stack([cut.normal for cut in cuts])[first, :, at].T
    above = np.full((flat.shape[0], MOST_GRINDS), _FAR)
    above[:, : len(cuts)] = np.minimum(every - z, _FAR).T
    return z, normal, above


def _vertices(points: Floats, normal: Floats, part: float, above: Floats | None = None) -> Floats:
    extra = np.zeros((len(points), MOST_GRINDS)) if above is None else above
    return np.concatenate([points, normal, np.full((len(points), 1), part), extra], 1)


def _at(flat: Floats, z: Floats) -> Floats:
    return np.concatenate([flat, z[:, None]], 1)


def _wall(flat: Floats, front: Floats, back: float, normal: Floats, part: int) -> Floats:
    """Vertices of a wall along the bar: per column one in front and one behind."""
    both = np.stack([_at(flat, front), _at(flat, np.full(len(flat), back))], 1).reshape(-1, 3)
    return _vertices(both, np.repeat(normal, 2, axis=0), part)


def _grid(n: int, rows: int) -> NDArray[np.intp]:
    """Triangles of n columns of `rows` vertices each."""
    k = (np.arange(n - 1)[:, None] * rows + np.arange(rows - 1)).ravel()
    a, b, c, d = k, k + rows, k + rows + 1, k + 1
    return np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)])
