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

_COLUMNS, _SAMPLES = 121, 9  # an odd number of columns: one lies in the middle plane, where creases can be pointed
_MIRROR = np.array([[-1.0], [1.0], [1.0]])


def creases(gouge: Gouge) -> list[Curve]:
    """The first crease met from the edge, from left to right; in parts where it runs out into edge or heel.

    Each curve's normals are those of the bevel next to the edge. Empty where there is one grind, or none takes over.
    """
    ground, section = gouge.ground, gouge.section
    if len(ground.passes) == 1:
        return []
    half = _COLUMNS // 2 + 1
    u = np.concatenate([np.linspace(section.u_left, 0.0, half)[1:], np.linspace(0.0, section.u_right, half)[1:-1]])
    if gouge.symmetric:
        u = u[len(u) // 2 :]  # the other half is their mirror image
    columns = build_fan(section).at_flute(u)
    # Closer samples near the edge, where lands are short.
    samples = np.linspace(0.0, 1.0, _SAMPLES) ** 1.5
    found = hand_overs(columns.point, len(columns), samples, surfaces(ground))
    line, first = np.unique(found.line, return_index=True)
    points = columns.point(line, found.t[first])
    cuts = [Ground((one,)).heights(points) for one in ground.passes]
    rows = np.arange(len(line))
    upper, lower = (np.stack([c.normal for c in cuts])[i[first], :, rows].T for i in (found.before, found.after))
    z = np.stack([c.z for c in cuts])[found.before[first], rows]
    every = [np.stack([*points.T, z]), upper, lower]
    if gouge.symmetric:
        other = np.flatnonzero(line > 0)[::-1]  # the first column lies in the middle plane
        every = [np.concatenate([part[:, other] * _MIRROR, part], axis=1) for part in every]
        line = np.concatenate([-line[other], line])
    runs = np.split(np.arange(len(line)), np.flatnonzero(np.diff(line) > 1) + 1)
    return [_through(*(part[:, run] for part in every)) for run in runs if len(run) > 1]


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
