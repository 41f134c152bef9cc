"""Behind its full depth the flute runs out: the same cross-section shrinks toward the top of the bar.

At depth share w (1 … 0) the void's section is T + w (C - T), with C the flute's curve and T = (0, y_top) the top of the
bar, so that shares are nested and the lips close in on T. Along the bar w follows an elliptic arc that leaves the
full depth without a kink, as where a round cutter is lifted out. This is a choice of this program: how a flute runs
out differs from bar to bar and has no part in the grind.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section
from gougeform.errors import InputError
from gougeform.measure.columns import LEAST_GAP
from gougeform.measure.fan import SeenCurve, angle_from_up
from gougeform.numerics.roots import bracketed_roots
from gougeform.numerics.strips import zipped

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_SAMPLES = 2048
_TABLE = 513
_LEAST_STEPS = 8


@dataclass(frozen=True, eq=False)
class RunOut:
    """vertices: (n, 3) mm with z from 0 (full depth) to -length; the first ones are the flute's section as given.

    faces: (m, 3) facing out of the steel. left, right: vertices along the lips, from full depth to T (shared).
    off: largest distance (mm) of a facet from the surface, measured square to it.
    """

    vertices: Floats
    faces: Ints
    left: Ints
    right: Ints
    off: float


@dataclass(frozen=True, eq=False)
class _Shape:
    section: Section
    length: float

    @cached_property
    def top(self) -> Floats:
        """T, (2,) mm."""
        return np.array([0.0, float(self.section.outline.point(np.zeros(1))[0, 1])])

    @cached_property
    def curve(self) -> SeenCurve:
        """The flute as seen from T, going on above the bar as far as it can be told apart from there."""
        s = self.section
        lip = max(-s.u_left, s.u_right)
        half = np.concatenate([np.linspace(0.0, lip, _SAMPLES), np.linspace(lip, s.flute.reach, _SAMPLES)[1:]])
        phi = angle_from_up(s.flute_point(half) - self.top)
        bad = np.flatnonzero(np.diff(phi) <= 0)
        # On the last of a closed curve the direction straight up would be both 0 and a full turn.
        stop = int(bad[0]) + 1 if len(bad) else len(half)
        if half[stop - 1] < lip:
            raise self._folded("flute", "the flute folds back below its lips")
        half, phi = half[:stop], phi[:stop]
        return SeenCurve(
            np.concatenate([-half[:0:-1], half]),
            np.concatenate([2 * np.pi - phi[:0:-1], phi]),
            s.flute_point,
            s.flute_tangent,
        )

    def _folded(self, field: str, problem: str) -> InputError:
        return InputError(
            field,
            f"{problem} as seen from the top of the bar, so its run-out cannot be meshed",
            "a flute that opens upward, or an outline without hollows beside its top",
        )

    def place(self, points: Floats) -> Floats:
        """(n,) places on the flute in the same direction from T as points (n, 2)."""
        phi = angle_from_up(points - self.top)
        if phi.min() < self.curve.phi[0] or phi.max() > self.curve.phi[-1]:
            raise self._folded("bar", "the outline rises above the flute's curve")
        return self.curve.at(phi, self.top)

    def share(self, points: Floats) -> Floats:
        """(n,) depth share w of the section that goes through points (n, 2), none of them T."""
        c = self.section.flute_point(self.place(points))
        return np.hypot(*(points - self.top).T) / np.hypot(*(c - self.top).T)

    def back(self, share: Floats) -> Floats:
        """(n,) mm behind full depth where the depth share is w: the arc of a circle of 5 depths over 3, stretched."""
        return self.length / 3 * np.sqrt(np.maximum((1 - share) * (9 + share), 0.0))

    def share_at(self, back: Floats) -> Floats:
        """The inverse of `back`."""
        return np.sqrt(np.maximum(25 - 9 * (back / self.length) ** 2, 16.0)) - 4


@dataclass(frozen=True, eq=False)
class _Lip:
    """One lip's way to the top: outline places v, depth shares and (curved pieces only) arc lengths, w falling."""

    shape: _Shape
    v: Floats
    share: Floats
    arc: Floats
    corners: Floats
    corner_share: Floats

    def place(self, share: Floats) -> Floats:
        """Outline places v (n,) at depth shares (n,)."""
        i = np.clip(np.searchsorted(-self.share, -share, side="right") - 1, 0, len(self.v) - 2)
        low, high = self.v[i], self.v[i + 1]

        def off(which: Ints, v: Floats) -> Floats:
            return self._share(v) - share[which]

        v = bracketed_roots(off, low, high, self.share[i] - share, self.share[i + 1] - share, width=1e-15, small=1e-14)
        for corner, at in zip(self.corners, self.corner_share, strict=True):
            v[share == at] = corner
        return v

    def _share(self, v: Floats) -> Floats:
        return _share_on_outline(self.shape, v)


def _share_on_outline(shape: _Shape, v: Floats) -> Floats:
    point = shape.section.outline.point(v)
    out = np.zeros(len(v))
    away = np.flatnonzero(np.hypot(*(point - shape.top).T) > 1e-12)
    out[away] = shape.share(point[away])
    return out


def _lip(shape: _Shape, side: int) -> _Lip:
    s, outline = shape.section, shape.section.outline
    begin, end = (s.v_left, 0.0) if side < 0 else (s.v_right, float(outline.count))
    corners = outline.breaks[(outline.breaks > min(begin, end) + 1e-9) & (outline.breaks < max(begin, end) - 1e-9)]
    corners = corners[::side]
    nodes = np.concatenate([[begin], corners, [end]])
    each = max(3, _TABLE // (len(nodes) - 1))
    v = np.concatenate([np.linspace(a, b, each)[:-1] for a, b in pairwise(nodes)] + [[end]])
    share = _share_on_outline(shape, v)
    share[0], share[-1] = 1.0, 0.0
    if not (np.diff(share) < 0).all():
        raise shape._folded("bar", "the outline beside the flute folds back")
    step = np.hypot(*np.diff(outline.point(v), axis=0).T)
    piece = np.floor((v[:-1] + v[1:]) / 2).astype(np.intp)
    arc = np.concatenate([[0.0], np.cumsum(np.where(outline.radius[piece] > 0, step, 0.0))])
    return _Lip(shape, v, share, arc, corners, share[np.searchsorted(side * v, side * corners)])


def build_run_out(section: Section, u: Floats, length: float, step: float, tolerance: float) -> RunOut:
    """The run-out's mesh behind flute places u (n,) from lip to lip (u = 0 among them), `length` mm long.

    step: longest chord (mm) of a curved outline. Raises InputError where the sections do not lie inside one another.
    """
    shape = _Shape(section, length)
    lips = (_lip(shape, -1), _lip(shape, 1))
    fine = 1.0
    while True:
        out = _mesh(shape, lips, u, step, tolerance, fine)
        if out.off <= tolerance:
            return out
        fine *= 1.5
        if fine > 100:
            raise InputError(
                "tolerance", f"given {tolerance:g} mm: the run-out cannot be meshed that closely", "a larger tolerance"
            )


def _mesh(shape: _Shape, lips: tuple[_Lip, _Lip], u: Floats, step: float, tolerance: float, fine: float) -> RunOut:
    section, top = shape.section, shape.top
    start = section.flute_point(u)
    start[0], start[-1] = section.lip(-1), section.lip(1)
    reach = float(np.hypot(*(start - top).T).max())
    # Radius of the arc where it leaves full depth, in the plane through T where it is longest.
    bend = 10 * shape.length**2 / (18 * reach)
    along = min(np.sqrt(2 * bend * tolerance), shape.length / _LEAST_STEPS) / fine
    share = _shares(shape, lips, along, step)
    v_left, v_right = (lip.place(share[1:-1]) for lip in lips)
    on_left, on_right = section.outline.point(v_left), section.outline.point(v_right)
    u_left, u_right = shape.place(on_left), shape.place(on_right)
    subsets, sag, chord = _subsets(start, u)
    tight = float(((top - start) * section.flute_normal(u)).sum(1).min())
    if tight <= 0:
        raise shape._folded("flute", "the flute folds back")
    gap = np.minimum(share[:-2] - share[1:-1], share[1:-1] - share[2:]) * tight
    vertices = [np.column_stack([start, np.zeros(len(u))])]
    rings, keys = [np.arange(len(u))], [_fraction(u, u)]
    count = len(u)
    for k, w in enumerate(share[1:-1]):
        # Chords of a ring must stay clear of the rings beside it, or the nested sections would cross.
        fits = (w * sag <= min(gap[k] / 5, tolerance / (4 * fine))) & (w * chord <= reach / 10)
        inner = subsets[int(np.flatnonzero(fits | (np.arange(len(sag)) == 0))[-1])]
        part = _fraction(u, u[inner])
        place = np.where(part < 0, -part * u_left[k], part * u_right[k])
        points = np.vstack([on_left[k], top + w * (section.flute_point(place) - top), on_right[k]])
        vertices.append(np.column_stack([points, np.full(len(points), -shape.back(w))]))
        rings.append(count + np.arange(len(points)))
        keys.append(np.concatenate([[-1.0], part, [1.0]]))
        count += len(points)
    vertices.append(np.array([[0.0, top[1], -shape.length]]))
    rings.append(np.array([count]))
    keys.append(np.zeros(1))
    points = np.concatenate(vertices)
    faces = _between_rings(rings, keys)
    return RunOut(
        points,
        faces,
        np.array([r[0] for r in rings]),
        np.array([r[-1] for r in rings]),
        _measured(shape, points, faces),
    )


def _fraction(u: Floats, some: Floats) -> Floats:
    """Places as parts of the way from the floor to the lip, -1 … 1."""
    return np.where(some < 0, -some / u[0], some / u[-1])


def _shares(shape: _Shape, lips: tuple[_Lip, _Lip], along: float, step: float) -> Floats:
    """Depth shares of the rings from 1 to 0: through every corner, in even steps of length or outline between."""
    grid = np.unique(
        np.concatenate([np.linspace(0, 1, _TABLE), np.linspace(0, 1, _TABLE) ** 2, *(lip.share for lip in lips)])
    )
    grid = grid[::-1]
    need = np.abs(np.diff(shape.back(grid))) / along
    for lip in lips:
        arc = np.interp(-grid, -lip.share, lip.arc)
        need = np.maximum(need, np.abs(np.diff(arc)) / step)
    count = np.concatenate([[0.0], np.cumsum(need)])
    fixed = np.unique(np.concatenate([[0.0, 1.0], *(lip.corner_share for lip in lips)]))[::-1]
    # Corners of both sides at nearly the same share, or nearly at lip or top, are one.
    reach = max(float(np.hypot(*(lip.shape.section.lip(1) - shape.top))) for lip in lips)
    kept = [1.0]
    for one in fixed[1:-1]:
        if (kept[-1] - one) * reach > LEAST_GAP and one * reach > LEAST_GAP:
            kept.append(float(one))
    at = np.interp(-np.array([*kept, 0.0]), -grid, count)
    out = [np.ones(1)]
    for low, high, end in zip(at[:-1], at[1:], [*kept[1:], 0.0], strict=True):
        n = max(1, int(np.ceil(high - low)))
        inside = np.interp(low + (high - low) * np.arange(1, n) / n, count, grid)
        out += [inside, np.array([end])]
    return np.concatenate(out)


def _subsets(point: Floats, u: Floats) -> tuple[list[Ints], Floats, Floats]:
    """Every 2nd, 4th, … of the flute's places (both lips left out), with sagitta and length (mm) of their chords."""
    middle, last = int(np.argmin(np.abs(u))), len(u) - 1
    subsets, sags, chords = [], [], []
    stride = 1
    while stride <= max(middle, last - middle):
        inner = np.arange(middle % stride, last, stride)
        inner = inner[(inner > stride // 2) & (inner < last - stride // 2)]
        whole = np.concatenate([[0], inner, [last]])
        a, b, c = point[whole[:-1]], point[whole[1:]], point[(whole[:-1] + whole[1:]) // 2]
        size = np.hypot(*(b - a).T)
        cross = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        subsets.append(inner)
        sags.append(float((np.abs(cross) / size).max()))
        chords.append(float(size.max()))
        stride *= 2
    return subsets, np.array(sags), np.array(chords)


def _between_rings(rings: list[Ints], keys: list[Floats]) -> Ints:
    def flat(pick: slice) -> tuple[Ints, Ints, Floats]:
        some, key = rings[pick], keys[pick]
        run = np.repeat(np.arange(len(some)), [len(r) for r in some])
        return np.concatenate(some), run, (np.concatenate(key) + 1) / 2

    left, right = flat(slice(0, -1)), flat(slice(1, None))
    return zipped(*left, *right, np.zeros(len(rings) - 1, bool))[0]


def _measured(shape: _Shape, vertices: Floats, faces: Ints) -> float:
    """Largest distance (mm) of the middles of edges and faces from the surface, measured square to it."""
    corner = vertices[faces]
    middle = np.concatenate([(corner[:, [0, 1, 2]] + corner[:, [1, 2, 0]]).reshape(-1, 3) / 2, corner.mean(1)])
    point, back = middle[:, :2], -middle[:, 2]
    off = point - shape.top
    place = shape.curve.at(np.clip(angle_from_up(off), shape.curve.phi[0], shape.curve.phi[-1]), shape.top)
    share = np.hypot(*off.T) / np.hypot(*(shape.section.flute_point(place) - shape.top).T)
    across = np.abs(share - shape.share_at(back)) * np.abs((off * shape.section.flute_normal(place)).sum(1)) / share
    behind = np.abs(back - shape.back(np.minimum(share, 1.0)))
    # The distances along two axes give the one square to the surface, which is flat over so short a way.
    return float((across * behind / np.maximum(np.hypot(across, behind), 1e-300)).max())
