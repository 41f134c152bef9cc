"""The bar of a scan as a prism: its axis, and its section as outline and flute, from all points behind the grind."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.take.curves import FLUTES, OUTLINES, Family
from gougeform.take.fits import Laid, fit_flute, fit_outline
from gougeform.take.known import Known, solved
from gougeform.take.mesh import ScannedMesh
from gougeform.take.section import TakenSection

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_MOST_POINTS = 4000  # of the section that are fitted at once
_WINDOW = (2.2, 4.2)  # bar sizes behind the tip where the bar is taken to be fluted and not ground
_FINE = 1e-4  # mm: numbers in a file are no better


@dataclass(frozen=True, eq=False)
class Prism:
    """The section found: families with parameters, web, and how the scan lies in the tool frame (z not yet)."""

    outline: Family
    bar: Floats
    flute: Family
    form: Floats
    web: float
    off: dict[str, Known]
    noise: float
    fits: tuple[tuple[Laid, ...], tuple[Laid, ...]]

    @property
    def floor(self) -> float:
        """Height of the flute's floor over the axis, mm."""
        return -float(self.bar[0]) / 2 + self.web

    def taken(self) -> TakenSection:
        """The section as a drawing's is: the fields of bar and flute."""
        bar = {"outline": self.outline.kind} | self.outline.table(self.bar)
        flute = {"shape": self.flute.kind} | self.flute.table(self.form) | {"web_mm": self.web}
        none = np.zeros((0, 2))
        return TakenSection(bar, flute, self.off, *self.fits, none, none, np.zeros(2))

    def outside(self, p: Floats) -> Floats:
        """(n,) mm out of the outline."""
        return self.outline.distance(p[:, 0], p[:, 1], self.bar)

    def in_flute(self, p: Floats) -> Floats:
        """(n,) mm into the flute."""
        return self.flute.distance(p[:, 0], p[:, 1] - self.floor, self.form)


def along_axis(mesh: ScannedMesh) -> Floats:
    """Vertices (n, 3) mm with z along the bar toward its tip, z = 0 at the tip."""
    rel = mesh.vertices - mesh.vertices.mean(0)
    weight = mesh.weights
    normal = mesh.calm_normals
    axis = np.linalg.eigh((rel * weight[:, None]).T @ rel)[1][:, 2]
    for width in (0.5, 0.3, 0.2, 0.12, 0.12, 0.12):  # walls alone stay: their normals are square to the axis
        w = weight * np.exp(-0.5 * (normal @ axis / width) ** 2)
        new = np.linalg.eigh((normal * w[:, None]).T @ normal)[1][:, 0]
        axis = new if new @ axis > 0 else -new
    z = rel @ axis
    # The tip is the end at which little of the bar is left.
    spans = []
    for sign in (1, -1):
        end = sign * z > (sign * z).max() - 0.04 * np.ptp(z)
        flat = rel[end] - np.outer(z[end], axis)
        spans.append(float(np.linalg.eigvalsh(np.cov(flat.T))[-2:].prod()) if end.sum() > 8 else np.inf)
    axis = axis if spans[0] < spans[1] else -axis
    x = np.cross([0.0, 1.0, 0.0] if abs(axis[1]) < 0.8 else [1.0, 0.0, 0.0], axis)
    x /= np.linalg.norm(x)
    placed = rel @ np.column_stack([x, np.cross(axis, x), axis])
    return np.asarray(placed - [0.0, 0.0, placed[:, 2].max()])


def sectioned(p: Floats, mesh: ScannedMesh) -> tuple[Floats, Prism]:
    """The points (n, 3) mm turned into the tool frame but for z, and the section.

    Raises InputError where there is no round or square bar, or no flute in it.
    """
    size = _thickness(p)
    low, high = -_WINDOW[1] * size, -_WINDOW[0] * size
    low = max(low, p[:, 2].min() + 0.1 * size)
    use = (p[:, 2] > low) & (p[:, 2] < high)
    if high - low < 0.5 * size or use.sum() < 300:
        raise InputError(
            "",
            "too little of the fluted bar is there behind the grind",
            f"scan {_WINDOW[1] * size:.0f} mm of the tool from its tip",
        )
    q = p[use][:: max(int(use.sum()) // _MOST_POINTS, 1)]
    rough, mouth = _mouth(q[:, :2], size)
    # Up is out of the mouth.
    up = np.arctan2(mouth[1], mouth[0]) - np.pi / 2
    c, s = np.cos(up), np.sin(up)
    turn = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
    p, q = p @ turn.T, q @ turn.T
    on_outline = rough
    noise = 5e-3
    ring = q[on_outline, :2]
    outlines = fit_outline(_binned(ring, (ring.max(0) + ring.min(0)) / 2, 240), turns=False, floor=noise)
    best = next((fit for fit in outlines if fit.points is None), None)
    if best is None or best.rms > 0.08 * size:
        raise InputError("", "the bar is neither round nor square", "scan it again, or take its section with calipers")
    outline = next(family for family in OUTLINES if family.kind == best.kind)
    bar = np.array([best.fields[name].value for name in outline.fields])
    middle = np.array([best.middle[0].value, best.middle[1].value])
    flat = q[:, :2] - middle
    inside = outline.distance(flat[:, 0], flat[:, 1], bar)
    hollow = (inside < -max(0.12, 0.02 * size)) & (inside > -0.9 * size)
    if hollow.sum() < 60:
        raise InputError("", "no flute is there behind the grind", "scan more of the tool")
    low, high = flat[hollow][:, 1].min(), flat[hollow][:, 1].max()
    line = _binned(flat[hollow], np.array([0.0, (low + high) / 2]), 150)
    flutes = fit_flute(line if line[0, 0] < line[-1, 0] else line[::-1], floor=noise)
    form_fit = next(fit for fit in flutes if fit.points is None)
    flute = next(family for family in FLUTES if family.kind == form_fit.kind)
    return _joint(p, q, outline, bar, flute, form_fit, middle, hollow, (outlines, flutes))


def _binned(flat: Floats, pole: Floats, count: int) -> Floats:
    """(k, 2): points averaged in sectors about a pole, in order round it, beginning where the widest gap ends."""
    rel = flat - pole
    angle = np.arctan2(rel[:, 1], rel[:, 0])
    sector = ((angle + np.pi) / (2 * np.pi) * count).astype(int) % count
    many = np.bincount(sector, minlength=count)
    mean = np.column_stack([np.bincount(sector, flat[:, i], count) for i in (0, 1)]) / np.maximum(many, 1)[:, None]
    some = np.flatnonzero(many)
    gaps = np.diff(np.append(some, some[0] + count))
    return np.asarray(mean[np.roll(some, -(int(gaps.argmax()) + 1))])


def _thickness(p: Floats) -> float:
    """mm: how thick the bar is, from the middle of what is scanned."""
    z = p[:, 2]
    part = p[(z < -0.3 * np.ptp(z)) & (z > z.min() + 0.1 * np.ptp(z)), :2]
    ways = np.linspace(0, np.pi, 18, endpoint=False)
    spans = [float(np.ptp(part @ [np.cos(a), np.sin(a)])) for a in ways] if len(part) > 50 else [0.0]
    return float(np.median(spans))


def _mouth(flat: Floats, size: float) -> tuple[Bools, Floats]:
    """Which points lie on the outline's hull, and the direction (2,) in which the widest gap in them opens."""
    from scipy.spatial import ConvexHull

    hull = flat[ConvexHull(flat).vertices]
    off = np.full(len(flat), np.inf)
    place = np.zeros(len(flat))
    nxt = np.roll(hull, -1, 0)
    long = np.hypot(*(nxt - hull).T)
    begin = np.concatenate([[0.0], np.cumsum(long)])
    for a, b, at, far in zip(hull, nxt, begin[:-1], long, strict=True):
        d = (b - a) / far
        t = np.clip((flat - a) @ d, 0, far)
        gap = np.hypot(*(flat - a - t[:, None] * d).T)
        nearer = gap < off
        off[nearer], place[nearer] = gap[nearer], at + t[nearer]
    near = off < max(0.08, 0.008 * size)
    where = np.sort(place[near])
    gaps = np.diff(np.append(where, where[0] + begin[-1]))
    k = int(gaps.argmax())
    if gaps[k] < 0.15 * size:
        raise InputError("", "no flute opens in the bar behind the grind", "scan more of the tool")
    ends = [
        np.array([np.interp(v % begin[-1], begin, np.append(hull[:, i], hull[0, i])) for i in (0, 1)])
        for v in (where[k], where[k] + gaps[k])
    ]
    along = ends[1] - ends[0]
    return near, np.array([along[1], -along[0]]) / np.hypot(*along)


def _joint(
    p: Floats, q: Floats, outline: Family, bar: Floats, flute: Family, form: Laid, middle: Floats, hollow: Bools,
    fits: tuple[tuple[Laid, ...], tuple[Laid, ...]],
) -> tuple[Floats, Prism]:  # fmt: skip
    """Axis, roll, outline and flute at once, from all points of the prism; then everything in that frame."""
    units = flute.units()
    own = np.array([form.fields[name].value / u for name, u in zip(flute.fields, units, strict=True)])
    size = float(bar[0])
    floor = form.middle[1].value
    lean = np.arctan2(form.middle[0].value, max(size - floor, 0.2 * size)) if not outline.turns else 0.0
    z0 = float(q[:, 2].mean())
    nb = len(bar)

    def moved(x: Floats, r: Floats) -> Floats:
        c, s = np.cos(x[0]), np.sin(x[0])
        a = r[:, 0] - x[1] - x[3] * (r[:, 2] - z0)
        b = r[:, 1] - x[2] - x[4] * (r[:, 2] - z0)
        return np.column_stack([c * a + s * b, c * b - s * a])

    def residual(x: Floats, r: Floats, on_flute: Bools) -> Floats:
        at = moved(x, r)
        body, web, curve = x[5 : 5 + nb], x[5 + nb], x[6 + nb :]
        out = outline.distance(at[:, 0], at[:, 1], np.maximum(body, 1e-3))
        into = flute.distance(at[:, 0], at[:, 1] - (web - body[0] / 2), np.maximum(curve, 1e-3))
        return np.where(on_flute, into, out)

    x = np.concatenate([[-lean, *middle, 0.0, 0.0], bar, [floor + size / 2], own])
    keep, on_flute = np.ones(len(q), bool), hollow
    for _ in range(3):
        answer = solved(partial(residual, r=q[keep], on_flute=on_flute[keep]), x, _FINE)
        x = answer.x
        every = [residual(x, q, np.full(len(q), kind)) for kind in (False, True)]
        on_flute = (np.abs(every[1]) < np.abs(every[0])) & (moved(x, q)[:, 1] > x[5 + nb] - x[5] / 2 - 0.2)
        rest = np.where(on_flute, every[1], every[0])
        spread = 1.4826 * float(np.median(np.abs(rest)))
        keep = np.abs(rest) < max(5 * spread, 0.01)
    noise = float(np.sqrt(np.mean(rest[keep] ** 2)))
    known = {f"bar.{name}": answer.known(5 + i) for i, name in enumerate(outline.fields)}
    known["flute.web_mm"] = answer.known(5 + nb)
    for i, (name, unit) in enumerate(zip(flute.fields, units, strict=True)):
        one = answer.known(6 + nb + i)
        known[f"flute.{name}"] = Known(one.value * float(unit), one.off * float(unit))
    # A turn, not a shear: the tilts are small, but angles shall be right to 0.01 degrees.
    axis = np.array([x[3], x[4], 1.0]) / np.sqrt(1 + x[3] ** 2 + x[4] ** 2)
    side = np.array([1.0, 0.0, 0.0]) - axis[0] * axis
    side /= np.linalg.norm(side)
    frame = np.array([side, np.cross(axis, side), axis])
    c, s = np.cos(x[0]), np.sin(x[0])
    roll = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
    placed = (p - [x[1], x[2], z0]) @ frame.T @ roll.T
    placed = placed - [0.0, 0.0, placed[:, 2].max()]
    return placed, Prism(outline, x[5 : 5 + nb], flute, x[6 + nb :], float(x[5 + nb]), known, noise, fits)
