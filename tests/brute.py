"""The same grind by general mesh booleans: a bar less one many-sided disc after another, for every pose of a path."""

from __future__ import annotations

import manifold3d as m3
import numpy as np


def section_polygon(section, points=600):
    """(n, 2) the steel's section as a polygon, anticlockwise."""
    flute = section.flute_point(np.linspace(section.u_right, section.u_left, points))
    v = np.linspace(section.v_left, section.v_right, points)
    inner = section.outline.breaks
    v = np.unique(np.concatenate([v, inner[(inner > v[0]) & (inner < v[-1])]]))
    return np.vstack([section.outline.point(v), flute[1:-1]])


def blank(section, behind, ahead, points=600):
    """The bar from z = -behind to z = ahead, mm."""
    outline = m3.CrossSection([section_polygon(section, points)])
    return m3.Manifold.extrude(outline, behind + ahead).translate((0, 0, -behind))


def ground(bar, one, poses, facets):
    """The bar less the wheel's sharp-cornered disc at `poses` places evenly along a pass, one after the other."""
    wheel = one.wheel
    radius = 1 / wheel.curvature
    disc = m3.Manifold.cylinder(2 * wheel.half_width, radius, radius, facets, center=True)
    # Its axis is z; the wheel's is Y, with the centre a radius behind the rim frame's origin.
    disc = disc.rotate((90, 0, 0)).translate((-radius, 0, 0))
    pose = one.path.pose(np.linspace(one.path.knots[0], one.path.knots[-1], poses))
    for i in range(poses):
        turn, shift = pose.turn[:, :, i], pose.shift[:, i]
        back = np.column_stack([turn.T, -turn.T @ shift + np.array([0, 0, one.setback])])
        bar = bar - disc.transform(back)
        bar.num_tri()  # evaluates now: left to itself the library would first unite all the discs, which is far slower
    return bar


def vertices(solid):
    """(n, 3) of a solid's mesh."""
    return np.asarray(solid.to_mesh().vert_properties)[:, :3].astype(float)
