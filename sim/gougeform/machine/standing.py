"""Whether a set-up can stand: the least gap between the wheel and what may not touch it, over the whole path.

Poses are tried at the path's knots, and between them where a gap is least. Rim frame and arrays as in
`gougeform.machine.solid`; lengths mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.handle import Handle
from gougeform.bar.outline import Outline
from gougeform.machine.bodies import Box, Obstacle, Round
from gougeform.machine.pose import Pose
from gougeform.machine.solid import CORNER, FACE, SIDE, WheelSolid
from gougeform.machine.sweep import Sweep

Floats = NDArray[np.float64]

SAID_MM = 3.0
"""A gap below this is said: common practice, no source."""
BEHIND_HEEL_MM = 25.0
"""From there on the bar counts as what may not touch. All it touches with is ground, and then that is its heel: a bar
is straight and a wheel convex, so that behind the heel it only gets further away."""
_TURN = 0.1  # rad between the knots that are tried
_FAR_MM = 10.0  # a gap larger than this by all the least one is not looked at more closely
_CLOSER, _ROUNDS = 9, 5  # places between two knots, so often: a quarter as far apart each time
_SHEET_TURN = 0.05  # rad between the lines of a guard that are tried
_THIRDS = 24  # of a line: each leaves two thirds
_ROUND = 1e-6  # mm: an outline whose points are as far from the axis as that is round
_ARC = 201  # places along an outline, for lengths along it


@dataclass(frozen=True)
class Gap:
    """One body's least gap, mm (below 0 where it stands in the wheel), good to 0.01 mm for the least of all bodies.

    s: the place on the path; surface: what of the wheel is nearest, an index into `gougeform.machine.solid.SURFACES`.
    near: (3,) the body's nearest point, rim frame. against: what it is the gap to.
    """

    name: str
    mm: float
    s: float
    surface: int
    near: Floats
    against: str = "the wheel"


def least_gaps(
    path: Sweep, wheel: WheelSolid, bodies: Sequence[Obstacle], *, alike: bool = False, close: bool = True
) -> tuple[Gap, ...]:
    """Every body's least gap over the path, the least first.

    alike: path and bodies are the same on both sides, so one half will do. close: False stops at the knots, for a
    search: then a gap may be a few tenths of a millimetre less.
    """
    knots = _knots(path, alike)
    s = np.broadcast_to(knots, (len(bodies), len(knots)))
    pose = path.pose(knots)
    gap, near = (np.stack(part) for part in zip(*(body.gaps(wheel, pose) for body in bodies), strict=True))
    rows, k = np.arange(len(bodies)), gap.argmin(1)
    mm, at, point = gap[rows, k], knots[k], near[rows, :, k]
    if close:
        # Every valley that may be the deepest: it cannot lie below its lowest knot by more than the rise beside it.
        side = np.pad(gap, ((0, 0), (1, 1)), mode="edge")
        low = (gap <= side[:, :-2]) & (gap <= side[:, 2:])
        fall = np.maximum(side[:, :-2], side[:, 2:]) - gap
        low &= (gap - fall <= mm[:, None]) & (mm[:, None] < mm.min() + _FAR_MM) & (fall > 0)
        body, k = np.nonzero(low)
        a, b = knots[np.maximum(k - 1, 0)], knots[np.minimum(k + 1, len(knots) - 1)]
        for _ in range(_ROUNDS if len(body) else 0):
            s = a[:, None] + (b - a)[:, None] * np.linspace(0.0, 1.0, _CLOSER)
            pose = path.pose(s.ravel())
            best = np.empty(len(body), np.intp)
            for i in np.unique(body):
                mine = np.flatnonzero(body == i)
                part = (mine[:, None] * _CLOSER + np.arange(_CLOSER)).ravel()
                gap, near = bodies[i].gaps(wheel, Pose(pose.turn[:, :, part], pose.shift[:, part]))
                k = int(gap.argmin())
                if gap[k] < mm[i]:
                    mm[i], at[i], point[i] = gap[k], s.ravel()[part[k]], near[:, k]
                best[mine] = gap.reshape(-1, _CLOSER).argmin(1)
            r = np.arange(len(body))
            a, b = s[r, np.maximum(best - 1, 0)], s[r, np.minimum(best + 1, _CLOSER - 1)]
    surface = _surface(wheel, point.T)
    found = [
        Gap(b.name, float(m), float(t), int(f), p) for b, m, t, f, p in zip(bodies, mm, at, surface, point, strict=True)
    ]
    return tuple(sorted(found, key=lambda one: one.mm))


def _knots(path: Sweep, alike: bool) -> Floats:
    """Some of the path's knots, the tool turned by no more than _TURN (or one knot) from each to the next."""
    knots = path.knots[len(path.knots) // 2 :] if alike else path.knots
    turn = path.pose(knots).turn
    cosine = (np.einsum("ijn,ijn->n", turn[:, :, 1:], turn[:, :, :-1]) - 1) / 2
    turned = np.concatenate([[0.0], np.cumsum(np.arccos(np.clip(cosine, -1.0, 1.0)))])
    step = np.floor(turned / _TURN)
    return knots[np.unique(np.concatenate([np.flatnonzero(np.diff(step, prepend=-1.0) > 0), [len(knots) - 1]]))]


def _surface(wheel: WheelSolid, near: Floats) -> NDArray[np.intp]:
    """What of the wheel lies opposite points (3, n) outside it."""
    over, across = wheel.height(near) > -wheel.corner_radius, np.abs(near[1]) > wheel.flat
    return np.where(over & across, CORNER, np.where(across, SIDE, FACE))


def place_words(path: Sweep, s: float, *, alike: bool = False) -> str:
    """Where on the path the tool is, for a person; alike: with the same on the other side.

    >>> from types import SimpleNamespace
    >>> place_words(SimpleNamespace(outline=None), 0.5)
    'rolled 29° to the right'
    """
    side = "right" if s > 0 else "left"
    if path.outline is None:
        to = "either side" if alike else f"the {side}"
        return "not rolled" if abs(s) < np.radians(0.5) else f"rolled {abs(np.degrees(s)):.0f}° to {to}"
    t = np.linspace(0.0, np.sign(s) or 1.0, _ARC)
    point = path.outline.at(t)[0]
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(point, axis=1), axis=0))])
    share = 100 * float(np.interp(abs(s), np.abs(t), arc)) / arc[-1]
    if share < 1:
        return "at the nose"
    if share > 99:
        return "at the lips" if alike else f"at the {side} lip"
    return f"at {share:.0f} % of {'the wings' if alike else f'the {side} wing'}"


def tool_bodies(
    outline: Outline, heel: float, length: float, handle: Handle, setback: float = 0.0
) -> tuple[Obstacle, ...]:
    """Bar behind the heel, ferrule and handle, as one grind holds them.

    heel: how far back of the nose the ground face reaches, length: of steel ahead of the ferrule, setback: by how much
    the grind is held back, mm. A bar that is not round counts as its own upright box.
    """
    ferrule, end = length + handle.ferrule_length_mm, length + handle.ferrule_length_mm + handle.handle_length_mm
    low, high = (-heel - BEHIND_HEEL_MM - setback, -length - setback)
    bodies = [] if low <= high else [Obstacle("the bar", _bar(outline, low, high))]
    for name, begin, stop, wide in (
        ("the ferrule", length, ferrule, handle.ferrule_diameter_mm),
        ("the handle", ferrule, end, handle.handle_diameter_mm),
    ):
        front, back = (np.array([0.0, 0.0, -z - setback]) for z in (begin, stop))
        bodies.append(Obstacle(name, Round(front, back, wide / 2)))
    return tuple(bodies)


def _bar(outline: Outline, front: float, back: float) -> Box | Round:
    point = outline.point(np.linspace(0.0, outline.count, 16 * outline.count, endpoint=False))
    away = np.hypot(*point.T)
    if np.ptp(away) < _ROUND:
        return Round(np.array([0.0, 0.0, front]), np.array([0.0, 0.0, back]), float(away.max()))
    ends = [[outline.support(way) for way in ((sign, 0.0), (0.0, sign))] for sign in (-1.0, 1.0)]
    low, high = np.array([-ends[0][0], -ends[0][1], back]), np.array([*ends[1], front])
    return Box((low + high) / 2, (high - low) / 2)


@dataclass(frozen=True)
class Sheet:
    """A guard or rest: a strip around a part of the wheel, as wide as the wheel.

    off: from the rim, mm; low, high: directions from the wheel's centre where it begins and ends, rad, in the rim frame
    (those a person measures, less the pivot's own).
    """

    name: str
    off: float
    low: float
    high: float


def sheet_gaps(
    path: Sweep, wheel: WheelSolid, bodies: Sequence[Obstacle], sheet: Sheet, *, alike: bool = False
) -> tuple[Gap, ...]:
    """Every body's least gap to a guard or rest over the path, the least first."""
    knots = _knots(path, alike)
    many = max(int(np.ceil((sheet.high - sheet.low) / _SHEET_TURN)), 1) + 1
    found = []
    for body in bodies:
        s, phi = knots, np.linspace(sheet.low, sheet.high, many)
        best: tuple[float, float, Floats] = (np.inf, 0.0, np.zeros(3))
        for _ in range(_ROUNDS + 1):
            gap, point = _off_sheet(body, wheel, sheet, path.pose(s), phi)
            i, j = np.unravel_index(int(gap.argmin()), gap.shape)
            if gap[i, j] < best[0]:
                best = float(gap[i, j]), float(s[i]), point[:, i, j]
            s, phi = (_beside(values, k) for values, k in ((s, int(i)), (phi, int(j))))
        found.append(Gap(body.name, best[0], best[1], FACE, best[2], sheet.name))
    return tuple(sorted(found, key=lambda one: one.mm))


def _beside(values: Floats, k: int) -> Floats:
    """Places between the two neighbours of the k-th value."""
    return np.linspace(values[max(k - 1, 0)], values[min(k + 1, len(values) - 1)], _CLOSER)


def _off_sheet(body: Obstacle, wheel: WheelSolid, sheet: Sheet, pose: Pose, phi: Floats) -> tuple[Floats, Floats]:
    """Distances (n, m) of a body in n placements from the sheet's lines at directions phi (m,), and where (3, n, m)."""
    radius = 1 / wheel.curvature + sheet.off
    x, z = radius * np.cos(phi) - 1 / wheel.curvature, radius * np.sin(phi)
    frame = body.frame(pose)
    low, high = (np.full((frame.turn.shape[2], len(phi)), side * wheel.half_width) for side in (-1.0, 1.0))

    def off(y: Floats) -> Floats:
        at = np.stack([np.broadcast_to(x, y.shape), y, np.broadcast_to(z, y.shape)]) - frame.shift[:, :, None]
        return body.solid.off(np.einsum("jin,jnm->inm", frame.turn, at))

    for _ in range(_THIRDS):  # distance from a convex body is convex along a line
        a, b = low + (high - low) / 3, high - (high - low) / 3
        left = off(a) < off(b)
        low, high = np.where(left, low, a), np.where(left, b, high)
    y = (low + high) / 2
    return off(y), np.stack([np.broadcast_to(x, y.shape), y, np.broadcast_to(z, y.shape)])
