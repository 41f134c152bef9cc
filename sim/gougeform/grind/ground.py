"""What the wheel leaves: along any line in the tool, the first place where some pose of the path takes the steel.

The bar is a prism, so lines parallel to its axis give the height h(x, y) of the ground surface. The same holds along
any other line that starts in the steel that is left, which is how bevels are measured in planes square to the edge.

The minimum over a continuous path is an envelope. A scan over the path's knots finds every valley of z_in(s); in
each valley that could be the deepest, dz_in/ds = 0 is solved by a guarded secant on the exact derivative, taken from
the tool's velocity at the entry point: with n the wheel's normal there, dz/ds = -(n · V) / (n · d).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.machine.pose import Pose, apply, apply_back, cross, dot
from gougeform.machine.solid import CORNER, FACE, WheelSolid
from gougeform.machine.sweep import Sweep

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_TABLE = 1024 * 65  # lines times knots scanned at once: tables stay in the processor's cache, memory stays bounded
_VALUE_DONE = 1e-9  # mm left in the minimum when a search stops
_PLACE_DONE = 1e-8  # and as a part of the path between two knots: keeps normals to 1e-8 rad
_STEPS = 120
_GUESS_TRUST = 0.02  # relative error allowed for the curvature that the scan's quartic gives
_NEVER = 1e30  # stands for "this pose does not touch the line" in the scan's table
_FAR = 1e6  # mm: no bar is this long, so a line that meets the wheel further out is all but parallel to it
_ON_RIM = 1e-7  # mm
_SIDE_MARGIN = 1.0  # mm: valleys this close to the end of the flat face are searched on the whole wheel
_CLOSER = 4  # times as many knots are scanned for those
_ROUGH = 0.3  # times the second difference of the scan: a larger fourth one makes such a valley one of them


@dataclass(frozen=True)
class Cut:
    """Where n lines end in the ground steel.

    z: (n,) mm along each line; +inf where no pose touches it. s: (n,) the pose that won. grind: (n,) which pass.
    surface: (n,) what of the wheel cut there, an index into `gougeform.machine.solid.SURFACES`. normal: (3, n) unit,
    out of the steel, in the tool frame. leave: (n,) mm along the line where it leaves the wheel again at that pose.
    """

    z: Floats
    s: Floats
    grind: NDArray[np.int8]
    surface: NDArray[np.int8]
    normal: Floats
    leave: Floats


@dataclass(frozen=True)
class Pass:
    """One grind: a path under a wheel, held back along the bar by `setback` mm (toward the tip)."""

    path: Sweep
    wheel: WheelSolid
    setback: float = 0.0

    @cached_property
    def scan_pose(self) -> Pose:
        """The poses at the path's knots."""
        return self.path.pose(self.path.knots)

    @cached_property
    def _close_knots(self) -> Floats:
        """Closer places: where face, corner and side of the wheel take turns, valleys lie close together."""
        knots = self.path.knots
        return np.linspace(knots[0], knots[-1], _CLOSER * (len(knots) - 1) + 1)

    @cached_property
    def _close_pose(self) -> Pose:
        return self.path.pose(self._close_knots)

    def cut(self, origin: Floats, direction: Floats, *, from_origin: bool = False) -> Cut:
        """End lines at this grind: origin + z·direction ((3, n) each, tool frame), coming out of the steel.

        They come from z = -∞, as the bar does from the handle, or with `from_origin` from z = 0 on, a place in the
        steel: then a wheel that lies wholly behind the origin does not count.
        """
        if not origin.shape[1]:
            none, no_code = np.zeros(0), np.zeros(0, np.int8)
            return Cut(none, none, no_code, no_code, np.zeros((3, 0)), none)
        origin = origin - np.array([0.0, 0.0, self.setback])[:, None]
        found = []
        chunk = max(_TABLE // len(self.path.knots), 1)
        for begin in range(0, origin.shape[1], chunk):
            part = slice(begin, begin + chunk)
            line, *rest = self._valleys(origin[:, part], direction[:, part], from_origin)
            found.append((line + begin, *rest))
        line, lo, hi, s, bend = (np.concatenate(column) for column in zip(*found, strict=True))
        if not len(line):  # no pose touches any of these lines
            n = origin.shape[1]
            nothing, never = np.full(n, np.nan), np.full(n, np.inf)
            return Cut(never, nothing, np.zeros(n, np.int8), np.zeros(n, np.int8), np.full((3, n), np.nan), -never)
        o, d = origin[:, line], direction[:, line]
        s = self._descend(o, d, lo, hi, s, bend, from_origin)
        z, leave, normal, surface, _ = self._enter(o, d, s, from_origin)
        z = np.where(z < _FAR, z, np.inf)
        if self.wheel.corner_radius == 0:
            self._on_rim(o, d, s, z, normal, surface)
        return _deepest(origin.shape[1], line, z, s, surface, normal, leave)

    def _on_rim(
        self, origin: Floats, direction: Floats, s: Floats, z: Floats, normal: Floats, surface: NDArray[np.int8]
    ) -> None:
        """Where the rim between face and side of a wheel without a corner radius cuts, set normal and surface.

        What a line sweeps is square to the line and to how it moves; neither face nor side is tangent to it.
        """
        with np.errstate(invalid="ignore"):
            across = self.path.pose(s).place(origin + z * direction)[1]
            rim = np.flatnonzero(np.abs(np.abs(across) - self.wheel.half_width) < _ON_RIM)
        if not len(rim):
            return
        moving = self.path.moving(s[rim])
        p = moving.pose.place(origin[:, rim] + z[rim] * direction[:, rim])
        face, side = self.wheel.face_normal(p), np.sign(p[1])
        swept = cross(np.stack([-face[2], np.zeros(len(rim)), face[0]]), moving.velocity(p))
        swept *= np.where(dot(swept, face) < 0, -1.0, 1.0)
        size = np.sqrt(dot(swept, swept))
        # Between the normals of face and side, or else the path ends there and one of the two is what cuts.
        true = np.flatnonzero((size > 0) & (swept[1] * side > 0))
        rim, swept = rim[true], swept[:, true] / size[true]
        normal[:, rim] = -apply_back(moving.pose.turn[:, :, true], swept)
        surface[rim] = CORNER

    def _scan(self, origin: Floats, direction: Floats, from_origin: bool, sides: bool, closer: bool) -> Floats:
        """(n, K) z_in of every line at every knot, or at the closer ones, on the face alone or with the sides."""
        pose, k = self._close_pose if closer else self.scan_pose, self.wheel.curvature
        turn, shift = pose.turn, pose.shift
        shared = bool((direction == direction[:, :1]).all())
        d = (direction[:, :1] if shared else direction).T
        ox, oz = (origin.T @ turn[i] + shift[i] for i in (0, 2))
        dx, dz = d @ turn[0], d @ turn[2]
        if sides:
            oy, dy = origin.T @ turn[1] + shift[1], d @ turn[1]
            o = np.stack([ox, oy, oz]).reshape(3, -1)
            every = np.stack([np.broadcast_to(i, ox.shape) for i in (dx, dy, dz)]).reshape(3, -1)
            z, leave, _, _ = self.wheel.crossing(o, every)
            return np.where(from_origin & (leave < 0), np.inf, z).reshape(ox.shape)
        if k == 0.0 or (not from_origin and (not shared or (dx >= 0).any())):
            z, leave = self.wheel.face_roots(ox, oz, dx, dz)
            return np.where(from_origin & (leave < 0), np.inf, z)
        # The same roots as `Wheel.face_roots`, with as few passes over the table as possible.
        if shared:
            b = origin.T @ (k * (turn[0] * dx + turn[2] * dz)) + (dx + k * (shift[0] * dx + shift[2] * dz))
        else:
            b = dx + k * (ox * dx + oz * dz)
        oz *= oz
        oz += ox * ox
        oz *= k
        oz += 2 * ox
        np.multiply(b, b, out=ox)
        ox -= (k * (dx * dx + dz * dz)) * oz
        with np.errstate(invalid="ignore", divide="ignore"):
            np.sqrt(ox, out=ox)
            ox -= b  # a times where the line leaves the wheel again
            oz /= ox
            if from_origin:
                oz[ox < 0] = np.inf
        return oz

    def _valleys(
        self, origin: Floats, direction: Floats, from_origin: bool, sides: bool = False, closer: bool = False
    ) -> tuple[Any, ...]:
        """Where the deepest cut of each line may lie.

        Returns, for every valley: the line, the bracket lo and hi, a first guess s, and the curvature d²z/ds² there.
        """
        z = self._scan(origin, direction, from_origin, sides, closer)
        z[~(np.abs(z) < _FAR)] = _NEVER
        last = z.shape[1] - 1
        rises = z[:, 1:] >= z[:, :-1]
        low = np.ones(z.shape, bool)
        low[:, :-1] = rises
        low[:, 1:] &= z[:, 1:] <= z[:, :-1]
        line, k = np.nonzero(low)
        here, before, after = z[line, k], z[line, np.maximum(k - 1, 0)], z[line, np.minimum(k + 1, last)]
        # A valley cannot be deeper than its lowest knot by more than the rise to its higher neighbour.
        rise = np.maximum(np.where(before < _NEVER, before, here), np.where(after < _NEVER, after, here)) - here
        keep = (here < _NEVER) & (here - rise <= z.min(1)[line])
        line, k, here = line[keep], k[keep], here[keep]
        if not closer:
            turn, shift = self.scan_pose.turn, self.scan_pose.shift
            o, d, at = origin[:, line], direction[:, line], turn[1][:, k]
            y = dot(at, o) + shift[1][k] + here * dot(at, d)
            off = np.unique(line[np.abs(y) > self.wheel.flat - _SIDE_MARGIN])
            rough = np.setdiff1d(line[_rough(z, line, k)], off)
            if len(off) or len(rough):
                stay = ~np.isin(line, np.concatenate([off, rough]))
                found = [self._brackets(self.path.knots, z, line[stay], k[stay])]
                for mine, at_side in ((off, True), (rough, False)):
                    if len(mine):
                        one, *rest = self._valleys(origin[:, mine], direction[:, mine], from_origin, at_side, True)
                        found.append((mine[one], *rest))
                return tuple(np.concatenate(column) for column in zip(*found, strict=True))
        return self._brackets(self._close_knots if closer else self.path.knots, z, line, k)

    def _brackets(self, knots: Floats, z: Floats, line: Ints, k: Ints) -> tuple[Any, ...]:
        """Bracket, first guess and curvature of valleys at knots k of lines: the quartic through five knots.

        Near the path's ends the five nearest serve, shifted inward; where not all five touch the line, a parabola.
        """
        step, last = knots[1] - knots[0], len(knots) - 1
        m = np.clip(k, 2, last - 2)
        a, b, c, d, e = (z[line, m + i] for i in (-2, -1, 0, 1, 2))
        five = np.maximum(np.maximum(np.maximum(a, b), np.maximum(d, e)), c) < _NEVER
        usable = five
        few = np.flatnonzero(~five)
        if len(few):
            m[few] = k[few]
            b[few], c[few], d[few] = (z[line[few], np.clip(k[few] + i, 0, last)] for i in (-1, 0, 1))
            usable = five | ((k > 0) & (k < last) & (b < _NEVER) & (d < _NEVER))
        one = np.where(five, (a - 8 * b + 8 * d - e) / 12, (d - b) / 2)
        two = np.where(five, (16 * (b + d) - a - e - 30 * c) / 12, b - 2 * c + d)
        three, four = np.where(five, (e - a) / 2 + b - d, 0.0), np.where(five, a + e - 4 * (b + d) + 6 * c, 0.0)
        here = (k - m).astype(float)  # from the middle of the five
        low, high = here - (k > 0), here + (k < last)
        x, bend = here, two
        for _ in range(3):
            slope = one + x * (two + x * (three / 2 + x * four / 6))
            bend = two + x * (three + x * four / 2)
            good = usable & (bend > 0)
            x = np.where(good, np.clip(x - slope / np.where(good, bend, 1.0), low, high), here)
        return (
            line,
            knots[np.maximum(k - 1, 0)],
            knots[np.minimum(k + 1, last)],
            knots[m] + x * step,
            np.where(usable & (bend > 0), bend / step**2, np.nan),
        )

    def _enter(
        self, origin: Floats, direction: Floats, s: Floats, from_origin: bool
    ) -> tuple[Floats, Floats, Floats, NDArray[np.int8], Floats]:
        """z_in, z_out, steel normal, surface and dz/ds of lines, each at its own place s on the path."""
        moving = self.path.moving(s)
        o, d = moving.pose.place(origin), apply(moving.pose.turn, direction)
        z, leave = self.wheel.face_roots(o[0], o[2], d[0], d[2])
        with np.errstate(invalid="ignore"):
            p = o + z * d
            off = np.flatnonzero(np.abs(p[1]) > self.wheel.flat)
            normal, surface = self.wheel.face_normal(p), np.full(len(s), FACE, np.int8)
        # Where the line leaves matters too: the wheel may end at its side before the stock does.
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            side = (np.sign(d[1]) * self.wheel.half_width - o[1]) / d[1]
        leave = np.where(d[1] != 0, np.minimum(leave, side), leave)
        if len(off):
            z[off], leave[off], normal[:, off], surface[off] = self.wheel.crossing(o[:, off], d[:, off])
            with np.errstate(invalid="ignore"):
                p = o + z * d
        if from_origin:
            z = np.where(leave < 0, np.inf, z)
        with np.errstate(invalid="ignore", divide="ignore"):
            rate = np.where(np.isfinite(z), -dot(normal, moving.velocity(p)) / dot(normal, d), np.nan)
            steel = -apply_back(moving.pose.turn, normal)  # of a line that is missed there is none
        return z, leave, steel, surface, rate

    def _descend(
        self,
        origin: Floats,
        direction: Floats,
        lo: Floats,
        hi: Floats,
        s: Floats,
        bend: Floats,
        from_origin: bool,
    ) -> Floats:
        """The lowest place in each bracket [lo, hi], from a guess s: a secant on dz/ds kept inside the bracket.

        Where dz/ds jumps (a vee's floor ends, the wheel's side lets a line go) the secant alone would stop short, and
        its last step may fall off: there the whole bracket must be narrow, and the lowest place seen counts.
        """
        first, last = self.path.knots[0], self.path.knots[-1]
        width = self.path.knots[1] - first
        lo, hi, s, expected, bend = lo.copy(), hi.copy(), s.copy(), bend, bend.copy()
        z_lo, z_best, best, jumps = np.full(len(s), np.inf), np.full(len(s), np.inf), s.copy(), np.zeros(len(s), bool)
        s_old, rate_old = np.full(len(s), np.nan), np.full(len(s), np.nan)
        a = np.arange(len(s))
        for turn in range(_STEPS):
            now = s[a]
            z, _, _, _, rate = self._enter(origin[:, a], direction[:, a], now, from_origin)
            lower = z < z_best[a]
            z_best[a], best[a] = np.where(lower, z, z_best[a]), np.where(lower, now, best[a])
            ended = ((now <= first) & (rate >= 0)) | ((now >= last) & (rate <= 0))
            # A miss counts as high ground on its side of the lowest place seen.
            falls = np.where(np.isfinite(rate), (rate < 0) & (z <= z_lo[a] + _VALUE_DONE), now < best[a])
            lo[a], hi[a] = np.where(falls, now, lo[a]), np.where(falls, hi[a], now)
            z_lo[a] = np.where(falls & np.isfinite(z), z, z_lo[a])
            with np.errstate(invalid="ignore", divide="ignore"):
                slope = (rate - rate_old[a]) / (now - s_old[a])
                slope = np.where(np.isfinite(slope) & (slope > 0), slope, bend[a])
                step = now - rate / slope
            middle = (lo[a] + hi[a]) / 2
            # Every fourth step halves the bracket, so that no valley takes long.
            good = (step >= lo[a]) & (step <= hi[a]) & (slope > 0) & (turn % 4 != 3)
            nxt = np.where(good, step, middle)
            # The path's ends belong to it: where the ground still falls toward one, go there.
            nxt = np.where(~good & (step < first) & (lo[a] == first), first, nxt)
            nxt = np.where(~good & (step > last) & (hi[a] == last), last, nxt)
            moved = np.abs(nxt - now)
            # A secant step leaves about the product of the last two errors, relative to the knot width.
            trust = np.fmin(np.abs(now - s_old[a]) / width, _GUESS_TRUST if turn == 0 else 1.0)
            left = moved * trust
            with np.errstate(invalid="ignore"):
                smooth = np.abs(slope - expected[a]) < 0.75 * expected[a]
                known = smooth | (np.abs(rate) * (hi[a] - lo[a]) < _VALUE_DONE)
                near = good & known & (left < _PLACE_DONE * width) & (np.abs(rate) * moved < _VALUE_DONE)
            jumps[a] |= ~smooth
            tight = hi[a] - lo[a] < 1e-15 * (1 + np.abs(now))
            s_old[a], rate_old[a], bend[a] = now, rate, slope
            s[a] = np.where(ended | tight, now, nxt)
            a = a[~(ended | tight | near)]
            if not len(a):
                break
        # Only there is the last step worth less than the best place seen.
        if jumps.any():
            z = self._enter(origin[:, jumps], direction[:, jumps], s[jumps], from_origin)[0]
            s[jumps] = np.where(z <= z_best[jumps], s[jumps], best[jumps])
        return s


def _rough(z: Floats, line: Ints, k: Ints) -> NDArray[np.bool_]:
    """Whether z (lines, K) changes round the valleys at knots k of lines too fast for the knots to show them all.

    Where the outline of a traced path has a corner in its bend, as a vee has where its flanks begin, or near the end of
    what a jig can do, there may be two valleys beside one knot. Then the fourth difference is not small.
    """
    m = np.clip(k, 3, z.shape[1] - 4)
    seven = np.stack([z[line, m + i] for i in range(-3, 4)])
    second = np.diff(seven, 2, axis=0)
    fourth = np.abs(np.diff(second, 2, axis=0))
    most = np.maximum(np.maximum(fourth[0], fourth[1]), fourth[2])
    return (seven.max(0) < _NEVER) & (most > _ROUGH * np.abs(second).max(0)) & (most > _VALUE_DONE)


def _deepest(n: int, line: Ints, z: Floats, s: Floats, surface: NDArray[np.int8], normal: Floats, leave: Floats) -> Cut:
    """For each of n lines the deepest of its candidate cuts."""
    order = np.lexsort((z, line))
    first = order[np.unique(line[order], return_index=True)[1]]
    at = line[first]
    out = Cut(
        np.full(n, np.inf),
        np.full(n, np.nan),
        np.zeros(n, np.int8),
        np.zeros(n, np.int8),
        np.full((3, n), np.nan),
        np.full(n, -np.inf),
    )
    out.z[at], out.s[at], out.surface[at] = z[first], s[first], surface[first]
    out.normal[:, at], out.leave[at] = normal[:, first], leave[first]
    return out


def mirrored_cut(cut: Cut, where: NDArray[np.bool_]) -> Cut:
    """The cuts with those `where` (n,) mirrored to the other side of a tool that is alike on both.

    Places along its paths run from minus to plus the same, so that they change their sign.
    """
    sign = np.where(where, -1.0, 1.0)
    normal = cut.normal.copy()
    normal[0] *= sign
    return Cut(cut.z, sign * cut.s, cut.grind, cut.surface, normal, cut.leave)


@dataclass(frozen=True)
class Ground:
    """The steel left by one or more grinds: at every line the deepest of them."""

    passes: tuple[Pass, ...]

    def cut(self, origin: Floats, direction: Floats, *, from_origin: bool = False) -> Cut:
        """End lines origin + z·direction, (3, n) mm and unit vectors, in the steel left by all grinds (see `Pass`)."""
        best = self.passes[0].cut(origin, direction, from_origin=from_origin)
        for number, one in enumerate(self.passes[1:], start=1):
            cut = one.cut(origin, direction, from_origin=from_origin)
            deeper = cut.z < best.z
            best = Cut(
                np.where(deeper, cut.z, best.z),
                np.where(deeper, cut.s, best.s),
                np.where(deeper, np.int8(number), best.grind),
                np.where(deeper, cut.surface, best.surface),
                np.where(deeper, cut.normal, best.normal),
                np.where(deeper, cut.leave, best.leave),
            )
        return best

    def heights(self, points: Floats) -> Cut:
        """h(x, y): the cut along the bar at section points (n, 2) mm."""
        p = np.asarray(points, float)
        origin = np.stack([p[:, 0], p[:, 1], np.zeros(len(p))])
        return self.cut(origin, np.broadcast_to(np.array([0.0, 0.0, 1.0])[:, None], origin.shape))
