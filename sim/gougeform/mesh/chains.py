"""Chains of vertices along the rays of the fan: on flute, outline, creases and ridges, and close enough between.

A crease is where one grind hands over to another. A ridge is where within one grind the pose that cut the steel
jumps: the path comes back over ground that it cut before. Both get a vertex on every ray they cross.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.ground import Cut, Ground
from gougeform.measure.columns import LEAST_GAP
from gougeform.measure.fan import Columns, joined
from gougeform.measure.winners import Height, hand_overs

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]

_SNAP = 2e-3  # mm: a block of one grind shorter than this along a ray is left out
_LOOKS = (9, 33, 129)  # places along a column where hand-overs are looked for; more where one was overlooked
_ROW_SHARE = 0.22  # of the tolerance along a column: a hollow face's facets all lie ahead of it, which adds volume
_JUMP = 0.04  # of a path's parameter: more between neighbouring vertices may mean a ridge between them
_LEAST_RIDGE = 0.01  # rad: flatter ridges are left to the rows; a ridge stands out of the steel, so the slope falls
_RIDGE_STEPS = 10
_STEP = 0.3  # mm over less than LEAST_GAP: no slope but a step


@dataclass(frozen=True, eq=False)
class Chains:
    """N vertices on columns, column after column.

    column, t: (N,) where. z: (N,) mm. grind: (N,) which grind made the stretch after each, -1 after a column's last.
    won: (N,) which grind cut there; s: (N,) its pose; slope: (N,) dz/dt along the
    column. ridge: (N,) whether it lies on one.
    """

    columns: Columns
    column: Ints
    t: Floats
    z: Floats
    grind: Ints
    won: Ints
    s: Floats
    slope: Floats
    ridge: Flags

    @property
    def points(self) -> Floats:
        """(N, 2) mm in the section."""
        return self.columns.point(self.column, self.t)

    @property
    def start(self) -> Ints:
        """(n + 1,) the first vertex of every column, and N."""
        return np.searchsorted(self.column, np.arange(len(self.columns) + 1))

    def _data(self) -> dict[str, Any]:
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name != "columns"}

    def with_rows(self, after: Ints, t: Floats, cut: Cut, ridge: bool = False) -> tuple[Chains, Ints]:
        """One more vertex in each of the stretches that begin at vertices `after`, at t with its cut, all (m,).

        Also returns the vertices at which the parts begin.
        """
        new = vertices(self.columns, self.column[after], t, self.grind[after], cut)
        new["ridge"] |= ridge
        data = {name: np.insert(value, after + 1, new[name]) for name, value in self._data().items()}
        first = after + np.arange(len(after))
        return Chains(self.columns, **data), np.sort(np.concatenate([first, first + 1]))

    @property
    def overlooked(self) -> Ints:
        """Columns with a vertex inside a stretch of one grind that another grind has cut."""
        same = (self.grind[1:] == self.grind[:-1]) & (self.grind[1:] >= 0)
        inside = np.flatnonzero(same & (self.won[1:] != self.grind[1:])) + 1
        return np.unique(self.column[inside])

    def without(self, columns: Ints) -> Chains:
        """The other columns."""
        stay = np.ones(len(self.columns), bool)
        stay[columns] = False
        mine = stay[self.column]
        data = {name: value[mine] for name, value in self._data().items()}
        data["column"] = (np.cumsum(stay) - 1)[data["column"]]
        return Chains(self.columns.take(stay), **data)

    def with_columns(self, other: Chains) -> Chains:
        """Both sets of columns, in order of phi."""
        phi = np.concatenate([self.columns.phi, other.columns.phi])
        place = np.empty(len(phi), np.intp)
        place[np.argsort(phi, kind="stable")] = np.arange(len(phi))
        mine, its = self._data(), other._data()
        its["column"] = its["column"] + len(self.columns)
        data = {name: np.concatenate([mine[name], its[name]]) for name in mine}
        data["column"] = place[data["column"]]
        order = np.argsort(data["column"], kind="stable")
        return Chains(joined(self.columns, other.columns), **{name: value[order] for name, value in data.items()})


def reached(ground: Ground, points: Floats) -> Cut:
    """The cut at section points (n, 2). Raises InputError where the wheel never touches the bar."""
    cut = ground.heights(points)
    missed = np.flatnonzero(~np.isfinite(cut.z))
    if len(missed):
        x, y = points[missed[0]]
        raise InputError(
            "grind",
            f"no pose of the path brings the wheel to the bar at x = {x:.2f}, y = {y:.2f} mm,"
            " so the ground surface has a hole there",
            "a wider wheel, a longer path, or another setting of the jig",
        )
    return cut


def vertices(columns: Columns, column: Ints, t: Floats, grind: Ints, cut: Cut) -> dict[str, Any]:
    """The data of `Chains` for vertices with the given cuts, all (m,)."""
    way = columns.outer[column] - columns.inner[column]
    # On an upright wall the slope is infinite, and no ridge is looked for there.
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = -(cut.normal[0] * way[:, 0] + cut.normal[1] * way[:, 1]) / cut.normal[2]
    return {
        "column": column,
        "t": t,
        "z": cut.z,
        "grind": grind,
        "won": cut.grind.astype(np.intp),
        "s": cut.s,
        "slope": slope,
        "ridge": np.zeros(len(t), bool),
    }


def first_chains(columns: Columns, ground: Ground, alone: list[Height], tolerance: float) -> Chains:
    """Chains with vertices on flute, outline, hand-overs and ridges, and rows between them.

    Stretches that lie too far off the surface are halved until none does, or they are too short to be halved.
    """
    chains = _looked_for(columns, ground, alone, tolerance, _LOOKS[0])
    for looks in _LOOKS[1:]:
        wrong = chains.overlooked
        if not len(wrong):
            break
        again = _looked_for(chains.columns.take(wrong), ground, alone, tolerance, looks)
        chains = chains.without(wrong).with_columns(again)
    return chains


def _looked_for(columns: Columns, ground: Ground, alone: list[Height], tolerance: float, looks: int) -> Chains:
    curvature = max(one.wheel.curvature for one in ground.passes)
    # Rows far enough apart that the wheel's own hollow between them takes no more than their share.
    spacing = np.sqrt(8 * 0.8 * _ROW_SHARE * tolerance / max(curvature, 1e-4))
    column, t, grind = _blocks(columns, alone, looks)
    ends = vertices(columns, column, t, grind, reached(ground, columns.point(column, t)))
    inner = np.flatnonzero(grind >= 0)
    step = np.diff(columns.point(column, t), axis=0)[inner]
    length = np.sqrt((step**2).sum(1) + (ends["z"][inner + 1] - ends["z"][inner]) ** 2)
    rows = np.maximum(np.ceil(length / spacing), 1).astype(np.intp) - 1
    extra = np.repeat(inner, rows)
    data = ends
    if len(extra):
        number = np.arange(len(extra)) - np.repeat(np.cumsum(rows) - rows, rows) + 1
        new_t = t[extra] + (t[extra + 1] - t[extra]) * number / np.repeat(rows + 1, rows)
        cut = reached(ground, columns.point(column[extra], new_t))
        new = vertices(columns, column[extra], new_t, grind[extra], cut)
        data = {name: np.concatenate([ends[name], new[name]]) for name in ends}
        order = np.lexsort((data["t"], data["column"]))
        data = {name: value[order] for name, value in data.items()}
    chains = Chains(columns, **data)
    # A stretch may hold two ridges.
    for _ in range(2):
        chains = _with_ridges(chains, ground)
    return _refined(chains, ground, tolerance)


def _refined(chains: Chains, ground: Ground, tolerance: float) -> Chains:
    fresh = np.flatnonzero(chains.grind >= 0)
    while len(fresh):
        points, z, t = chains.points, chains.z, chains.t
        step = np.hypot(*(points[fresh + 1] - points[fresh]).T)
        _no_step(points[fresh], step, np.abs(z[fresh + 1] - z[fresh]))
        fresh = fresh[(np.hypot(step, z[fresh + 1] - z[fresh]) > 2 * LEAST_GAP) & (step > LEAST_GAP / 2)]
        if not len(fresh):
            break
        cut = reached(ground, (points[fresh] + points[fresh + 1]) / 2)
        off = np.abs(cut.z - (z[fresh] + z[fresh + 1]) / 2) * np.abs(cut.normal[2])
        split = np.flatnonzero(off > _ROW_SHARE * tolerance)
        fresh = fresh[split]
        chains, fresh = chains.with_rows(fresh, (t[fresh] + t[fresh + 1]) / 2, _some(cut, split))
    return chains


def _no_step(points: Floats, across: Floats, rise: Floats) -> None:
    steps = np.flatnonzero((across < LEAST_GAP) & (rise > _STEP))
    if len(steps):
        (x, y), high = points[steps[0]], rise[steps[0]]
        raise InputError(
            "grind",
            f"the ground surface has a step, at least {high:.1f} mm high, at x = {x:.2f}, y = {y:.2f} mm: the wheel"
            " passes there without cutting, and would leave steel standing ahead of the cut beside it",
            "a shorter wing, less roll, or another setting of the jig",
        )


def _some(cut: Cut, which: Ints) -> Cut:
    return Cut(*(getattr(cut, f.name)[..., which] for f in fields(cut)))


def _with_ridges(chains: Chains, ground: Ground) -> Chains:
    """Chains with a vertex on each ridge between two neighbouring vertices."""
    a = np.flatnonzero(chains.grind >= 0)
    own = (chains.won[a] == chains.grind[a]) & (chains.won[a + 1] == chains.grind[a])
    a = a[own & ~chains.ridge[a] & ~chains.ridge[a + 1]]
    low, high = ({name: getattr(chains, name)[i] for name in ("t", "z", "s", "slope")} for i in (a, a + 1))
    for step in range(_RIDGE_STEPS + 1):
        # As the bracket shrinks, pose and slope of its ends come together wherever there is no ridge.
        length = chains.columns.length[chains.column[a]]
        with np.errstate(invalid="ignore"):
            turn = np.arctan(low["slope"] / length) - np.arctan(high["slope"] / length)
            stay = np.flatnonzero((np.abs(low["s"] - high["s"]) > _JUMP) & ((turn > _LEAST_RIDGE) | (step < 3)))
        a, length = a[stay], length[stay]
        low, high = ({name: value[stay] for name, value in end.items()} for end in (low, high))
        if not len(a):
            return chains
        t = _meeting(low, high)
        if step == _RIDGE_STEPS:
            break
        # Where the tangents of both sides meet, and a little toward the end that is further off, to draw that one in.
        t = t + 0.1 * (np.where(t - low["t"] > high["t"] - t, low["t"], high["t"]) - t)
        column = chains.column[a]
        now = vertices(chains.columns, column, t, chains.grind[a], reached(ground, chains.columns.point(column, t)))
        lower = np.abs(now["s"] - low["s"]) < np.abs(now["s"] - high["s"])
        for name in low:
            low[name] = np.where(lower, now[name], low[name])
            high[name] = np.where(lower, high[name], now[name])
    found = (high["t"] - low["t"]) * length < LEAST_GAP
    begin, end = chains.t[a], chains.t[a + 1]
    at_low, at_high = ((np.abs(t - x) * length < LEAST_GAP / 2) for x in (begin, end))
    new = np.flatnonzero(found & ~at_low & ~at_high)
    # So close to a vertex that one counts as the ridge's, unless it is the chain's end or on a crease.
    ridge = chains.ridge.copy()
    plain = np.concatenate([[False], chains.grind[1:] == chains.grind[:-1]])
    for near in (a[found & at_low], a[found & at_high] + 1):
        ridge[near[plain[near]]] = True
    chains = Chains(chains.columns, **(chains._data() | {"ridge": ridge}))
    if not len(new):
        return chains
    cut = reached(ground, chains.columns.point(column[new], t[new]))
    return chains.with_rows(a[new], t[new], cut, ridge=True)[0]


def _meeting(low: dict[str, Floats], high: dict[str, Floats]) -> Floats:
    """T where two tangents meet, kept inside the bracket; its middle where they do not meet there."""
    width = high["t"] - low["t"]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = (high["z"] - low["z"] - high["slope"] * width) / (low["slope"] - high["slope"]) / width
    return low["t"] + width * np.where((part > 0) & (part < 1), part, 0.5)


def _blocks(columns: Columns, alone: list[Height], looks: int) -> tuple[Ints, Floats, Ints]:
    """Ends of the stretches that one grind made on each column: column, t, and the grind after each (-1: none)."""
    n, length = len(columns), columns.length
    body = np.flatnonzero(length > 0)
    column, t, grind = [np.arange(n), body], [np.zeros(n), np.ones(len(body))], [np.full(n, -1), np.full(len(body), -1)]
    if len(alone) == 1:
        grind[0][body] = 0
    else:
        # Closer together near edge and heel: narrow lands.
        places = (1 - np.cos(np.linspace(0, np.pi, looks))) / 2
        found = hand_overs(lambda i, s: columns.point(body[i], s), len(body), places, alone)
        first = found.first.copy()
        start = np.searchsorted(found.line, np.arange(len(body) + 1))
        for k, c in enumerate(body):
            here = slice(start[k], start[k + 1])
            begin, ends = _without_short(first[k], found.t[here], found.after[here], _SNAP / length[c])
            grind[0][c] = begin
            for place, after in ends:
                column.append(np.array([c]))
                t.append(np.array([place]))
                grind.append(np.array([after]))
    flat = [np.concatenate(x) for x in (column, t, grind)]
    order = np.lexsort((flat[1], flat[0]))
    return flat[0][order], flat[1][order], flat[2][order]


def _without_short(first: int, t: Floats, after: Ints, least: float) -> tuple[int, list[tuple[float, int]]]:
    """Hand-overs of one line without stretches shorter than `least`."""
    begin = int(first)
    out: list[tuple[float, int]] = []
    for place, grind in zip(t.tolist(), after.tolist(), strict=True):
        if place < least:
            begin = grind
        elif place <= 1 - least:
            if out and place - out[-1][0] < least:
                place = out.pop()[0]
            if grind != (out[-1][1] if out else begin):
                out.append((place, grind))
    return begin, out
