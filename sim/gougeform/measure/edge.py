"""The ground edge, measured from the surfaces and their normals: angles, bevel, hollow and land at every station.

Everything at a station lies in the plane through the edge point square to the edge's tangent. Stations run from the
left lip through the nose to the right lip. Lengths in mm, angles in degrees (this is what a person sees).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Cut, mirrored_cut
from gougeform.machine.pose import Pose
from gougeform.machine.pose import cross as _cross
from gougeform.measure.crease import creases
from gougeform.measure.heel import heel_points
from gougeform.measure.hollow import hollows
from gougeform.numerics.curve import Curve, local_cubic

Floats = NDArray[np.float64]

STATIONS = 401
WING_PER_CENT = (25, 50, 75, 95)
"""Places of a wing's headline angles: per cent of its arc length from the nose."""

_HEEL_STEP = 0.15  # mm between heel samples at most; joined by cubics, so bevel lengths are good to 1e-6 mm
_ALIKE = 1e-12  # mm: section points that mirror each other so closely have the same height
_IN_MIDDLE = 1e-9  # mm
_AS_GOOD_AS_ALIKE = 1e-5  # mm: ends of bevels come from cubics; so close they have the same hollow
_MIDDLE = 33  # rays down the middle plane


@dataclass(frozen=True, eq=False)
class Edge:
    """n stations along the whole edge.

    u: (n,) places on the flute. arc: (n,) mm from the left lip. point, tangent, normal: (3, n), tool frame; normal is
    the bevel's, out of the steel. wedge: (n,) deg, square to the edge. bevel, hollow, land: (n,) mm; hollow is that of
    the bevel next to the edge, negative where it bulges; land is NaN where no relief meets the plane. heel: (3, n)
    where each bevel ends. cut: which pass made the edge, at which place of its path. nose: index of the nose.
    heel_line: (3, m) the whole heel, left to right, and heel_cut what ended it. overcut: mm, and overcut_at: station.
    bevel_end: where the bevel next to the edge ends (3, n), at heel or crease, and its normal there. plane: (3, n) what
    the planes in which that is measured are square to: the tangent, and at the nose the middle plane.
    """

    u: Floats
    arc: Floats
    point: Floats
    tangent: Floats
    normal: Floats
    wedge: Floats
    bevel: Floats
    land: Floats
    heel: Floats
    cut: Cut
    nose: int
    heel_line: Floats
    heel_cut: Cut
    overcut: float
    overcut_at: int
    gouge: Gouge = field(repr=False)
    bevel_end: tuple[Floats, Floats] = field(repr=False)
    plane: Floats = field(repr=False)

    @cached_property
    def hollow(self) -> Floats:
        """(n,) mm: depth of the hollow of the bevel next to the edge; made when asked for, since it takes long."""
        half = slice(self.nose, None)
        # A tool that is alike on both sides needs only one of them.
        parts = (self.point, self.plane, self.normal, *self.bevel_end)
        alike = self.gouge.alike and all(
            np.allclose(np.abs(part[:, ::-1]), np.abs(part), rtol=0, atol=_AS_GOOD_AS_ALIKE, equal_nan=True)
            for part in parts
        )
        if not alike:
            return self._hollows(slice(None))
        right = self._hollows(half)
        return np.concatenate([right[:0:-1], right])

    @cached_property
    def nose_hollow(self) -> float:
        """The same at the nose alone, mm."""
        return float(self._hollows(slice(self.nose, self.nose + 1))[0])

    def _hollows(self, at: slice) -> Floats:
        end, end_normal = self.bevel_end
        parts = (self.plane, self.point, self.normal, end, end_normal)
        return hollows(self.gouge.ground, *(part[:, at] for part in parts))

    def on_wheels(self) -> Iterator[tuple[int, NDArray[np.int_], Pose, Floats]]:
        """By grind that has left a part of the edge: its number, stations (m,), placements there, and where (3, m)."""
        for number, one in enumerate(self.gouge.ground.passes):
            mine = np.flatnonzero(self.cut.grind == number)
            if len(mine):
                pose = one.path.pose(self.cut.s[mine])
                yield number, mine, pose, pose.place(self.point[:, mine] - np.array([[0.0], [0.0], [one.setback]]))

    def wing(self, side: int) -> slice:
        """The stations from the nose to the right (+1) or left (-1) lip, nose first."""
        return slice(self.nose, None) if side > 0 else slice(self.nose, None, -1)

    def from_nose(self, side: int) -> Floats:
        """(k,) mm: arc lengths from the nose to the stations of one wing, nose first."""
        return np.abs(self.arc[self.wing(side)] - self.arc[self.nose])

    def at_per_cents(self, side: int, values: Floats, per_cents: Sequence[float]) -> list[float]:
        """What `values` (n,) of the stations are at per cents of one wing's arc length from the nose."""
        arc, values = self.from_nose(side), values[self.wing(side)]
        return [local_cubic(arc, values, arc[-1] * per_cent / 100) for per_cent in per_cents]

    def wing_length(self, side: int) -> float:
        """Axial distance from nose to lip, mm."""
        z = self.point[2, self.wing(side)]
        return float(z[0] - z[-1])

    @property
    def length(self) -> float:
        """Arc length of the whole edge, mm."""
        return float(self.arc[-1])


def measure_edge(gouge: Gouge, stations: int = STATIONS) -> Edge:
    """Measure the edge at an odd number of stations.

    Raises InputError where the wheel never reaches a place of edge or heel.
    """
    section = gouge.section
    u = station_places(gouge, stations)
    v = heel_places(gouge)
    flat_edge, flat_heel = section.flute_point(u), section.outline.point(v)
    down = np.linspace(section.y_floor, section.outline.on_middle_plane(below=True), _MIDDLE)
    flat_middle = np.stack([np.zeros(_MIDDLE), down], -1)
    n, m = len(u), len(u) + len(v)
    alike = gouge.alike and all(np.abs(p * [-1.0, 1.0] - p[::-1]).max() < _ALIKE for p in (flat_edge, flat_heel))
    every = _cuts(gouge, flat_edge, flat_heel, flat_middle, alike)
    check_reached(gouge, np.concatenate([flat_edge, flat_heel, flat_middle]), every.z)
    edge_cut, heel_cut = _part(every, slice(None, n)), _part(every, slice(n, m))
    point, middle = np.stack([*flat_edge.T, edge_cut.z]), np.stack([*flat_middle.T, every.z[m:]])
    flute = np.zeros((3, n))
    flute[:2] = section.flute_normal(u).T
    normal = edge_cut.normal
    tangent = _cross(flute, normal)
    sine = np.linalg.norm(tangent, axis=0)
    tangent *= np.where((tangent[:2].T * section.flute_tangent(u)).sum(1) < 0, -1, 1) / sine
    wedge = 180.0 - np.degrees(np.arctan2(sine, (flute * normal).sum(0)))
    curve = _heel_curve(gouge, v, flat_heel, heel_cut)
    plane = tangent.copy()
    if gouge.alike:  # rolling can leave a kink at the nose, and a tangent for each side
        plane[:, n // 2] = (1.0, 0.0, 0.0)
    heel, heel_normal = heel_points(gouge, u, (point, normal), plane, v, curve, middle, alike)
    land, foot, foot_normal = _lands(gouge, edge_cut, point, plane, heel, heel_normal)
    overcut, overcut_at = _overcut(gouge, u, point)
    return Edge(
        u=u,
        arc=_arc_lengths(point, tangent),
        point=point,
        tangent=tangent,
        normal=normal,
        wedge=wedge,
        bevel=np.linalg.norm(heel - point, axis=0),
        land=land,
        heel=heel,
        cut=edge_cut,
        nose=n // 2,
        heel_line=curve.point,
        heel_cut=heel_cut,
        overcut=overcut,
        overcut_at=overcut_at,
        gouge=gouge,
        bevel_end=(foot, foot_normal),
        plane=plane,
    )


def check_reached(gouge: Gouge, flat: Floats, z: Floats) -> None:
    """Raise InputError where a height z (n,) over section points (n, 2) is not finite: steel is left standing."""
    missed = np.flatnonzero(~np.isfinite(z))
    if len(missed):
        x, y = flat[missed[0]]
        raise InputError(
            "wheel.width_mm",
            f"the wheel never reaches x {x:.1f}, y {y:.1f} mm of the section: steel is left standing",
            "a wider wheel, a contact place nearer its middle, or more roll",
            gouge.recipe.source or gouge.recipe.name,
        )


def _cuts(gouge: Gouge, edge: Floats, heel: Floats, middle: Floats, alike: bool) -> Cut:
    """The cuts at section points of edge (n, 2), heel (m, 2) and middle plane (k, 2), one after the other.

    Where tool and points are alike on both sides, the right wing is searched and the left one is its mirror image.
    """
    lines = [edge, heel]
    if not alike:
        return gouge.ground.heights(np.concatenate([*lines, middle]))
    halves = [line[len(line) // 2 :] for line in lines]
    right = gouge.ground.heights(np.concatenate([*halves, middle]))
    place, begin, left = [], 0, []
    for line, half in zip(lines, halves, strict=True):
        mirrored = len(line) - len(half)
        up = begin + np.arange(len(half))
        place += [up[::-1][:mirrored], up]
        left += [np.ones(mirrored, bool), np.zeros(len(half), bool)]
        begin += len(half)
    place.append(begin + np.arange(len(middle)))
    left.append(np.zeros(len(middle), bool))
    return mirrored_cut(_part(right, np.concatenate(place)), np.concatenate(left))


def _part(cut: Cut, part: slice | NDArray[np.intp]) -> Cut:
    return Cut(cut.z[part], cut.s[part], cut.grind[part], cut.surface[part], cut.normal[:, part], cut.leave[part])


def station_places(gouge: Gouge, stations: int) -> Floats:
    """(n,) places on the flute from lip to lip, the nose in the middle: even along the asked outline, or the flute."""
    section = gouge.section
    t = np.linspace(-1.0, 1.0, stations + 1 - stations % 2)
    if gouge.outline is None:
        return np.where(t < 0, -section.u_left, section.u_right) * t
    x = gouge.outline.at(t)[0][0]
    u = np.sign(x) * section.flute.place(np.abs(x))
    u[0], u[-1] = section.u_left, section.u_right
    return u


def heel_places(gouge: Gouge) -> Floats:
    """(m,) places on the outline from the left lip round the underside to the right one, closer on tight bends."""
    outline, lo, hi = gouge.section.outline, gouge.section.v_left, gouge.section.v_right
    ends = np.concatenate([[lo], outline.breaks[(outline.breaks > lo) & (outline.breaks < hi)], [hi]])
    mid = (ends[:-1] + ends[1:]) / 2
    piece = np.minimum(mid.astype(int), outline.count - 1)
    length = np.linalg.norm(outline.tangent(mid), axis=-1) * np.diff(ends)
    bend = outline.turn[piece] * np.diff(ends)
    count = np.maximum(np.ceil(length / _HEEL_STEP), np.ceil(bend / 0.1)).astype(int) + 1
    parts = [np.linspace(a, b, c, endpoint=False) for a, b, c in zip(ends[:-1], ends[1:], count, strict=True)]
    return np.concatenate([*parts, [hi]])


def _arc_lengths(point: Floats, tangent: Floats) -> Floats:
    """Cumulative arc length from chords and end tangents (third order in the turning angle; exact to 1e-9 here)."""
    chord = np.diff(point, axis=1)
    c = np.linalg.norm(chord, axis=0)
    along = chord / c
    a, b = tangent[:, :-1] - along, tangent[:, 1:] - along
    # Rolling can leave a kink at the nose, where the tangent is that of one side only: take the even bend's there.
    nose = point.shape[1] // 2
    b[:, nose - 1], a[:, nose] = -a[:, nose - 1], -b[:, nose]
    more = (2 * (a * a).sum(0) - (a * b).sum(0) + 2 * (b * b).sum(0)) / 30
    return np.concatenate([[0.0], np.cumsum(c * (1 + more))])


def _heel_curve(gouge: Gouge, v: Floats, flat: Floats, cut: Cut) -> Curve:
    """The heel from its samples at places v of the outline."""
    tangent = gouge.section.outline.tangent(v)
    rise = -(cut.normal[0] * tangent[:, 0] + cut.normal[1] * tangent[:, 1]) / cut.normal[2]
    point = np.stack([*flat.T, cut.z])
    start = np.stack([*tangent.T, rise])[:, :-1] * np.diff(v)
    # Where a piece of the outline ends, the sample there belongs to the next piece; come in along the chord's bend.
    stop = np.stack([*tangent.T, rise])[:, 1:] * np.diff(v)
    ends = v[1:] == np.round(v[1:])
    stop = np.where(ends, 2 * np.diff(point, axis=1) - start, stop)
    return Curve(point, start, stop, cut.normal)


def _lands(
    gouge: Gouge, edge: Cut, point: Floats, tangent: Floats, heel: Floats, heel_normal: Floats
) -> tuple[Floats, Floats, Floats]:
    """Distance edge to crease in each station's plane, and where the bevel next to the edge ends (point and normal).

    NaN where the plane does not meet the crease: there the bevel ends at the heel. Of several meetings the nearest
    counts; beside the nose it lies across the middle plane, since the plane slants that way.
    """
    n = point.shape[1]
    land, end, end_normal = np.full(n, np.nan), heel.copy(), heel_normal.copy()
    for curve in creases(gouge):
        i, j = np.nonzero(curve.crosses(tangent, point))
        where, normal = curve.meet(tangent[:, i], point[:, i], j)
        away = np.linalg.norm(where - point[:, i], axis=0)
        nearer = np.flatnonzero(~(away >= land[i]))
        # Farthest first, so that of several meetings of one plane the nearest is the one that stays.
        k = nearer[np.argsort(-away[nearer], kind="stable")]
        land[i[k]], end[:, i[k]], end_normal[:, i[k]] = away[k], where[:, k], normal[:, k]
        # One of the crease's samples lies in the middle plane: there cubics would round off a kink that rolling leaves.
        middle, nose = int(np.abs(curve.point[0]).argmin()), n // 2
        if gouge.alike and abs(curve.point[0, middle]) < _IN_MIDDLE:
            end[:, nose], end_normal[:, nose] = curve.point[:, middle], curve.normal[:, middle]
            land[nose] = np.linalg.norm(end[:, nose] - point[:, nose])
    land[edge.grind > 0] = 0.0
    return land, end, end_normal


def _overcut(gouge: Gouge, u: Floats, point: Floats) -> tuple[float, int]:
    """How far the edge lies behind the outline that was asked for (mm), and at which station."""
    if gouge.outline is None:
        return 0.0, len(u) // 2
    t = np.linspace(-1.0, 1.0, len(u))
    asked = gouge.outline.at(t)[0]
    same = np.abs(asked[0] - point[0]) < 1e-6  # an end on a wall that leans inward is not part of the outline
    past = np.where(same, asked[2] - point[2], 0.0)
    k = int(past.argmax())
    return max(float(past[k]), 0.0), k


def station_table(gouge: Gouge, edge: Edge) -> dict[str, Floats]:
    """Every station as columns (stations,) with units in their names, for CSV files and charts."""
    middle = edge.arc[edge.nose]
    table: dict[str, Floats] = {
        "s_mm": edge.arc - middle,
        "x_mm": edge.point[0],
        "y_mm": edge.point[1],
        "z_mm": edge.point[2],
        "wedge_deg": edge.wedge,
        "bevel_mm": edge.bevel,
        "hollow_mm": edge.hollow,
        "land_mm": edge.land,
        "grind": edge.cut.grind.astype(float) + 1,
    }
    extra: dict[str, Floats] = {}
    for number, mine, pose, at in edge.on_wheels():
        one, jig, setting = gouge.ground.passes[number], gouge.jigs[number], gouge.settings[number]
        k, lift = one.wheel.curvature, setting.pivot_angle or 0.0
        found = {
            "contact_deg": np.degrees(lift + np.arctan2(k * at[2], 1 + k * at[0])),
            "contact_mm": at[1],
            **jig.motions(pose, lift),
        }
        for name, values in found.items():
            extra.setdefault(name, np.full(len(edge.u), np.nan))[mine] = values
    return table | extra
