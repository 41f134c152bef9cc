"""From pieces or measured points to a checked meridian. Lengths mm."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.work.meridian import Meridian
from gougeform.work.pieces import AnyPiece, Arc, Bead, Cove, Fixture, Hollow, Line

Floats = NDArray[np.float64]
Point = tuple[float, float]

_SAME = 1e-6  # mm: places closer than this are one


class Chain:
    """Pieces in the making: each with the field it came from, for messages."""

    def __init__(self, start: Point) -> None:
        self.start: list[Point] = []
        self.end: list[Point] = []
        self.centre: list[Point] = []
        self.turn: list[float] = []
        self.cut: list[bool] = []
        self.inside: list[bool | None] = []
        self.field: list[str] = []
        self.here = start

    def straight(self, to: Point, field: str, cut: bool = True, inside: bool | None = None) -> None:
        """A line from here to a point."""
        self._add(to, (0.0, 0.0), 0.0, field, cut, inside)

    def bent(
        self, to: Point, centre: Point, turn: float, field: str, cut: bool = True, inside: bool | None = None
    ) -> None:
        """An arc from here to a point; turn in rad, positive anticlockwise."""
        self._add(to, centre, turn, field, cut, inside)

    def by_radius(
        self, to: Point, radius: float, hollow: bool, long: bool, field: str, cut: bool, inside: bool | None
    ) -> None:
        """The arc of that radius from here to a point, hollow or standing out. Raises InputError."""
        (x0, y0), (x1, y1) = self.here, to
        chord = math.hypot(x1 - x0, y1 - y0)
        if chord < _SAME:
            raise InputError(f"{field}.to_mm", "ends where it begins", "give another end")
        if radius < chord / 2 * (1 - 1e-12):
            raise InputError(
                f"{field}.radius_mm",
                f"given {radius:g}: the ends are {chord:g} mm apart, so allowed is at least {chord / 2:g} mm",
                "a larger radius, or ends closer together",
            )
        half = math.asin(min(chord / (2 * radius), 1.0))
        half = math.pi - half if long else half
        # Wood is on the right hand: a cove turns left about a centre on the left, out of the wood.
        sign = 1.0 if hollow else -1.0
        off = sign * radius * math.cos(half) / chord
        centre = ((x0 + x1) / 2 - off * (y1 - y0), (y0 + y1) / 2 + off * (x1 - x0))
        self._add(to, centre, sign * 2 * half, field, cut, inside)

    def _add(self, to: Point, centre: Point, turn: float, field: str, cut: bool, inside: bool | None) -> None:
        if math.hypot(to[0] - self.here[0], to[1] - self.here[1]) < _SAME:
            raise InputError(f"{field}.to_mm", "ends where it begins", "give another end, or leave the piece out")
        for column, value in zip(
            (self.start, self.end, self.centre, self.turn, self.cut, self.inside, self.field),
            (self.here, to, centre, turn, cut, inside, field),
            strict=True,
        ):
            column.append(value)  # type: ignore[attr-defined]
        self.here = to


def chain_of_pieces(start: Point, pieces: list[AnyPiece]) -> Chain:
    """The chain of a file's pieces. Raises InputError for arcs that cannot be and hollows that do not fit."""
    chain = Chain(start)
    for i, piece in enumerate(pieces):
        field = f"piece.{i}"
        if isinstance(piece, Line):
            chain.straight(piece.to_mm, field, piece.cut, piece.inside)
        elif isinstance(piece, Arc):
            chain.by_radius(
                piece.to_mm, piece.radius_mm, piece.bulge == "in", piece.long, field, piece.cut, piece.inside
            )
        elif isinstance(piece, Hollow):
            _hollow(chain, piece, field, i + 1 == len(pieces))
        else:
            rise = piece.depth_mm if isinstance(piece, Cove) else piece.height_mm
            chord = math.hypot(piece.to_mm[0] - chain.here[0], piece.to_mm[1] - chain.here[1])
            radius = piece.radius_mm if rise is None else (chord**2 / 4 + rise**2) / (2 * rise)
            assert radius is not None
            long = rise is not None and rise > chord / 2
            hollow = not isinstance(piece, Bead)
            chain.by_radius(piece.to_mm, radius, hollow, long, field, piece.cut, piece.inside)
    return chain


def _hollow(chain: Chain, piece: Hollow, field: str, last: bool) -> None:
    x, rim = chain.here
    r, depth = piece.corner_radius_mm, piece.depth_mm
    if not last:
        raise InputError(field, "a hollow ends on the axis, so nothing can follow it", "make it the last piece")
    for name, most in (("the rim's distance from the axis", rim), ("its depth", depth)):
        if r > most * (1 + 1e-12):
            raise InputError(
                f"{field}.corner_radius_mm",
                f"given {r:g}, allowed is at most {name}, {most:g} mm",
                "a smaller corner radius",
            )
    if depth - r > _SAME:
        chain.straight((x - depth + r, rim), field, piece.cut, True)
    floor = (x - depth, rim - r if rim - r > _SAME else 0.0)
    chain.bent(floor, (x - depth + r, floor[1]), math.pi / 2, field, piece.cut, True)
    if floor[1] > 0:
        chain.straight((x - depth, 0.0), field, piece.cut, True)


def chain_of_points(points: Floats, corner: float, field: str = "points_mm") -> Chain:
    """Measured points (n, 2) mm joined by pairs of arcs that meet without a kink; bends over `corner` (rad) stay sharp.

    At a point the direction is that of the circle through it and its neighbours. Raises InputError (field).
    """
    step = np.diff(points, axis=0)
    size = np.linalg.norm(step, axis=1)
    if size.min() < _SAME:
        k = int(size.argmin())
        raise InputError(field, f"points {k + 1} and {k + 2} are the same", "remove one of them")
    along = step / size[:, None]
    bend = np.arctan2(along[:-1, 0] * along[1:, 1] - along[:-1, 1] * along[1:, 0], (along[:-1] * along[1:]).sum(1))
    angle = np.arctan2(along[:, 1], along[:, 0])
    sharp = np.abs(bend) > corner
    # Sine law: a circle's tangent at the middle of three points is b e + a f, e and f along the chords a and b.
    ahead = size[1:, None] * along[:-1] + size[:-1, None] * along[1:]
    middle = np.arctan2(ahead[:, 1], ahead[:, 0])
    leave = np.concatenate([[np.nan], np.where(sharp, np.nan, middle), [np.nan]])
    chain = Chain((float(points[0, 0]), float(points[0, 1])))
    for i in range(len(step)):
        a, b = leave[i], leave[i + 1]
        # At a sharp point or an end: a single arc with the direction at the other end.
        a = 2 * angle[i] - b if np.isnan(a) and not np.isnan(b) else a
        b = 2 * angle[i] - a if np.isnan(b) and not np.isnan(a) else b
        if np.isnan(a):
            a = b = angle[i]
        _two_arcs(chain, points[i + 1], float(a), float(b), f"{field}.{i + 1}")
    return chain


def _two_arcs(chain: Chain, to: Floats, a: float, b: float, field: str) -> None:
    here = np.array(chain.here)
    v, t0, t1 = to - here, np.array([math.cos(a), math.sin(a)]), np.array([math.cos(b), math.sin(b)])
    open_ = 2 * (1 - float(t0 @ t1))
    vt = float(v @ (t0 + t1))
    d = float(v @ v) / (2 * vt) if open_ < 1e-14 else (-vt + math.sqrt(vt * vt + open_ * float(v @ v))) / open_
    joint = (here + to + d * (t0 - t1)) / 2
    _arc_from(chain, joint, t0, field)
    turn = math.atan2(t0[0] * v[1] - t0[1] * v[0], float(t0 @ v))
    del turn
    side = 2 * (joint - here) @ t0 * (joint - here) / float((joint - here) @ (joint - here)) - t0
    _arc_from(chain, to, side, field)


def _arc_from(chain: Chain, to: Floats, tangent: Floats, field: str) -> None:
    here = np.array(chain.here)
    w = to - here
    end = (float(to[0]), max(float(to[1]), 0.0))
    across = float(-tangent[1] * w[0] + tangent[0] * w[1])
    if abs(across) < 1e-9 * float(np.hypot(*w)):
        chain.straight(end, field)
        return
    r = float(w @ w) / (2 * across)
    centre = here + r * np.array([-tangent[1], tangent[0]])
    chain.bent(end, (float(centre[0]), float(centre[1])), 2 * math.atan2(across, float(tangent @ w)), field)


def meridian_of(chain: Chain, kind: str, title: str) -> Meridian:
    """Close the chain and check it.

    Raises InputError where it goes back on itself, crosses itself, leaves the half plane, or is not closed.
    """
    first, last = chain.start[0], chain.end[-1]
    if kind == "ring":
        if math.dist(first, last) > _SAME:
            raise InputError(
                chain.field[-1],
                f"a ring ends where it starts: it ends at [{last[0]:g}, {last[1]:g}], start_mm is"
                f" [{first[0]:g}, {first[1]:g}]",
                "lead the last piece back to start_mm",
            )
    else:
        begin = Chain((first[0], 0.0))
        if first[1] > _SAME:
            begin.straight(first, "start_mm", cut=False)
        if last[1] > _SAME:
            chain.straight((last[0], 0.0), chain.field[-1], cut=False)
        for name in ("start", "end", "centre", "turn", "cut", "inside", "field"):
            setattr(chain, name, getattr(begin, name) + getattr(chain, name))
    start, end = np.array(chain.start, float), np.array(chain.end, float)
    turn = np.array(chain.turn, float)
    plain = Meridian(
        start,
        end,
        np.array(chain.centre, float),
        turn,
        np.array(chain.cut),
        np.zeros(len(turn), np.intp),
        kind == "ring",
        title,
    )
    _check(plain, kind, chain.field)
    middle = plain.normal(np.arange(plain.count), np.full(plain.count, 0.5))
    faces_axis = middle[:, 1] < -1e-3 if kind == "ring" else _beyond_rim(plain, kind)
    inside = np.array([bool(f) if i is None else i for i, f in zip(chain.inside, faces_axis, strict=True)])
    return Meridian(start, end, plain.centre, turn, plain.cut, np.where(inside, 1, 0), plain.ring, title)


def fixture_solid(fixture: Fixture) -> Meridian:
    """What holds the wood as a solid of its own, nothing of it cut. Raises InputError."""
    ends = [(fixture.from_mm, fixture.diameter_mm), (fixture.to_mm, fixture.to_diameter_mm or fixture.diameter_mm)]
    (x0, d0), (x1, d1) = sorted(ends)
    chain = Chain((x0, d0 / 2))
    chain.straight((x1, d1 / 2), "fixture", cut=False)
    return meridian_of(chain, "spindle", "")


def _beyond_rim(m: Meridian, kind: str) -> NDArray[np.bool_]:
    """In a free hollow form everything after the rim, the place furthest along, lies inside."""
    if kind != "hollow":
        return np.zeros(m.count, bool)
    rim = int(m.end[:, 0].argmax())
    return np.arange(m.count) > rim


def _check(m: Meridian, kind: str, field: list[str]) -> None:
    from shapely.geometry import LineString, Polygon

    every = np.arange(m.count)
    low = np.full(m.count, np.inf)
    for share in np.linspace(0, 1, 65):
        low = np.minimum(low, m.point(every, np.full(m.count, share))[:, 1])
    if (low < -1e-9).any():
        k = int(low.argmin())
        raise InputError(
            field[k], f"reaches {-low[k]:.3g} mm past the lathe's axis", "keep rho at 0 or above, or use a smaller arc"
        )
    inner = low[1:-1] if m.ring else np.concatenate([m.end[:-1, 1]])
    if len(inner) and inner.min() < _SAME and not m.ring:
        k = int(m.end[:-1, 1].argmin())
        raise InputError(field[k], "touches the lathe's axis before the end", "keep rho above 0 between start and end")
    if kind == "spindle":
        inside_hollow = np.zeros(m.count, bool)
        tx = np.min([m.tangent(every, np.full(m.count, s))[:, 0] for s in np.linspace(0, 1, 65)], axis=0)
        for k in map(int, np.flatnonzero(tx < -1e-6)):
            before = m.start[k, 0] < m.start[:, 0].max() - _SAME or m.end[k, 1] > m.start[k, 1] + _SAME
            # From the rim at the far end a hollow leads back to the axis; nothing else may go back.
            if before and not inside_hollow[k - 1]:
                raise InputError(
                    field[k],
                    "goes back along the lathe, so a place along it would have two radii",
                    'keep x growing, or say kind = "hollow" for a free hollow form',
                )
            inside_hollow[k] = True
    first, last = m.tangent(every, np.zeros(m.count)), m.tangent(every, np.ones(m.count))
    after = np.roll(first, -1, 0)
    fold = (last * after).sum(1) < -1 + 1e-9
    fold[-1] &= m.ring
    if fold.any():
        k = int(np.flatnonzero(fold)[0])
        raise InputError(field[k], "the profile turns straight back on itself at its end", "open the corner a little")
    points = m.outline_points(48)
    ring = points[:-1] if m.ring else np.concatenate([points, [[points[-1, 0], -1.0], [points[0, 0], -1.0]]])
    line = LineString(np.concatenate([ring, ring[:1]]))
    if not line.is_simple:
        raise InputError("piece", "the profile crosses or touches itself", "give the pieces in order, without overlap")
    if m.volume() <= 0 or (m.ring and Polygon(ring).area <= 0):
        raise InputError(
            "piece",
            "the wood would be on the left hand of the profile",
            "give the pieces the other way round: wood below a piece that goes toward growing x",
        )
