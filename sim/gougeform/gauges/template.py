"""Outline template: the edge from above as a cut-out, both wings, taken from the measured edge.

The cut-out is what the tool covers seen from above: the edge from lip to lip, from there the heel out to the bar's
sides, and the bar behind. Widened by the fit all round. Small marks show where the angles along the wings are given.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from gougeform.edge import Edge
from gougeform.errors import InputError
from gougeform.gauges.gauge import Gauge, Lettering, mm, rounded
from gougeform.gauges.setup import Setup, mark_line

Floats = NDArray[np.float64]

_THICK = 3.0
_BESIDE = 9.0  # mm of plate beside the cut-out
_BEHIND = 3.0  # mm that the cut-out goes on behind the hindmost of edge and heel seen from above
_MARKED = (25, 50, 75)  # per cent of a wing
_MARK = (1.4, 4.0)  # mm from the cut-out's edge


def outline_templates(setup: Setup) -> list[Gauge]:
    """The template. Raises InputError where it is larger than the bed."""
    edge, fit = setup.edge, setup.printing.fit_mm
    line = silhouette(edge)
    # Seen from above with the nose away from the reader, tool x runs to the left.
    line = line * [-1.0, 1.0]
    back = float(line[:, 1].min()) - _BEHIND
    tool = Polygon([*line, (line[-1, 0], back - 5), (line[0, 0], back - 5)]).buffer(0)
    hole = tool.buffer(fit, quad_segs=32) if fit else tool
    left, _, right, top = hole.bounds
    lines = setup.wrapped(
        ["EDGE FROM ABOVE", f"WING {mm(edge.wing_length(1), 1)}", setup.wheel_words],
        max(right - left + 2 * _BESIDE, 56.0) - 5.0,
    )
    wide, high = setup.room(lines)
    half = max(wide / 2, (right - left) / 2 + _BESIDE)
    middle = 0.0
    upper = top + 3.0 + high
    setup.on_bed(2 * half, upper - back, "the outline template", "use a larger bed")
    plate = rounded(box(middle - half, back, middle + half, upper), 3.0)
    shape = rounded(plate.difference(hole), 0.6)
    if not isinstance(shape, Polygon):
        raise InputError("grind.0.wing_length_mm", "the cut-out parts the template in two", "use a shorter wing")
    letters = [setup.text(lines, (middle, top + 2.6 + high / 2), _THICK)]
    letters += [Lettering(mark, _THICK, mark=True) for mark in _marks(edge, fit)]
    return [
        Gauge(
            kind="outline",
            name="",
            outline=shape,
            thickness=_THICK,
            lettering=tuple(letters),
            says=tuple(lines),
            dimensions={
                "wing_length_mm": edge.wing_length(1),
                "wing_length_left_mm": edge.wing_length(-1),
                "lip_width_mm": float(edge.point[0, -1] - edge.point[0, 0]),
                "gap_mm": fit,
            },
            use="Look straight down on the flute and bring the cut-out round the edge, text up: the gap is even along"
            " both wings. The marks stand at the nose and at 25, 50 and 75 % of each wing.",
        )
    ]


def silhouette(edge: Edge) -> Floats:
    """(n, 2) mm: x and z of what is seen from above, from the bar's left side over the nose to its right side."""
    x, z = edge.point[0], edge.point[2]
    left, right = int(np.argmin(x)), int(np.argmax(x))
    hx, hz = edge.heel_line[0], edge.heel_line[2]
    # From a lip the heel goes on outward until the bar is widest; there it turns under and is hidden.
    widest_left, widest_right = int(np.argmin(hx)), int(np.argmax(hx))
    parts = []
    if hx[widest_left] < x[left] - 1e-6:
        parts.append(np.stack([hx[: widest_left + 1], hz[: widest_left + 1]], -1)[::-1][:-1])
    parts.append(np.stack([x[left : right + 1], z[left : right + 1]], -1))
    if hx[widest_right] > x[right] + 1e-6:
        parts.append(np.stack([hx[widest_right:], hz[widest_right:]], -1)[::-1][1:])
    return np.concatenate(parts)


def _marks(edge: Edge, fit: float) -> list[Polygon]:
    """Short sunk lines square to the edge seen from above, at the nose and along both wings."""
    places = [edge.nose]
    for side in (-1, 1):
        wing = np.arange(len(edge.arc))[edge.wing(side)]
        far = np.abs(edge.arc[wing] - edge.arc[edge.nose])
        places += [int(wing[np.abs(far - far[-1] * p / 100).argmin()]) for p in _MARKED]
    made = []
    for k in places:
        t = edge.tangent[[0, 2], k] * [-1.0, 1.0]
        out = np.array([t[1], -t[0]]) / np.hypot(*t)
        if out[1] < 0:
            out = -out
        at = edge.point[[0, 2], k] * [-1.0, 1.0]
        ends = [at + (fit + far) * out for far in _MARK]
        made.append(mark_line([tuple(e) for e in ends]))
    return made
