"""A bar's section as polygons of n and 2n sides, for libraries that know straight sides only."""

from __future__ import annotations

from itertools import pairwise

import numpy as np


def polygon(section, sides):
    """(m, 2) the steel's section, `sides` sides on every smooth piece of the outline and on each half of the flute."""
    inner = section.outline.breaks
    inner = inner[(inner > section.v_left) & (inner < section.v_right)]
    borders = np.concatenate([[section.v_left], inner, [section.v_right]])
    # A measured outline has many pieces already.
    sides_out = max(sides // 40, 2) if len(borders) > 60 else sides
    parts = [np.linspace(a, b, sides_out, endpoint=False) for a, b in pairwise(borders)]
    flute = [section.u_right, 0.0, section.u_left]
    steps = [np.linspace(a, b, sides, endpoint=False) for a, b in pairwise(flute)]
    return np.concatenate([section.outline.point(np.concatenate(parts)), section.flute_point(np.concatenate(steps))])


def limit(coarse, fine):
    """What values with sides half as long come to: their error falls with the square of the side (Richardson)."""
    return fine + (fine - coarse) / 3
