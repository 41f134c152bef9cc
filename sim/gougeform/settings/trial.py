"""The edge angles of a traced grind from its poses alone, quickly: no envelope, no mesh.

Where the path does not cut past its outline, the wheel at the pose for an edge point touches the steel exactly there,
so the bevel's normal is minus the wheel's normal turned back into the tool (an envelope's property); the measured edge
of `gougeform.measure.edge` must then agree, and `checked` says by how much. Lengths mm, angles deg.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section
from gougeform.errors import InputError
from gougeform.grind.ground import Ground, Pass
from gougeform.machine.edgeoutline import EdgeOutline
from gougeform.machine.path import Path
from gougeform.machine.pose import Pose, apply_back, cross, dot
from gougeform.machine.rig import Rig
from gougeform.machine.sweep import traced
from gougeform.machine.trace import Rolled, RollSolver
from gougeform.numerics.curve import local_cubic
from gougeform.settings.bench import Bench

Floats = NDArray[np.float64]

_FINE = 201  # samples of one wing for its arc length; the measured edge has as many
_KNOTS = 17  # of one wing, to see that every place of it has a pose
_HELD_AGAINST = 65  # poses and points a path is held against itself with
_SAME_THREAD = 0.35  # rad: rolls at neighbouring knots further apart belong to another solution


@dataclass(frozen=True)
class Reading:
    """What is read off an edge: nose and wing angles by per cent of arc length (deg), wing length (mm)."""

    nose: float
    wings: dict[float, float]
    wing_length: float

    def value(self, name: str) -> float:
        """By a want's name: nose, wing50, wing_length."""
        if name == "nose":
            return self.nose
        return self.wing_length if name == "wing_length" else self.wings[float(name[4:])]


@lru_cache(maxsize=64)
def _outline(section: Section, path: Path) -> EdgeOutline:
    found = path.outline(section)
    assert found is not None
    return found


@lru_cache(maxsize=256)
def wing_places(section: Section, path: Path, per_cents: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Where a wing is read at per cents of its arc length: outline places (n, 4) and their weights (n, 4).

    The same four stations, joined by the same cubic, as `gougeform.measure.measures` uses, so that both give one
    number.
    """
    t = np.linspace(0.0, 1.0, _FINE)
    point, along, _ = _outline(section, path).at(t)
    arc = arc_lengths(point, along / np.sqrt(dot(along, along)))
    places, weights = np.empty((len(per_cents), 4)), np.empty((len(per_cents), 4))
    for row, per_cent in enumerate(per_cents):
        at = arc[-1] * per_cent / 100
        k = int(np.clip(np.searchsorted(arc, at) - 2, 0, _FINE - 4))
        x = arc[k : k + 4]
        places[row] = t[k : k + 4]
        weights[row] = [np.prod((at - np.delete(x, i)) / (x[i] - np.delete(x, i))) for i in range(4)]
    return places, weights


def arc_lengths(point: Floats, tangent: Floats) -> Floats:
    """(n,) cumulative arc length mm at samples (3, n) of a curve, from chords and unit tangents (third order)."""
    chord = np.diff(point, axis=1)
    c = np.sqrt(dot(chord, chord))
    a, b = tangent[:, :-1] - chord / c, tangent[:, 1:] - chord / c
    return np.concatenate([[0.0], np.cumsum(c * (1 + (2 * dot(a, a) - dot(a, b) + 2 * dot(b, b)) / 30))])


@dataclass
class Tracer:
    """Evaluates benches one after the other; remembers the last rolls, from which the next are found quickly."""

    known_s: Floats = field(default_factory=lambda: np.zeros(0))
    known_roll: Floats = field(default_factory=lambda: np.zeros(0))

    def place(self, bench: Bench, t: Floats) -> tuple[Pose, Floats, Floats, Floats]:
        """Poses for outline places t (n,) in -1 … 1, with contacts on the wheel, edge points and tangents (3, n).

        Raises InputError where a place of the wing has no pose.
        """
        outline, jig, wheel = _outline(bench.section, bench.path), bench.built, bench.solid
        one_side = bench.contact == 0.0 and bool((t >= 0).all())
        knots = np.linspace(0.0, 1.0, _KNOTS) if one_side else np.linspace(-1.0, 1.0, 2 * _KNOTS - 1)
        many = len(knots)
        s = np.concatenate([knots, t])
        point, along, _ = outline.at(s)
        with np.errstate(invalid="ignore", divide="ignore"):
            if jig.rolled is None:
                pose, contact, _ = jig.solver(wheel, bench.contact, s, point, along).place(point, along, s)
            else:
                pose, contact = self._rolled(outline, jig, jig.rolled, bench, knots, s, point, along)
        if not np.isfinite(pose.turn).all():
            # Says where, in the words of the path itself.
            traced(outline, jig, wheel, bench.contact)
            raise InputError("wing_length", "the jig has no pose for a part of the wing", "a shorter wing")
        return Pose(pose.turn[..., many:], pose.shift[:, many:]), contact[:, many:], point[:, many:], along[:, many:]

    def wedges(self, bench: Bench, t: Floats) -> Floats:
        """(n,) deg: wedge angles at outline places t (n,) in -1 … 1.

        Raises InputError where a place of the wing has no pose.
        """
        pose, contact, _, along = self.place(bench, t)
        normal = -apply_back(pose.turn, bench.solid.face_normal(contact))
        flute = np.stack([-along[1] / along[0], np.ones_like(t), np.zeros_like(t)])
        both = cross(flute, normal)
        return 180.0 - np.degrees(np.arctan2(np.sqrt(dot(both, both)), dot(flute, normal)))

    def cuts_past(self, bench: Bench) -> bool:
        """Whether a pose of the path takes steel behind the outline at some place of it, by more than 1e-9 mm.

        Every pose at evenly spread places is held against the edge points at those places: where the path is sound,
        each point is cut deepest by its own pose.
        """
        one_side = bench.contact == 0.0
        pose, _, point, _ = self.place(bench, np.linspace(0.0 if one_side else -1.0, 1.0, _HELD_AGAINST))
        wheel = bench.solid
        for mirror in (1.0, -1.0) if one_side else (1.0,):
            flat = point * np.array([[mirror], [1.0], [0.0]])
            o = np.einsum("ijk,jn->ikn", pose.turn, flat) + pose.shift[:, :, None]
            d = np.broadcast_to(pose.turn[:, 2][:, :, None], o.shape)
            z = wheel.face_roots(o[0], o[2], d[0], d[2])[0]
            if (z < point[2] - 1e-9).any():
                return True
        return False

    def _rolled(
        self,
        outline: EdgeOutline,
        jig: Rig,
        rolled: Rolled,
        bench: Bench,
        knots: Floats,
        s: Floats,
        point: Floats,
        along: Floats,
    ) -> tuple[Pose, Floats]:
        """Poses and contacts (3, n) of a jig solved by its roll: Newton from the last rolls, or from the nose on."""
        solver = RollSolver(rolled, bench.solid, bench.contact)
        many = len(knots)
        if len(self.known_s) and self.known_s[0] <= knots[0]:
            roll = _newton(solver, point, along, np.interp(s, self.known_s, self.known_roll))
            if roll is not None and np.abs(np.diff(roll[:many], 2)).max() < _SAME_THREAD / 4:
                self.known_s, self.known_roll = knots, roll[:many]
                return solver.at_roll(point, roll)[:2]
        path = traced(outline, jig, bench.solid, bench.contact, 2 * _KNOTS - 1)
        assert isinstance(path.solver, RollSolver)
        self.known_s, self.known_roll = path.solver.known_s, path.solver.known_roll
        return path.contact(s)

    def read(self, bench: Bench, per_cents: tuple[float, ...]) -> Reading:
        """Nose and wing angles; wing angles are the mean of both wings.

        From poses where the path asks for an outline, else from the surface. Raises InputError where the nose cannot
        touch the wheel or a place of the wing has no pose.
        """
        if not bench.path.outlined:
            return steady_reading(bench, per_cents)
        places, weights = wing_places(bench.section, bench.path, per_cents)
        t = places.ravel()
        if bench.contact == 0.0:
            every = self.wedges(bench, np.concatenate([[0.0], t]))
            stations = every[1:]
        else:
            # The section is symmetric, so both wings have their per cents at the same places.
            every = self.wedges(bench, np.concatenate([[0.0], t, -t]))
            stations = (every[1 : len(t) + 1] + every[len(t) + 1 :]) / 2
        nose, wings = every[0], (stations.reshape(weights.shape) * weights).sum(1)
        return Reading(float(nose), dict(zip(per_cents, wings.tolist(), strict=True)), bench.path.asked_mm)


def steady_reading(bench: Bench, per_cents: tuple[float, ...]) -> Reading:
    """Nose and wing angles of a steady grind, from the surface itself along the right wing (both are alike).

    Raises InputError where the wheel does not touch the whole edge.
    """
    assert bench.path.holds
    section = bench.section
    path = bench.path.sweep(section, bench.built, bench.solid)
    u = np.linspace(0.0, section.u_right, _FINE)
    flat = section.flute_point(u)
    cut = Ground((Pass(path, bench.solid),)).heights(flat)
    if not np.isfinite(cut.z).all():
        raise InputError("roll", "the wheel does not reach the whole edge", "more roll, or a wider wheel")
    flute = np.zeros((3, len(u)))
    flute[:2] = section.flute_normal(u).T
    tangent = cross(flute, cut.normal)
    sine = np.sqrt(dot(tangent, tangent))
    wedge = 180.0 - np.degrees(np.arctan2(sine, dot(flute, cut.normal)))
    forward = np.where((tangent[:2].T * section.flute_tangent(u)).sum(1) < 0, -1.0, 1.0)
    arc = arc_lengths(np.stack([*flat.T, cut.z]), tangent * forward / sine)
    wings = {p: local_cubic(arc, wedge, arc[-1] * p / 100) for p in per_cents}
    return Reading(float(wedge[0]), wings, float(cut.z[0] - cut.z[-1]))


def _newton(solver: RollSolver, point: Floats, along: Floats, roll: Floats) -> Floats | None:
    """Rolls (n,) to full precision from a guess close by; None where that does not settle."""
    for _ in range(8):
        value, slope = solver.miss(point, along, roll)
        step = value / slope
        if not np.isfinite(step).all() or np.abs(step).max() > 0.2:
            return None
        roll = roll - step
        if np.abs(step).max() < 1e-8:  # the error left is about its square
            return roll
    return None
