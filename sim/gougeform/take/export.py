"""Section, edge outline and templates as SVG and DXF in true size: circles as circles, bends as cubics within 1e-7 mm.

Both are returned as text; whoever writes files writes them. SVG for a printer or a laser, DXF for a cutter's program.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section
from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.measure.edge import Edge

Floats = NDArray[np.float64]

_CLOSE = 1e-7
_MOST_DEPTH = 14
_MARGIN = 5.0
_PLATE = 6.0  # mm a template stands out beside and over what it measures


@dataclass(frozen=True, eq=False)
class PenLine:
    """One stroke: form `line`, ends (2, 2); `circular`, ends, centre (x, y), radius, angle and turn (rad, positive
    anticlockwise); `cubic`, (3k + 1, 2) control points of k Bézier pieces. All mm, y up.
    """

    form: str
    points: Floats
    centre: tuple[float, float] = (0.0, 0.0)
    radius: float = 0.0
    angle: float = 0.0
    turn: float = 0.0


@dataclass(frozen=True, eq=False)
class TrueSheet:
    """Strokes by layer, and a title."""

    layers: dict[str, tuple[PenLine, ...]]
    title: str

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Lowest x and y, highest x and y of all strokes, mm (control points and whole circles' ends included)."""
        every = np.vstack([_extent(s) for strokes in self.layers.values() for s in strokes])
        return (*every.min(0), *every.max(0))


def _extent(stroke: PenLine) -> Floats:
    if stroke.form != "circular":
        return stroke.points
    angle = stroke.angle + stroke.turn * np.linspace(0, 1, 33)
    return np.array(stroke.centre) + stroke.radius * np.column_stack([np.cos(angle), np.sin(angle)])


def cubics(at: Callable[[Floats], Floats], slope: Callable[[Floats], Floats], first: float, last: float) -> PenLine:
    """A curve over a parameter as cubic pieces through its points and tangents, halved until they lie within 1e-7 mm.

    at, slope: (n, 2) mm and mm per unit at places (n,).
    """
    knots = [first, last]
    for _ in range(_MOST_DEPTH):
        t = np.array(knots)
        control = _controls(t, at(t), slope(t))
        share = np.array([0.25, 0.5, 0.75])
        w = np.stack([(1 - share) ** 3, 3 * share * (1 - share) ** 2, 3 * share**2 * (1 - share), share**3])
        made = np.einsum("pk,npc->nck", w, control)
        true = np.stack([at(t[:-1] + s * np.diff(t)) for s in share], -1)
        # Only what lies beside the curve counts, not how quickly a piece runs along it.
        way = np.stack([slope(t[:-1] + s * np.diff(t)) for s in share], -1)
        gap = made - true
        off = np.abs(gap[:, 0] * way[:, 1] - gap[:, 1] * way[:, 0]) / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-300)
        bad = off.max(1) > _CLOSE
        if not bad.any():
            break
        halves = ((t[:-1] + t[1:]) / 2)[bad]
        knots = sorted([*knots, *halves.tolist()])
    return PenLine("cubic", np.vstack([control[:, :3].reshape(-1, 2), control[-1, 3:]]))


def _controls(t: Floats, p: Floats, d: Floats) -> Floats:
    """(n - 1, 4, 2): Bézier's points of Hermite pieces."""
    third = (np.diff(t) / 3)[:, None]
    return np.stack([p[:-1], p[:-1] + third * d[:-1], p[1:] - third * d[1:], p[1:]], axis=1)


def outline_strokes(section: Section) -> tuple[PenLine, ...]:
    """The bar's outline, closed."""
    o = section.outline
    return tuple(
        PenLine(
            "circular" if o.radius[i] > 0 else "line",
            np.array([o.start[i], o.end[i]]),
            (float(o.centre[i, 0]), float(o.centre[i, 1])),
            float(o.radius[i]),
            float(o.angle[i]),
            float(o.turn[i]),
        )
        for i in range(o.count)
    )


def flute_stroke(section: Section) -> PenLine:
    """The flute from left lip to right lip."""
    halves = [
        cubics(section.flute_point, section.flute_tangent, a, b)
        for a, b in ((section.u_left, 0.0), (0.0, section.u_right))
    ]
    return PenLine("cubic", np.vstack([halves[0].points, halves[1].points[1:]]))


def edge_stroke(edge: Edge) -> PenLine:
    """The ground edge seen from above, x across and z along, from left lip to right lip, through its stations."""
    p, d = edge.point[[0, 2]].T, edge.tangent[[0, 2]].T
    return PenLine("cubic", _join(_controls(edge.arc, p, d)))


def _join(control: Floats) -> Floats:
    return np.vstack([control[:, :3].reshape(-1, 2), control[-1, 3:]])


def section_sheet(section: Section, title: str) -> TrueSheet:
    """Outline and flute, the bar's axis at (0, 0)."""
    return TrueSheet({"outline": outline_strokes(section), "flute": (flute_stroke(section),)}, title)


def edge_sheet(edge: Edge, title: str) -> TrueSheet:
    """The edge from above, the nose at (0, 0)."""
    return TrueSheet({"edge": (edge_stroke(edge),)}, title)


def template_sheet(gouge: Gouge, edge: Edge, title: str) -> TrueSheet:
    """Plates to hold against the tool, side by side: one that fills the flute, one the edge's outline fits into from
    above, one with a notch of the nose angle.
    """
    section = gouge.section
    flute = flute_stroke(section)
    left, right = flute.points[0], flute.points[-1]
    top = max(left[1], right[1]) + _PLATE
    inner = (flute, *_polygon([right, [right[0], top], [left[0], top], left], closed=False))
    nail = edge_stroke(edge)
    a, b = nail.points[0], nail.points[-1]
    low, high, wide = min(a[1], b[1]), float(nail.points[:, 1].max()) + _PLATE, max(-a[0], b[0]) + _PLATE
    outer = (nail, *_polygon([b, [wide, low], [wide, high], [-wide, high], [-wide, low], a], closed=False))
    angle = np.radians(edge.wedge[edge.nose])
    leg = 15.0
    tip = np.array([0.0, 0.0])
    up = leg * np.array([-np.cos(angle), -np.sin(angle)])
    notch = _polygon(
        [tip, [-leg, 0.0], [-leg, _PLATE], [_PLATE, _PLATE], [_PLATE, up[1] - _PLATE], [up[0], up[1] - _PLATE], up]
    )
    gap = 2 * _PLATE
    plates = {"flute": inner, "edge": outer, "nose": notch}
    laid: dict[str, tuple[PenLine, ...]] = {}
    x = 0.0
    for name, strokes in plates.items():
        x0, y0, x1, _ = TrueSheet({name: strokes}, "").box
        laid[name] = tuple(_moved(stroke, x - x0, -y0) for stroke in strokes)
        x += x1 - x0 + gap
    return TrueSheet(laid, title)


def _polygon(points: Sequence[Sequence[float] | Floats], closed: bool = True) -> tuple[PenLine, ...]:
    p = np.array([np.asarray(v, float) for v in points])
    p = np.vstack([p, p[:1]]) if closed else p
    return tuple(PenLine("line", pair) for pair in np.stack([p[:-1], p[1:]], axis=1))


def _moved(stroke: PenLine, x: float, y: float) -> PenLine:
    centre = (stroke.centre[0] + x, stroke.centre[1] + y)
    return PenLine(stroke.form, stroke.points + np.array([x, y]), centre, stroke.radius, stroke.angle, stroke.turn)


def svg_text(sheet: TrueSheet) -> str:
    """The sheet as SVG with its size in mm, one group a layer. Raises InputError where it is larger than a metre."""
    from xml.sax.saxutils import escape, quoteattr

    x0, y0, x1, y1 = sheet.box
    wide, high = x1 - x0 + 2 * _MARGIN, y1 - y0 + 2 * _MARGIN
    if max(wide, high) > 1000:
        raise InputError("", f"the sheet would be {max(wide, high):.0f} mm large", "draw a smaller tool")
    groups = []
    for name, strokes in sheet.layers.items():
        groups.append(f"<g id={quoteattr(name)}><path d={quoteattr(_path(strokes))}/></g>")
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.9g}mm" '
        f'height="{high:.9g}mm" viewBox="{x0 - _MARGIN:.9g} {-y1 - _MARGIN:.9g} {wide:.9g} {high:.9g}">\n'
        f"<title>{escape(sheet.title)}</title>\n"
        f'<g fill="none" stroke="black" stroke-width="0.1">\n' + "\n".join(groups) + "\n</g>\n</svg>\n"
    )


def _path(strokes: Sequence[PenLine]) -> str:
    """SVG's y goes down, so arcs that turn anticlockwise have sweep 0."""

    def at(p: Floats) -> str:
        return f"{p[0]:.9f},{-p[1] + 0.0:.9f}"

    words: list[str] = []
    here: Floats | None = None
    for stroke in strokes:
        p = stroke.points
        if here is None or np.abs(here - p[0]).max() > 1e-9:
            words.append(f"M{at(p[0])}")
        if stroke.form == "line":
            words.append(f"L{at(p[1])}")
        elif stroke.form == "circular":
            large, sweep = int(abs(stroke.turn) > np.pi), int(stroke.turn < 0)
            words.append(f"A{stroke.radius:.9f},{stroke.radius:.9f} 0 {large} {sweep} {at(p[1])}")
        else:
            words += [f"C{at(a)} {at(b)} {at(c)}" for a, b, c in zip(p[1::3], p[2::3], p[3::3], strict=True)]
        here = p[-1]
    return " ".join(words)


def dxf_text(sheet: TrueSheet) -> str:
    """The sheet as DXF in mm, one layer for each of the sheet's: lines, arcs and splines of third degree."""
    import ezdxf
    from ezdxf import units

    document = ezdxf.new("R2010", units=units.MM)
    space = document.modelspace()
    for name, strokes in sheet.layers.items():
        document.layers.add(name)
        where = {"layer": name}
        for stroke in strokes:
            p = stroke.points.tolist()
            if stroke.form == "line":
                space.add_line(p[0], p[1], dxfattribs=where)
            elif stroke.form == "circular":
                first, last = np.degrees(sorted([stroke.angle, stroke.angle + stroke.turn])).tolist()
                space.add_arc(stroke.centre, stroke.radius, first, last, dxfattribs=where)
            else:
                spline = space.add_spline(degree=3, dxfattribs=where)
                pieces = (len(p) - 1) // 3
                spline.control_points = p
                spline.knots = [0.0] * 4 + [float(k) for k in range(1, pieces) for _ in range(3)] + [float(pieces)] * 4
    out = io.StringIO()
    document.write(out)
    return out.getvalue()
