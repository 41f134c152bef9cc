"""Which grind leaves the ground face of a scan: settings of a machine, fitted through the kernel itself.

Every point of the face counts, by its distance from the surface that a recipe leaves, so angles are known far better
than any patch of triangles could tell them. The machine stands for the one the tool was ground on: the pocket of a foot
jig can be laid so that it makes many wings. Where no setting leaves the face that is there, that is said. What
the face does not tell is kept near the recipe it began with by a weak prior.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.measure.measures import Measures, measure
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import bench_of
from gougeform.settings.names import NAMES
from gougeform.take.known import Known, alike_neighbours

Floats = NDArray[np.float64]

_PRIOR = 0.5  # of a setting's range, and 1 for its logarithm: standard deviations before anything is looked at
_COARSE, _CELLS = 400, 1000  # points to begin with; cells of the face, about
_FAR_OFF = 0.05  # mm: what points may be off by at first
_GOOD = 1.3  # times its noise: nearer comes no other machine
_LAST = 2  # steps over every point
_DIGITS = 5  # of what is written
CHORD_MM = 2e-3
"""Triangles cut bends: no scan is better."""
_MISSED = 1.0  # mm: what a ray counts that the wheel does not touch
_FIXED = ("distance", "contact")  # follows from the nose angle; a place across the face leaves the same shape


@dataclass(frozen=True, eq=False)
class FittedGrind:
    """A recipe that leaves the face, and what is known of it.

    names: dotted fields that were fitted. x: (k,) their values. covariance: (k + 1, k + 1), first that of rise: mm the
    points were moved along the bar to lie on it. jacobian: (n, k + 1) mm of points (n, 3) per unit. off: (n,) mm of the
    points from its surface, positive out of the steel, each the mean of `count` (n,). spread: mm, robust standard
    deviation of single points.
    """

    recipe: Recipe
    names: tuple[str, ...]
    x: Floats
    covariance: Floats
    jacobian: Floats
    points: Floats
    off: Floats
    count: Floats
    rise: float
    spread: float

    @cached_property
    def measures(self) -> Measures:
        """Of the recipe."""
        return measure(shape(self.recipe))

    def numbers(self, told: Callable[[Measures], Mapping[str, float]]) -> dict[str, Known]:
        """Numbers of the tool with their uncertainties, from those of the settings (first order), and each wing's own.

        A wing's own are those of the settings that one more step over its points alone gives (`KEY.left`, `KEY.right`).
        """
        here = told(self.measures)
        slopes = {key: np.zeros(len(self.x)) for key in here}
        for k, name in enumerate(self.names):
            # Inward steps: a setting may stand at the end of what is allowed.
            step = _steps(self.x)[k]
            for sign in (1.0, -1.0):
                try:
                    there = told(measure(shape(changed(self.recipe, {name: self.x[k] + sign * step}))))
                except InputError:
                    continue
                for key in here:
                    slopes[key][k] = (there[key] - here[key]) / (sign * step)
                break
        found = {}
        for key, value in here.items():
            g = slopes[key]
            found[key] = Known.of(value, float(np.sqrt(g @ self.covariance[1:, 1:] @ g)))
        for side, word in ((-1, "left"), (1, "right")):
            mine = self.points[:, 0] * side > 0
            step, cov = self._own(mine)
            for key, value in here.items():
                g = slopes[key]
                found[f"{key}.{word}"] = Known.of(value + float(g @ step[1:]), float(np.sqrt(g @ cov[1:, 1:] @ g)))
        return found

    def _own(self, mine: NDArray[np.bool_]) -> tuple[Floats, Floats]:
        """One step of least squares over some of the points (n,) alone: (k + 1,) and its covariance."""
        j = self.jacobian[mine]
        weight = _weight(self.off[mine], self.count[mine], self.spread)
        inverse = np.linalg.pinv((j * weight[:, None]).T @ j + _prior(self.recipe, self.names))
        alike = alike_neighbours(self.off[mine])
        return np.asarray(-inverse @ (j.T @ (weight * self.off[mine]))), np.asarray(inverse) * (1 + alike) / (1 - alike)


def free_names(recipe: Recipe) -> tuple[str, ...]:
    """Dotted fields of a recipe that a ground face can tell something of: nose angles, wheel, jig, path, lands."""
    bench = bench_of(recipe)
    places = {"jig": "jig", "path": "grind.0", "wheel": "wheel"}
    own = [f"{places[NAMES[n].table]}.{bench.field(NAMES[n])}" for n in bench.names if n not in _FIXED]
    own = [name for name in own if not name.endswith(".nose_angle_deg")]
    reliefs = [f"grind.{i}.{field}" for i in range(1, len(recipe.grind)) for field in ("nose_angle_deg", "land_mm")]
    return ("grind.0.nose_angle_deg", *own, *reliefs)


def _values(recipe: Recipe, names: tuple[str, ...]) -> Floats:
    found = []
    for name in names:
        part, _, field = name.rpartition(".")
        at = recipe.grinds[int(part[6:])] if part.startswith("grind.") else getattr(recipe, part)
        for inner in (at, getattr(at, "path", None), getattr(at, "jig", None)):
            if getattr(inner, field, None) is not None:
                found.append(float(getattr(inner, field)))
                break
    return np.array(found)


def _priors(recipe: Recipe, names: tuple[str, ...]) -> Floats:
    """(k,) standard deviations: wide for what the face tells by itself, half of its size for a jig's lengths."""
    now = np.abs(_values(recipe, names))
    wide = np.array([10.0 if name.startswith("jig.") else 1e3 for name in names])
    return np.where([name.startswith("jig.") for name in names], np.maximum(_PRIOR * now, wide), wide)


def _steps(x: Floats) -> Floats:
    return np.maximum(1e-4 * np.abs(x), 1e-5)


def fit_grind(face: Floats, starts: Sequence[Recipe], noise: float) -> FittedGrind:
    """The settings that leave a face (n, 3) mm, tip near z = 0, on whichever machine comes nearest.

    starts: recipes with the right bar and flute, and first guesses of nose angle, wing and land, tried until one lies
    well; of several one with more settings must earn them (Schwarz). noise: mm that points are off by at least. Raises
    InputError where none of them can be ground.
    """
    noise = max(noise, CHORD_MM)
    rng = np.random.default_rng(0)
    few = face[rng.permutation(len(face))[:_COARSE]]
    tried, refusal = [], None
    for start in starts:
        names = free_names(start)
        x = np.concatenate([[0.0], _values(start, names)])
        try:
            x, recipe, _ = _solved(few[: _COARSE // 2], start, names, x, max(noise, _FAR_OFF), 0.02)
            x, recipe, off = _solved(few, recipe, names, x, noise, 1e-3)
        except InputError as error:
            refusal = refusal or error
            continue
        tried.append((float(np.minimum((off / noise) ** 2, 25).sum()) + len(names) * np.log(_COARSE), names, x, recipe))
        if tried[-1][0] < _GOOD * _COARSE:
            break
    if not tried:
        assert refusal is not None
        raise refusal
    _, names, x, recipe = min(tried, key=lambda one: one[0])
    points, count, to = _spread_out(face)
    for _ in range(_LAST):
        x, recipe, off, jacobian, spread = _all_of_it(face, points, count, to, recipe, names, x, noise)
    scaled = jacobian * np.sqrt(_weight(off, count, spread))[:, None]
    alike = alike_neighbours(off)
    covariance = np.asarray(np.linalg.pinv(scaled.T @ scaled + _prior(recipe, names))) * (1 + alike) / (1 - alike)
    recipe = changed(recipe, {name: round(float(v), _DIGITS) for name, v in zip(names, x[1:], strict=True)})
    return FittedGrind(recipe, names, x[1:], covariance, jacobian, points, off, count, float(x[0]), spread)


def _weight(off: Floats, count: Floats, spread: float) -> Floats:
    """(n,) of means of so many points each: Huber's, over the variance."""
    return np.asarray(count / np.maximum(1.0, np.abs(off) * np.sqrt(count) / (2.5 * spread)) / spread**2)


def _prior(recipe: Recipe, names: tuple[str, ...]) -> Floats:
    return np.diag(1 / np.concatenate([[1e3], _priors(recipe, names)]) ** 2)


def _all_of_it(
    face: Floats, points: Floats, count: Floats, to: NDArray[np.intp], recipe: Recipe, names: tuple[str, ...],
    x: Floats, noise: float,
) -> tuple[Floats, Recipe, Floats, Floats, float]:  # fmt: skip
    """One step over every point of the face: their distances averaged over cells, the derivatives from one in each."""
    every = _off(face, recipe, x[0])
    spread = max(1.4826 * float(np.median(np.abs(every))), noise)
    every = np.clip(every, -4 * spread, 4 * spread)
    off = np.bincount(to, every, len(points)) / count
    _, jacobian = _linear(points, recipe, names, x)
    weight = _weight(off, count, spread)
    step = np.linalg.solve(
        (jacobian * weight[:, None]).T @ jacobian + _prior(recipe, names), -jacobian.T @ (weight * off)
    )
    for share in (1.0, 0.3):
        new = x + share * step
        try:
            made = changed(recipe, {name: float(v) for name, v in zip(names, new[1:], strict=True)})
            there = np.clip(_off(face, made, new[0]), -4 * spread, 4 * spread)
        except InputError:
            continue
        if (there**2).sum() < (every**2).sum():
            return new, made, np.bincount(to, there, len(points)) / count, jacobian, spread
    return x, recipe, off, jacobian, spread


def _spread_out(face: Floats) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """One point (n, 3) for each cell of the face, in a row along it; how many points (n,) it stands for; whose (m,)."""
    cell = np.sqrt(np.ptp(face[:, 0]) * np.ptp(face[:, 1]) / _CELLS)
    k = np.floor((face - face.min(0)) / [cell, cell, 4 * cell]).astype(np.int64)
    snake = np.where(k[:, 1] % 2 == 0, k[:, 0], 4096 - k[:, 0])  # so that neighbours in the row are neighbours
    _, first, to, count = np.unique(
        (k[:, 1] << 40) + (snake << 20) + k[:, 2], return_index=True, return_inverse=True, return_counts=True
    )
    return face[first], count.astype(float), to.reshape(-1)


def _off(points: Floats, recipe: Recipe, rise: float) -> Floats:
    """(n,) mm of points out of the surface that a recipe leaves, to first order in the distance."""
    return off_ground(shape(recipe), points + np.array([0.0, 0.0, rise]))


def off_ground(gouge: Gouge, points: Floats) -> Floats:
    """(n,) mm of points (n, 3) out of the surface a grind leaves, to first order in the distance."""
    cut = gouge.ground.heights(points[:, :2])
    with np.errstate(invalid="ignore"):
        off = (points[:, 2] - cut.z) * cut.normal[2]
    return np.clip(np.where(np.isfinite(off), off, _MISSED), -_MISSED, _MISSED)


def _linear(points: Floats, recipe: Recipe, names: tuple[str, ...], x: Floats) -> tuple[Floats, Floats]:
    """Distances (n,) at x (k + 1,), and their derivatives (n, k + 1); 0 for a setting that cannot be moved."""
    here = _off(points, recipe, x[0])
    jacobian = np.zeros((len(points), len(x)))
    jacobian[:, 0] = (_off(points, recipe, x[0] + 1e-4) - here) / 1e-4
    for k, (name, step) in enumerate(zip(names, _steps(x[1:]), strict=True), 1):
        for sign in (1.0, -1.0):
            try:
                there = _off(points, changed(recipe, {name: float(x[k] + sign * step)}), x[0])
            except InputError:
                continue
            jacobian[:, k] = (there - here) / (sign * step)
            break
    return here, jacobian


def _solved(
    points: Floats, recipe: Recipe, names: tuple[str, ...], x: Floats, floor: float, least: float
) -> tuple[Floats, Recipe, Floats]:
    """Levenberg's and Marquardt's steps with Huber's weights, until one helps by less than `least`.

    floor: mm a point is off by.
    """
    first = x.copy()
    sd = np.concatenate([[1e3], _priors(recipe, names)])
    lam = 1e-2
    off, jacobian = _linear(points, recipe, names, x)
    for _ in range(14):
        spread = max(1.4826 * float(np.median(np.abs(off))), floor)

        def cost(r: Floats, at: Floats, s: float = spread) -> float:
            a = np.abs(r) / s
            return float(np.where(a < 2.5, a * a, 5 * a - 6.25).sum()) + float((((at - first) / sd) ** 2).sum())

        weight = 1 / np.maximum(1.0, np.abs(off) / (2.5 * spread)) / spread**2
        h = (jacobian * weight[:, None]).T @ jacobian + np.diag(1 / sd**2)
        g = jacobian.T @ (weight * off) + (x - first) / sd**2
        now, better = cost(off, x), False
        for _ in range(8):
            new = x - np.linalg.solve(h + lam * np.diag(np.diag(h)), g)
            try:
                made = changed(recipe, {name: float(v) for name, v in zip(names, new[1:], strict=True)})
                there = _off(points, made, new[0])
            except InputError:
                lam *= 6
                continue
            if (then := cost(there, new)) < now:
                better, lam = now - then > least * now, lam / 5
                x, recipe = new, made
                break
            lam *= 6
        if not better:
            break
        off, jacobian = _linear(points, recipe, names, x)
    return x, recipe, off
