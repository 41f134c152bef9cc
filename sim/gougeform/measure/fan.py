"""The fan: rays from one pole in the flute that cross the steel of the section from flute to outline.

Every ray pairs a place u on the flute with a place v on the outline. The ground surface is a graph over that region,
so mesh (`gougeform.mesh.solid`) and volume (`gougeform.measure.volume`) both work along these rays. Lengths mm; the
angle phi of a ray runs anticlockwise from straight up, in rad: left lip, bottom (pi), right lip.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section
from gougeform.errors import InputError

Floats = NDArray[np.float64]
Curve = Callable[[Floats], Floats]

_SAMPLES = 1024
_LEAST_SINE = 0.02  # a ray more slanted than this to a curve (about 1 degree) no longer tells its places apart well
_CANDIDATES = np.linspace(0.04, 0.96, 47)


@dataclass(frozen=True, eq=False)
class Columns:
    """n rays in order: phi (n,) rad, places u on the flute and v on the outline (n,), and their points (n, 2) mm."""

    phi: Floats
    u: Floats
    v: Floats
    inner: Floats
    outer: Floats

    def __len__(self) -> int:
        return len(self.phi)

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Columns:
        """Some of the columns."""
        return Columns(*(getattr(self, f.name)[which] for f in fields(self)))

    @property
    def length(self) -> Floats:
        """(n,) mm of steel along each ray."""
        return np.hypot(*(self.outer - self.inner).T)

    def point(self, column: NDArray[np.intp], t: Floats) -> Floats:
        """(m, 2) mm: points of the given columns at t (m,), 0 on the flute and 1 on the outline."""
        a, b = self.inner[column], self.outer[column]
        return a + t[:, None] * (b - a)


def joined(*parts: Columns) -> Columns:
    """Columns of all parts in order of phi, the lips of every part included as often as they come."""
    every = Columns(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Columns)))
    return every.take(np.argsort(every.phi, kind="stable"))


@dataclass(frozen=True, eq=False)
class SeenCurve:
    """A curve as seen from a pole: places and their angles at a dense set of them, both growing."""

    place: Floats
    phi: Floats
    point: Curve
    tangent: Curve

    def at(self, phi: Floats, pole: Floats) -> Floats:
        """Places (n,) where rays at phi (n,) cross the curve: Newton's method inside one step of the table."""
        i = np.clip(np.searchsorted(self.phi, phi, side="right") - 1, 0, len(self.phi) - 2)
        low, high = self.place[i], self.place[i + 1]
        # The tangent at a corner is that of the next piece, so stay just short of the bracket's end.
        inside = low + (high - low) * (1 - 1e-12)
        x = low + (phi - self.phi[i]) / (self.phi[i + 1] - self.phi[i]) * (high - low)
        along = np.stack([-np.sin(phi), np.cos(phi)], -1)
        for _ in range(8):
            off = self.point(x) - pole
            slope = self.tangent(np.clip(x, low, inside))
            step = _cross(along, off) / _cross(along, slope)
            x = np.clip(x - step, low, high)
            if not (np.abs(step) > 1e-14 * (1 + np.abs(x))).any():
                break
        return x


@dataclass(frozen=True, eq=False)
class Fan:
    """The rays of one section. pole: (2,) mm; phi_left < phi_right: angles of the lips, rad."""

    section: Section
    pole: Floats
    _flute: SeenCurve
    _outline: SeenCurve

    @property
    def phi_left(self) -> float:
        """Angle of the ray to the left lip, rad."""
        return float(self._flute.phi[0])

    @property
    def phi_right(self) -> float:
        """Angle of the ray to the right lip, rad."""
        return float(self._flute.phi[-1])

    @property
    def lips(self) -> Columns:
        """The two columns of no length."""
        s = self.section
        lip = np.stack([s.lip(-1), s.lip(1)])
        return Columns(
            np.array([self.phi_left, self.phi_right]),
            np.array([s.u_left, s.u_right]),
            np.array([s.v_left, s.v_right]),
            lip,
            lip,
        )

    def at(self, phi: Floats) -> Columns:
        """Columns at angles phi (n,) between the lips."""
        u, v = self._flute.at(phi, self.pole), self._outline.at(phi, self.pole)
        return Columns(phi, u, v, self.section.flute_point(u), self.section.outline.point(v))

    def at_flute(self, u: Floats) -> Columns:
        """Columns through the flute places u (n,)."""
        inner = self.section.flute_point(u)
        phi = angle_from_up(inner - self.pole)
        v = self._outline.at(phi, self.pole)
        return Columns(phi, np.asarray(u, float), v, inner, self.section.outline.point(v))

    def at_outline(self, v: Floats) -> Columns:
        """Columns through the outline places v (n,) between the lips."""
        outer = self.section.outline.point(v)
        phi = angle_from_up(outer - self.pole)
        u = self._flute.at(phi, self.pole)
        return Columns(phi, u, np.asarray(v, float), self.section.flute_point(u), outer)

    def depth(self, points: Floats) -> Floats:
        """(n,) mm: how deep section points (n, 2) lie in the steel, along their rays; below 0 outside it."""
        off = points - self.pole
        phi = angle_from_up(off)
        ray = self.at(np.clip(phi, self.phi_left, self.phi_right))
        near, far = (np.hypot(*(end - self.pole).T) for end in (ray.inner, ray.outer))
        away = np.hypot(*off.T)
        inside = np.minimum(away - near, far - away)
        return np.where((phi >= self.phi_left) & (phi <= self.phi_right), inside, -np.inf)

    @property
    def corners(self) -> Columns:
        """Columns through the ends of the outline's pieces and the flute's floor."""
        s = self.section
        v = s.outline.breaks
        v = v[(v > s.v_left + 1e-9) & (v < s.v_right - 1e-9)]
        return joined(self.at_outline(v), self.at_flute(np.zeros(1)))


@lru_cache(maxsize=16)  # asked for by mesh, volume, crease and pictures of every tool on one bar
def build_fan(section: Section) -> Fan:
    """The fan of a section, its pole where rays cross flute and outline least slanted.

    Raises InputError where no point of the flute's middle sees all of the flute and all of the outline.
    """
    u = np.linspace(section.u_left, section.u_right, _SAMPLES + 1)
    outline = section.outline
    each = max(2, _SAMPLES // outline.count)
    around = (np.arange(outline.count)[:, None] + np.arange(each) / each).ravel()
    inner = around[(around > section.v_left + 1e-9) & (around < section.v_right - 1e-9)]
    v = np.concatenate([[section.v_left], inner, [section.v_right]])
    top = float(outline.point(np.zeros(1))[0, 1])
    height = section.y_floor + _CANDIDATES * (top - section.y_floor)
    on_flute = _least_sine(section.flute_point(u), section.flute_tangent(u), height)
    low, high = _piece_ends(outline.tangent, v)
    on_outline = np.minimum(_least_sine(outline.point(v), low, height), _least_sine(outline.point(v), high, height))
    low, high = _piece_ends(outline.tangent, around)
    all_round = np.minimum(
        _least_sine(outline.point(around), low, height), _least_sine(outline.point(around), high, height)
    )
    score = np.where(all_round > _LEAST_SINE / 10, np.minimum(on_flute, on_outline), -1.0)
    best = int(score.argmax())
    if score[best] < _LEAST_SINE:
        flute_hides = on_flute.max() < _LEAST_SINE
        raise InputError(
            "flute" if flute_hides else "bar",
            f"the {'flute' if flute_hides else 'outline'} folds back so far that no point between the flute's floor"
            " and the top of the bar sees all of flute and outline, so the section cannot be meshed",
            f"a {'flute' if flute_hides else 'bar'} without deep hollows, or a shallower flute",
        )
    pole = np.array([0.0, height[best]])
    lip = np.stack([section.lip(-1), section.lip(1)])
    chains = []
    for place, point, tangent in (
        (u, section.flute_point, section.flute_tangent),
        (v, outline.point, outline.tangent),
    ):
        seen = point(place)
        seen[[0, -1]] = lip
        chains.append(SeenCurve(place, angle_from_up(seen - pole), point, tangent))
    return Fan(section, pole, *chains)


def _piece_ends(tangent: Curve, place: Floats) -> tuple[Floats, Floats]:
    """Tangents (n, 2) just before and at places: they differ at corners."""
    return tangent(place - 1e-9), tangent(place)


def _least_sine(point: Floats, tangent: Floats, height: Floats) -> Floats:
    """For poles (0, height) (m,): the least sine of the angle between a ray to a curve and the curve, signed."""
    off = point[None] - np.stack([np.zeros_like(height), height], -1)[:, None]
    size = np.hypot(off[..., 0], off[..., 1]) * np.hypot(tangent[:, 0], tangent[:, 1])
    return np.asarray((_cross(off, tangent) / size).min(1))


def angle_from_up(off: Floats) -> Floats:
    """(n,) rad in 0 … 2 pi: directions (n, 2) counted anticlockwise from +y."""
    return np.mod(np.arctan2(off[..., 1], off[..., 0]) - np.pi / 2, 2 * np.pi)


def _cross(a: Floats, b: Floats) -> Floats:
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
