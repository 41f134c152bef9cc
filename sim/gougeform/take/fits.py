"""From points to the curves a recipe can hold: every family that fits, with its error, the best first.

Points come from a photograph, a drawing, calipers or a scan. A fit may also shift and turn the curve, since nobody
places a picture's axis exactly; what it found of that is said. Families are compared by the Bayesian information
criterion, n ln(rms² + floor²) + k ln n with n independent points (Schwarz 1978, from memory): a family with another
parameter must earn it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.take.curves import FLUTES, OUTLINES, Family
from gougeform.take.known import Known, LeastSquares, alike_neighbours, solved

Floats = NDArray[np.float64]

FLOOR_MM = 2e-4
"""Least standard deviation of a given point: files hold three or four digits of a mm."""
_MOST_KNOTS = 24
_POINTS_PENALTY = 4.0  # times a formula's parameter: points say nothing a person could set on a machine


@dataclass(frozen=True, eq=False)
class Laid:
    """One kind of curve laid over points.

    kind, fields: as the recipe's table has them, each number with its uncertainty. points: (n, 2) mm for the kind
    `points`, else None. rms: mm square to the curve. score: the smaller the better. middle: (x, y) mm where the curve's
    own origin lies among the points given (centre of an outline, floor of a flute), turned: deg it had to be turned.
    """

    kind: str
    fields: dict[str, Known]
    rms: float
    score: float
    middle: tuple[Known, Known]
    turned: Known
    points: Floats | None = None

    def table(self, name: str) -> dict[str, Any]:
        """The recipe's fields of this curve; name: `outline` for a bar, `shape` for a flute."""
        found: dict[str, Any] = {name: self.kind} | {key: known.value for key, known in self.fields.items()}
        if self.points is not None:
            found["points_mm"] = [[float(x), float(y)] for x, y in np.round(self.points, 6) + 0.0]
        return found


def checked_points(points: Floats, field: str, least: int) -> Floats:
    """(n, 2) mm, finite, in a row without repeats. Raises InputError naming the field."""
    p = np.asarray(points, float)
    if p.ndim != 2 or p.shape[1:] != (2,) or not np.isfinite(p).all():
        raise InputError(field, "points must be finite pairs of x and y", "give two numbers for every point")
    if len(p) > 1:
        p = p[np.concatenate([[True], (np.abs(np.diff(p, axis=0)) > 1e-9).any(1)])]
    if len(p) < least:
        raise InputError(field, f"given {len(p)} different points, at least {least} are needed", "place more points")
    if np.ptp(p, axis=0).max() < 1e-6:
        raise InputError(field, "all points lie in one place", "place them along the curve")
    return p


def _turned(p: Floats, middle: Floats, angle: float) -> tuple[Floats, Floats]:
    c, s = np.cos(angle), np.sin(angle)
    x, y = p[:, 0] - middle[0], p[:, 1] - middle[1]
    return c * x + s * y, c * y - s * x


def _laid(family: Family, p: Floats, middle: Floats, turns: bool, floor: float) -> tuple[LeastSquares, Floats] | None:
    """The best lie of a family over points: parameters are (x, y, angle or not, family's own)."""
    size = max(float(np.ptp(p, axis=0).max()) / 2, 1e-6)
    low, high = np.array(family.least), np.array(family.most)
    lengths = np.array([name.endswith("_mm") for name in family.fields])
    low, high = np.where(lengths, low * size, low + 1e-3), np.where(lengths, high * size, np.pi / 2 - 1e-3)

    def residual(x: Floats) -> Floats:
        at = _turned(p, x[:2], x[2] if turns else 0.0)
        return family.distance(*at, np.clip(x[2 + turns :], low, high))

    best: LeastSquares | None = None
    for first in family.start(p - middle):
        begin = np.concatenate([middle, [0.0] * turns, np.clip(first, low, high)])
        try:
            found = solved(residual, begin, floor)
        except (ValueError, np.linalg.LinAlgError):
            continue
        if np.isfinite(found.rms) and (best is None or found.rms < best.rms):
            best = found
    if best is None:
        return None
    own = best.x[2 + turns :]
    kept = np.clip(own, low, high)
    at_end = (own >= high) | ((own <= low) & (low > 0))
    return (best, kept) if not at_end.any() else None


def _score(rest: Floats, parameters: float, floor: float) -> float:
    alike = alike_neighbours(rest)
    n = max(len(rest) * (1 - alike) / (1 + alike), 4.0)
    return float(n * np.log(np.mean(rest**2) + floor**2) + parameters * np.log(n))


def _fit(family: Family, p: Floats, middle: Floats, turns: bool, floor: float) -> tuple[Laid, Floats] | None:
    found = _laid(family, p, middle, turns, floor)
    if found is None:
        return None
    answer, own = found
    first = 2 + turns
    units = family.units()
    fields = {
        name: Known.of(float(own[i] * units[i]), float(np.sqrt(answer.covariance[first + i, first + i]) * units[i]))
        for i, name in enumerate(family.fields)
    }
    turned = answer.known(2) if turns else Known(0.0, 0.0)
    fit = Laid(
        family.kind,
        fields,
        answer.rms,
        0.0,
        (answer.known(0), answer.known(1)),
        Known(float(np.degrees(turned.value)), float(np.degrees(turned.off))),
    )
    return fit, answer.residual


def _ranked(found: Sequence[tuple[Laid, Floats, float]], floor: float) -> tuple[Laid, ...]:
    from dataclasses import replace

    # One number of independent points for all, that of the best: criteria of different samples do not compare.
    rest = min(found, key=lambda one: one[0].rms)[1]
    alike = alike_neighbours(rest)
    n = max(len(rest) * (1 - alike) / (1 + alike), 4.0)
    scored = [replace(fit, score=float(n * np.log(np.mean(r**2) + floor**2) + k * np.log(n))) for fit, r, k in found]
    return tuple(sorted(scored, key=lambda fit: fit.score))


def fit_outline(
    points: Floats, *, turns: bool = True, floor: float = FLOOR_MM, field: str = "points"
) -> tuple[Laid, ...]:
    """The outline of a bar from points (n, 2) mm in order around it, whole or in part: best kind first.

    `turns` lets a square be turned. The kind `points` is there where the points go all the way round: its curve is
    about its own middle. Raises InputError with fewer than 5 points.
    """
    p = checked_points(points, field, 5)
    middle = _circle_middle(p)
    found: list[tuple[Laid, Floats, float]] = []
    for family in OUTLINES:
        one = _fit(family, p, middle, turns and family.turns, floor)
        if one is not None:
            found.append((*one, len(family.fields) + 2 + (turns and family.turns)))
    closed = _goes_round(p, middle)
    if closed:
        middle = (p.max(0) + p.min(0)) / 2
        kept = thinned(p, closed=True, tolerance=max(3 * floor, 2e-3))
        rest = _off_chain(p, kept, closed=True)
        at = tuple(Known.of(float(v), floor) for v in middle)
        fit = Laid("points", {}, _rms(rest), 0.0, (at[0], at[1]), Known(0.0, 0.0), kept - middle)
        found.append((fit, rest, _POINTS_PENALTY * min(len(kept), len(p) / 4)))
    if not found:
        raise InputError(field, "no outline of a bar fits these points", "place them in order around the bar")
    return _ranked(found, floor)


def _circle_middle(p: Floats) -> Floats:
    """Centre of the circle through points in the sense of least squares (Kåsa 1976, from memory)."""
    left = np.column_stack([2 * p, np.ones(len(p))])
    return np.asarray(np.linalg.lstsq(left, (p**2).sum(1), rcond=None)[0][:2])


def _goes_round(p: Floats, middle: Floats) -> bool:
    angle = np.sort(np.arctan2(p[:, 1] - middle[1], p[:, 0] - middle[0]))
    return len(p) >= 8 and float(np.diff(np.append(angle, angle[0] + 2 * np.pi)).max()) < np.pi / 3


def fit_flute(
    points: Floats, *, turns: bool = True, floor: float = FLOOR_MM, field: str = "points"
) -> tuple[Laid, ...]:
    """The flute from points (n, 2) mm from lip to lip, y up out of the steel: best kind first.

    `middle` of a fit is its floor. `turns` lets the flute lean, as in a picture whose axis is off. Raises
    InputError with fewer than 5 points, or where they bend down.
    """
    p = checked_points(points, field, 5)
    p = p if p[0, 0] <= p[-1, 0] else p[::-1]
    start = _floor(p, field)
    found: list[tuple[Laid, Floats, float]] = []
    for family in FLUTES:
        lean = turns and family.turns
        one = _fit(family, p, start, lean, floor)
        if one is not None:
            found.append((*one, len(family.fields) + 2 + lean))
    if (smooth := _smooth_flute(p, start, turns, found, floor)) is not None:
        found.append(smooth)
    if not found:
        raise InputError(field, "no flute fits these points", "place them from lip to lip along the flute")
    return _ranked(found, floor)


def _floor(p: Floats, field: str) -> Floats:
    """The lowest place, from the parabola through the points around the lowest one."""
    k = int(p[:, 1].argmin())
    width = float(np.ptp(p[:, 0]))
    ends = (p[0, 1] + p[-1, 1]) / 2
    if width < 1e-6 or ends - p[k, 1] < 1e-3 * width:
        raise InputError(field, "the points do not go down from a lip to a floor and up again", "turn the picture")
    near = np.abs(p[:, 0] - p[k, 0]) < 0.25 * width
    if near.sum() >= 5:
        bend, slope, high = np.polyfit(p[near, 0] - p[k, 0], p[near, 1], 2)
        if bend > 0 and abs(slope / (2 * bend)) < 0.25 * width:
            return np.array([p[k, 0] - slope / (2 * bend), high - slope**2 / (4 * bend)])
    return np.asarray(p[k], float)


def _smooth_flute(
    p: Floats, start: Floats, turns: bool, found: Sequence[tuple[Laid, Floats, float]], floor: float
) -> tuple[Laid, Floats, float] | None:
    """Points of one half, the mean of both, on a smoothing spline with as few knots as the criterion wants."""
    # Where a formula lies well it knows the middle best; a measured curve is mirrored about that.
    guide = min(found, key=lambda one: _score(one[1], one[2], floor))[0] if found else None
    middle = np.array([guide.middle[0].value, guide.middle[1].value]) if guide else start
    lean = np.radians(guide.turned.value) if guide and turns else 0.0
    x, y = _turned(p, middle, lean)
    chord = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    zero = float(np.interp(0.0, x, chord)) if (np.diff(x) > 0).all() else float(chord[np.abs(x).argmin()])
    s = np.abs(chord - zero)
    reach = float(min(zero, chord[-1] - zero))
    if reach <= 0 or len(p) < 7:
        return None
    best: tuple[float, int, Floats, Floats] | None = None
    for knots in range(3, _MOST_KNOTS + 1):
        if 2 * knots > len(p) or (best is not None and knots > best[1] + 5):
            break
        grid = np.linspace(0.0, float(s.max()), knots)
        (wx, vx), (wy, vy) = (_mirrored_basis(grid, s, odd=odd) for odd in (True, False))
        gx, gy = (np.linalg.lstsq(w, v, rcond=None)[0] for w, v in ((wx, np.abs(x)), (wy, y)))
        tx, ty = vx @ gx, vy @ gy
        rest = ((y - wy @ gy) * tx - (np.abs(x) - wx @ gx) * ty) / np.maximum(np.hypot(tx, ty), 1e-9)
        score = _score(rest, 2 * knots, floor)
        if best is None or score < best[0]:
            best = (score, knots, np.column_stack([gx, gy]), rest)
    if best is None:
        return None
    half = best[2]
    half[0] = 0.0, half[0, 1]
    if (half[1:, 0] <= 0).any():
        return None
    known = tuple(Known.of(float(v), floor) for v in middle + np.array([0.0, half[0, 1]]))
    fit = Laid(
        "points",
        {},
        _rms(best[3]),
        0.0,
        (known[0], known[1]),
        Known(float(np.degrees(lean)), 0.0),
        half - [0.0, half[0, 1]],
    )
    return fit, best[3], _POINTS_PENALTY * best[1]


def _mirrored_basis(grid: Floats, s: Floats, *, odd: bool) -> tuple[Floats, Floats]:
    """Cubic splines through unit values at knots `grid` (k,), mirrored at 0: (n, k) at s (n,), and slopes."""
    from scipy.interpolate import CubicSpline

    unit = np.eye(len(grid))
    if odd:
        unit[0] = 0.0
    mirrored = np.concatenate([(-1 if odd else 1) * unit[:0:-1], unit])
    spline = CubicSpline(np.concatenate([-grid[:0:-1], grid]), mirrored)
    return np.asarray(spline(s)), np.asarray(spline(s, 1))


def thinned(p: Floats, *, closed: bool, tolerance: float) -> Floats:
    """As few of the points as keep within `tolerance` mm of all, (n, 2) (Douglas and Peucker, from memory)."""
    from shapely.geometry import LineString

    if not closed:
        return np.asarray(LineString(p).simplify(tolerance, preserve_topology=False).coords)
    far = int(np.linalg.norm(p - p[0], axis=1).argmax())
    halves = (p[: far + 1], np.vstack([p[far:], p[:1]]))
    kept = [np.asarray(LineString(h).simplify(tolerance, preserve_topology=False).coords)[:-1] for h in halves]
    return np.vstack(kept)


def _off_chain(p: Floats, chain: Floats, *, closed: bool) -> Floats:
    """Signed distance (n,) of points from a chain of straight pieces."""
    a = chain
    b = np.roll(chain, -1, 0) if closed else chain[1:]
    a = a if closed else a[:-1]
    d = b - a
    t = np.clip(((p[:, None] - a) * d).sum(-1) / np.maximum((d**2).sum(-1), 1e-300), 0, 1)
    off = p[:, None] - a - t[..., None] * d
    far = np.linalg.norm(off, axis=-1)
    k = far.argmin(1)
    rows = np.arange(len(p))
    side = d[k, 0] * off[rows, k, 1] - d[k, 1] * off[rows, k, 0]
    return far[rows, k] * np.sign(side)


def _rms(rest: Floats) -> float:
    return float(np.sqrt(np.mean(rest**2)))
