"""The crease where a relief takes over from the bevel next to the edge, as a curve on the ground surface."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground
from gougeform.measure.fan import build_fan
from gougeform.measure.winners import hand_overs, surfaces
from gougeform.numerics.curve import Curve

Floats = NDArray[np.float64]

_COLUMNS, _SAMPLES = 121, 9


def creases(gouge: Gouge) -> list[Curve]:
    """The first crease met from the edge, from left to right; in parts where it runs out into edge or heel.

    Each curve's normals are those of the bevel next to the edge. Empty where there is one grind, or none takes over.
    """
    ground, section = gouge.ground, gouge.section
    if len(ground.passes) == 1:
        return []
    u = np.linspace(section.u_left, section.u_right, _COLUMNS)[1:-1]
    columns = build_fan(section).at_flute(u)
    # Closer samples near the edge, where lands are short.
    samples = np.linspace(0.0, 1.0, _SAMPLES) ** 1.5
    found = hand_overs(columns.point, len(columns), samples, surfaces(ground))
    line, first = np.unique(found.line, return_index=True)
    curves = []
    for run in np.split(np.arange(len(line)), np.flatnonzero(np.diff(line) > 1) + 1):
        if len(run) < 2:
            continue
        at = first[run]
        points = columns.point(line[run], found.t[at])
        cuts = [Ground((one,)).heights(points) for one in ground.passes]
        rows = np.arange(len(run))
        upper = np.stack([c.normal for c in cuts])[found.before[at], :, rows].T
        lower = np.stack([c.normal for c in cuts])[found.after[at], :, rows].T
        z = np.stack([c.z for c in cuts])[found.before[at], rows]
        curves.append(_through(np.stack([*points.T, z]), upper, lower))
    return curves


def _through(point: Floats, upper: Floats, lower: Floats) -> Curve:
    """The crease runs along both surfaces, so its tangent is the cross product of their normals.

    Where the two surfaces only touch there is no such tangent, and the crease comes in straight.
    """
    tangent = np.cross(upper, lower, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=0), 1e-300)
    chord = np.diff(point, axis=1)
    length = np.linalg.norm(chord, axis=0)
    start, stop = tangent[:, :-1] * length, tangent[:, 1:] * length
    start *= np.where((start * chord).sum(0) < 0, -1.0, 1.0)
    stop *= np.where((stop * chord).sum(0) < 0, -1.0, 1.0)
    return Curve(point, start, stop, upper)
