"""Wing angles as a person reads them off a protractor, which is seldom held square to the edge.

A protractor stands in some plane: one blade lies on the bevel, the other on the flute, along the lines in which the
plane cuts the two. Held square to the edge it reads the wedge angle. Held square to the bevel in a plane turned from
there by λ it reads β with tan β = tan(wedge angle) · cos λ (both traces written in the directions square to and along
the edge; derived), which is less for an acute wedge.

**Along the grind marks.** Grain moves over the steel with the wheel's face, many metres a second against millimetres of
the tool: the marks run along the wheel's own motion at the contact, its axis crossed with the outward normal there,
turned back into the tool by the pose that ground the place. The plane holds that direction and stands square on the
bevel.

**Through the bar's axis.** The plane holds the axis and the edge point; one blade lies along the bar and the other on
the bevel, so this is the bevel's angle to the bar, never above 90. The flute plays no part in it: up the wings the
plane comes to lie along the flute's wall. Where the point lies on the axis itself it is the middle plane. Angles deg.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.machine.pose import apply_back, cross, dot
from gougeform.measure.edge import Edge

Floats = NDArray[np.float64]

_ON_AXIS = 1e-6  # mm
_ALONG = 1e-6  # the cosine of an angle to the edge below which a plane holds the edge itself, and no angle is left


def marks(gouge: Gouge, edge: Edge) -> Floats:
    """(3, n) unit vectors: the way the grain moves over the steel at every station, in the tool frame."""
    out = np.full(edge.point.shape, np.nan)
    for number, mine, pose, at in edge.on_wheels():
        out_of_wheel = gouge.ground.passes[number].wheel.face_normal(at)
        way = np.stack([out_of_wheel[2], np.zeros(len(mine)), -out_of_wheel[0]])
        out[:, mine] = apply_back(pose.turn, way / np.sqrt(dot(way, way)))
    return out


def along_marks(gouge: Gouge, edge: Edge) -> Floats:
    """(n,) deg: what a protractor reads that stands on the bevel along the grind marks."""
    return _read(gouge, edge, cross(marks(gouge, edge), edge.normal))


def through_axis(gouge: Gouge, edge: Edge) -> Floats:
    """(n,) deg: what one reads that is held in the plane through the bar's axis, from the bar to the bevel."""
    x, y = edge.point[:2]
    on_axis = (np.hypot(x, y) < _ON_AXIS) | (edge.plane == np.array([[1.0], [0.0], [0.0]])).all(0)
    square = np.stack([np.where(on_axis, 1.0, -y), np.where(on_axis, 0.0, x), np.zeros_like(x)])
    bevel = cross(square, edge.normal)
    return np.degrees(np.arctan2(np.hypot(bevel[0], bevel[1]), np.abs(bevel[2])))


def _read(gouge: Gouge, edge: Edge, square: Floats) -> Floats:
    """(n,) deg: the angle of steel in planes square to vectors (3, n); NaN where such a plane holds the edge itself."""
    flute = np.zeros(square.shape)
    flute[:2] = gouge.section.flute_normal(edge.u).T
    # Both surfaces run on from the edge, each into the side where the other has its steel.
    bevel, wall = cross(square, edge.normal), cross(square, flute)
    bevel *= np.where(dot(bevel, flute) > 0, -1.0, 1.0)
    wall *= np.where(dot(wall, edge.normal) > 0, -1.0, 1.0)
    crossed = cross(bevel, wall)
    angle = np.degrees(np.arctan2(np.sqrt(dot(crossed, crossed)), dot(bevel, wall)))
    with np.errstate(invalid="ignore"):
        turned = np.abs(dot(square, edge.tangent)) / np.sqrt(dot(square, square))
    return np.where(turned > _ALONG, angle, np.nan)
