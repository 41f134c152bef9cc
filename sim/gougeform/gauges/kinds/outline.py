"""Outline template: the edge from above as a cut-out, both wings, taken from the measured edge.

The cut-out follows the edge from lip to lip, from there the heel out to the bar's sides, and the bar behind, widened by
the fit all round. Steel that stands ahead of the edge further down, as it may near a lip, is left out: it lies under
the template. Small marks show where the angles along the wings are given.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from gougeform.errors import InputError
from gougeform.gauges.kind import GaugeKind

if TYPE_CHECKING:
    from gougeform.gauges.gauge import Gauge
    from gougeform.gauges.setup import Setup
    from gougeform.measure.edge import Edge

_THICK = 3.0
_BESIDE = 9.0  # mm of plate beside the cut-out
_BEHIND = 3.0  # mm that the cut-out goes on behind the hindmost of edge and heel seen from above
_MARKED = (25, 50, 75)  # per cent of a wing
_SLIT = 0.004
_NARROW = 0.12  # mm: corners of the cut-out are that round, which no printer sees and a chamfer needs
_MARK = (1.4, 4.0)  # mm from the cut-out's edge


class OutlineTemplate(GaugeKind):
    """A template of the edge."""

    name = "outline"
    title = "Outline template"
    does = "the edge from above as a cut-out, both wings"
    rank = 40

    def gauge(self, setup: Setup) -> Gauge:
        """As `GaugeKind` says: one template. Raises InputError where it is larger than the bed."""
        from shapely import affinity
        from shapely.geometry import Polygon, box

        from gougeform.gauges.gauge import Gauge, Lettering, Span, mm, rounded

        edge, fit = setup.edge, setup.printing.fit_mm
        back = float(min(edge.point[2].min(), edge.heel_line[2].min())) - _BEHIND
        # Seen from above with the nose away from the reader, tool x runs to the left.
        tool = affinity.scale(seen_from_above(edge, back - 5.0), -1.0, 1.0, origin=(0, 0))
        hole = tool.buffer(fit, quad_segs=32) if fit else tool
        left, _, right, top = hole.bounds
        lines = setup.wrapped(
            ["EDGE FROM ABOVE", f"WING {mm(edge.wing_length(1), 1)}", setup.wheel_words],
            max(right - left + 2 * _BESIDE, 56.0) - 5.0,
        )
        wide, high = setup.room(lines)
        half = max(wide / 2, (right - left) / 2 + _BESIDE)
        upper = top + 3.0 + high
        setup.on_bed(2 * half, upper - back, "the outline template", "use a larger bed")
        shape = rounded(rounded(box(-half, back, half, upper), 3.0).difference(hole), 0.6, _NARROW)
        if not isinstance(shape, Polygon):
            raise InputError("grind.0.wing_length_mm", "the cut-out parts the template in two", "use a shorter wing")
        letters = [setup.text(lines, (0.0, top + 2.6 + high / 2), _THICK)]
        letters += [Lettering(mark, _THICK, mark=True) for mark in _marks(edge, fit)]
        outline, y = setup.gouge.section.outline, back + 1.0
        bar = float(outline.support((1.0, 0.0)) + outline.support((-1.0, 0.0)))
        return Gauge(
            kind=self.name,
            name="",
            outline=shape,
            thickness=_THICK,
            lettering=tuple(letters),
            says=tuple(lines),
            dimensions={
                "wing_length_mm.left": edge.wing_length(-1),
                "wing_length_mm.right": edge.wing_length(1),
                "lip_width_mm": float(edge.point[0, -1] - edge.point[0, 0]),
                "gap_mm": fit,
            },
            use="Look straight down on the flute and bring the cut-out round the edge, text up: the gap is even along"
            " both wings. The marks stand at the nose and at 25, 50 and 75 % of each wing.",
            spans=(Span("gap_mm", 0.5 * _THICK, (left - 1.0, y), (right + 1.0, y), bar + 2 * fit, gap=True),),
        )


def seen_from_above(edge: Edge, back: float) -> Any:
    """What lies behind the edge and, beyond the lips, behind the heel, in x and z down to z = `back` (mm).

    The heel counts from each lip out to where the bar is widest, and only as it falls back: from there on it turns
    under.
    """
    import numpy as np
    from shapely import get_parts
    from shapely.geometry import Polygon
    from shapely.ops import unary_union

    left, right = edge.heel_line[[0, 2]], edge.heel_line[[0, 2], ::-1]
    beside = [line[:, : _outward(sign * line[0])] for line, sign in ((left, -1.0), (right, 1.0))]
    back_only = [np.stack([line[0], np.minimum.accumulate(line[1])]) for line in beside]
    pieces = []
    for line in (edge.point[[0, 2]], *back_only):
        x, z = line
        for k in np.flatnonzero(np.abs(np.diff(x)) > 1e-6):
            corners = [(x[k], z[k]), (x[k + 1], z[k + 1]), (x[k + 1], back), (x[k], back)]
            pieces.append(Polygon(corners))
    # Slits thinner than any printer's step lie where a flat side stands upright.
    whole = unary_union(pieces).buffer(_SLIT, quad_segs=2).buffer(-_SLIT, quad_segs=2)
    return max(get_parts(whole), key=lambda part: part.area)


def _outward(x: Any) -> int:
    """How many samples of x (n,) at the start keep growing."""
    import numpy as np

    falls = np.flatnonzero(np.diff(x) < 1e-6)
    return int(falls[0]) + 1 if len(falls) else len(x)


def _marks(edge: Edge, fit: float) -> list[Any]:
    """Short sunk lines square to the edge seen from above, at the nose and along both wings."""
    import numpy as np

    from gougeform.gauges.setup import mark_line

    places = [edge.nose]
    for side in (-1, 1):
        wing = np.arange(len(edge.arc))[edge.wing(side)]
        far = edge.from_nose(side)
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
