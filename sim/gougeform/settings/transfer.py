"""The same edge on another wheel or another kind of jig, and on a wheel that wears.

The nose is kept exactly, by the closed form; the other free settings make the wings differ as little as they can (root
mean square over the arc length). Lengths mm, angles deg.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.machine.jig import DISTANCES, Jig
from gougeform.machine.paths import PATHS
from gougeform.measure.edge import Edge, measure_edge
from gougeform.measure.measures import Measures, measure
from gougeform.measure.quantities.standing import standing
from gougeform.part import Table
from gougeform.read import library
from gougeform.read.complaints import shown
from gougeform.read.library import is_path
from gougeform.read.toml import read_toml
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import load
from gougeform.settings.bench import Bench, bench_of, with_settings
from gougeform.settings.likeness import traced_like
from gougeform.settings.standing import shortest
from gougeform.settings.trial import Tracer
from gougeform.settings.wants import Free, reading_of

Floats = NDArray[np.float64]

_PER_CENT = tuple(float(p) for p in (2, *range(5, 100, 5), 98))
_STARTS = 3
_WORN_TO = 0.7  # of its new diameter, where nothing is said
_STEPS = 15
_ALL_ALONG = tuple(p / 2 for p in range(1, 201))
"""Per cents of a wing at which wear is compared: the places of `differences`, lips included, so both say one thing."""


@dataclass(frozen=True, eq=False)
class Carried:
    """A recipe carried over. before, after: the measured edges. share: (n,) along the whole edge, 0 … 1.

    difference: (n,) wedge angle after less before, deg. reset: settings beside the distance that were changed for it,
    by plain name. kept: largest and mean difference with those left as they were, NaN where that cannot be ground.
    """

    recipe: Recipe
    measures: Measures
    before: Edge
    after: Edge
    share: Floats
    difference: Floats
    reset: dict[str, float]
    kept: tuple[float, float]
    notes: list[str]

    @property
    def gouge(self) -> Gouge:
        """The tool ground there."""
        return self.measures.gouge

    @property
    def largest(self) -> float:
        """Largest difference, deg."""
        return float(np.abs(self.difference).max())

    @property
    def mean(self) -> float:
        """Mean difference without sign along the edge, deg."""
        return float(np.trapezoid(np.abs(self.difference), self.share))


@dataclass(frozen=True)
class Worn:
    """One diameter of a wearing wheel, re-set so that the nose stays; deg and mm.

    largest, mean: difference of the wedge angle along the whole edge, as `Carried` has them, the mean of both wings.
    left: the nose angle if the pocket or rod is left where it stands for the new wheel. reliefs: straight distance for
    each relief, its own nose angle kept.
    """

    diameter: float
    centre_distance: float | None
    rim_distance: float | None
    straight_distance: float | None
    nose: float
    largest: float
    mean: float
    left: float
    reliefs: tuple[float | None, ...] = ()


def read_targets(recipe: Recipe, to: Mapping[str, str | float]) -> dict[str, Any]:
    """Changes of a recipe from {"wheel": name, file or diameter in mm, "jig": name or file}. Raises InputError.

    A recipe, by its name or file, stands for the wheel or jig that it has.
    """
    changes: dict[str, Any] = {}
    for name, value in to.items():
        if name not in ("wheel", "jig"):
            raise InputError("to", f"given {shown(name)}, allowed is wheel or jig", "write wheel=NAME or jig=NAME")
        changes[name] = _of_recipe(name, str(value)) or value
        try:
            diameter = float(value)
        except ValueError:
            continue
        if name == "jig":
            raise InputError("to jig", f"given {value}, allowed is the name or path of a jig", "write jig=NAME")
        if not math.isfinite(diameter):
            raise InputError("to wheel", f"given {value}, allowed is a diameter in mm", "write it like wheel=150")
        own = recipe.table["grind"][0].get("wheel", recipe.table["wheel"])
        # Of another wheel nothing but its size is known: speed and rating, guard and rest belong to the old one.
        shape_ = {key: own[key] for key in ("width_mm", "corner_radius_mm") if key in own}
        changes[name] = shape_ | {"kind": "wheel", "diameter_mm": diameter}
    if not changes:
        raise InputError("to", "nothing to carry over to", "write wheel=NAME, jig=NAME, or both")
    return changes


def _of_recipe(name: str, text: str) -> Table | None:
    """The wheel or jig of the recipe that a word names; None where it names none. Raises InputError for a bad one."""
    if is_path(text):
        path = Path(text)
        # Where no file is, the wheel or jig of that name is looked for, and what is missing is said there.
        named = path.is_file() and "grind" in read_toml(path)
    else:
        named = text in library.names("recipes")
    if not named:
        return None
    first = load(text).grinds[0]
    held = first.jig.plain() if name == "jig" else first.wheel.plain()
    return {key: value for key, value in held.items() if key not in DISTANCES}


def on_other(recipe: Recipe, changes: dict[str, Any], before: Edge) -> tuple[Recipe, list[str]]:
    """The recipe with its wheel or jig replaced and every nose angle kept, before any other setting is moved."""
    notes: list[str] = []
    every: dict[str, Any] = {}
    for name, value in changes.items():
        holders = [f"grind.{i}" for i, one in enumerate(recipe.table["grind"]) if name == "wheel" and name in one]
        for place in holders or [name]:
            every[f"{place}.wheel" if holders else place] = value
    for i, own in enumerate(recipe.table["grind"]):
        if i == 0 or any(name in own for name in DISTANCES):
            every[f"grind.{i}.nose_angle_deg"] = _kept_nose(recipe, i, before)
    loose = _loose(recipe, changes) if recipe.grinds[0].path.holds else None
    if loose is not None:
        like, off = traced_like(recipe, before)
        every |= {f"grind.0.{name}": value for name, value in like.items()}
        every[f"grind.0.{recipe.grinds[0].path.extent}"] = None
        notes.append(
            f"{loose.noun.capitalize()} holds nothing steady, so the edge's outline is traced by hand here; the outline"
            f" it follows lies within {off:.2f} mm of the old edge."
        )
    return changed(recipe, every), notes


def _loose(recipe: Recipe, changes: dict[str, Any]) -> Jig | None:
    """The jig it will be, where that can hold no setting while the bar rolls, as this recipe's path asks."""
    if "jig" not in changes:
        return None  # it holds one now
    # A table tells its kind once the name is looked up; a recipe that cannot hold it is refused there.
    assert PATHS.default is not None
    usual, now = PATHS.classes[PATHS.default], recipe.grinds[0].path.extent
    path = {PATHS.tag: PATHS.default, usual.extent: usual.usual_extent, now: None}
    own = {f"grind.0.{name}": value for name, value in path.items()}
    jig = changed(recipe, {"jig": changes["jig"], "grind.0.nose_angle_deg": 45.0, **own}).grinds[0].jig
    return jig if jig.loose else None


def _kept_nose(recipe: Recipe, grind: int, before: Edge) -> float:
    given = recipe.grinds[grind].jig.nose_angle_deg
    if given is not None:
        return float(given)
    if grind == 0 and not recipe.grinds[0].path.outlined:
        return float(before.wedge[before.nose])
    return bench_of(recipe, grind).nose_angle()


def carry_over(recipe: Recipe, changes: dict[str, Any], frees: Sequence[Free] | None = None) -> Carried:
    """Carry a recipe's edge over to another wheel or jig.

    frees: settings beside the distance (or tilt) that may change; by default the projection of a foot or rod jig.
    Raises InputError where the other machine cannot grind it.
    """
    before_gouge = shape(recipe)
    before = measure_edge(before_gouge)
    target, notes = on_other(recipe, changes, before)
    bench = bench_of(target, 0, before_gouge.section)
    start = {free.name.name: bench.value(free.name.name) for free in frees or ()}

    def carried(narrowed: Sequence[Free]) -> tuple[Recipe, dict[str, float], Measures]:
        reset = _best(bench, before, narrowed)
        moved = {name: value for name, value in reset.items() if abs(value - start[name]) > 1e-9}
        # The distance follows from the nose, which the recipe holds.
        there = with_settings(target, moved) if moved else target
        return there, moved, standing(measure(shape(there)))

    try:
        there, moved, made = carried(frees or ())
    except InputError as error:
        low = next((one.low for one in frees or () if one.name.name == "projection"), None)
        (there, moved, made), error = shortest(frees or (), low, carried, error)
        notes.append(f"With a shorter projection the edge would be nearer to the old one, but {error.problem}.")
    kept = _left_as_it_is(target, before) if moved else None
    share, difference = differences(before, made.edge)
    found = Carried(there, made, before, made.edge, share, difference, moved, (0.0, 0.0), notes)
    return replace(found, kept=kept or (found.largest, found.mean))


def _left_as_it_is(target: Recipe, before: Edge) -> tuple[float, float]:
    """Largest and mean difference (deg) with nothing moved but the distance, NaN where that cannot be ground."""
    try:
        share, difference = differences(before, measure_edge(shape(target)))
    except InputError:
        return float("nan"), float("nan")
    return float(np.abs(difference).max()), float(np.trapezoid(np.abs(difference), share))


def differences(before: Edge, after: Edge) -> tuple[Floats, Floats]:
    """(n,) shares of the whole edge's arc length, and wedge angle after less before there, deg."""
    share = np.linspace(0.0, 1.0, len(before.arc))
    one, two = (along(edge, share) for edge in (before, after))
    return share, two - one


def along(edge: Edge, share: Floats) -> Floats:
    """Wedge angles (n,) at shares (n,) of each wing: 0 the left lip, 0.5 the nose, 1 the right lip."""
    middle = edge.arc[edge.nose]
    left = edge.arc[: edge.nose + 1] / middle / 2
    right = 0.5 + (edge.arc[edge.nose :] - middle) / (edge.arc[-1] - middle) / 2
    return np.interp(share, np.concatenate([left, right[1:]]), edge.wedge)


def _best(bench: Bench, before: Edge, frees: Sequence[Free]) -> dict[str, float]:
    """The free settings that make the wings differ least while the nose stays, from several starts."""
    if not frees or not bench.path.outlined:
        return {free.name.name: bench.value(free.name.name) for free in frees}
    from scipy.optimize import least_squares

    aim = reading_of(before, _PER_CENT)
    asked = np.array([aim.wings[p] for p in _PER_CENT])
    low, high = np.array([f.low for f in frees]), np.array([f.high for f in frees])
    span = high - low
    tracer = Tracer()

    def off(x: Floats) -> Floats:
        moved = bench.set({f.name.name: float(v) for f, v in zip(frees, low + x * span, strict=True)})
        if moved.pivot is not None:
            moved = moved.aimed(aim.nose)
        try:
            found = tracer.read(moved, _PER_CENT)
        except InputError:
            return np.full(len(asked), 90.0)
        return np.array([found.wings[p] for p in _PER_CENT]) - asked

    now = np.clip((np.array([bench.value(f.name.name) for f in frees]) - low) / span, 1e-9, 1 - 1e-9)
    if np.abs(off(now)).max() < 1e-6:
        return {f.name.name: bench.value(f.name.name) for f in frees}  # already the same edge: nothing to move
    starts = [now, *(np.full(len(frees), t) for t in np.linspace(0.1, 0.9, _STARTS))]
    worth = [s for s in starts if np.abs(off(s)).max() < 90.0]
    runs = [least_squares(off, s, bounds=(0.0, 1.0), xtol=1e-12, ftol=1e-12, max_nfev=40) for s in worth]
    if not runs:
        raise InputError("free", "no setting within bounds can grind this edge", "wider bounds, or another setting")
    best = min(runs, key=lambda run: run.cost)
    return {f.name.name: float(v) for f, v in zip(frees, low + best.x * span, strict=True)}


def diameters(recipe: Recipe, ends: Sequence[float] = ()) -> list[float]:
    """Diameters of a wear table, mm: from, to and how many; of the recipe's own wheel where nothing is given.

    Raises InputError; empty for a belt.
    """
    if not ends:
        new = recipe.grinds[0].wheel.diameter_mm
        return [] if new is None else np.linspace(new, _WORN_TO * new, _STEPS).tolist()
    if len(ends) not in (2, 3):
        raise InputError(
            "wear", f"given {len(ends)} numbers, allowed is NEW:WORN or NEW:WORN:STEPS", "write 200:140:15"
        )
    begin, end, count = (*ends, float(_STEPS))[:3]
    if not begin > end > 0:
        raise InputError(
            "wear", f"given {begin:g} to {end:g} mm, allowed is from a larger to a smaller one", "turn them"
        )
    if count != int(count) or not 2 <= count <= 500:
        raise InputError("wear", f"given {count:g} steps, allowed is a whole number from 2 to 500", "change it")
    return np.linspace(begin, end, int(count)).tolist()


def wear(recipe: Recipe, diameters: Sequence[float], before: Edge) -> list[Worn]:
    """The setting for each diameter of a wearing wheel, the nose kept, and how far the wings drift from `before`.

    The first diameter is the new wheel. Raises InputError for a belt, and where a diameter cannot grind it.
    """
    new = bench_of(recipe)
    if new.wheel.diameter_mm is None:
        raise InputError("wear", "a belt does not get smaller", "name a wheel with `to` wheel=NAME")
    aim = reading_of(before, _ALL_ALONG)
    asked = np.array([aim.nose, *aim.wings.values()])
    tracer = Tracer()
    new = new.set({"wheel": float(diameters[0])})
    if new.pivot is not None:
        new = new.aimed(aim.nose)
    rows = []
    for diameter in diameters:
        bench = left = new.on_wheel(float(diameter))
        if bench.pivot is not None:
            bench = bench.aimed(aim.nose)
        try:
            found = tracer.read(bench, _ALL_ALONG)
        except InputError as error:
            raise InputError("wear", f"at {diameter:g} mm: {error.problem}", "end at a larger wheel") from error
        off = np.abs(np.array([found.nose, *found.wings.values()]) - asked)
        place = np.array([0.0, *_ALL_ALONG])
        mean = float(np.trapezoid(off, place) / (place[-1] - place[0]))
        rows.append(
            Worn(
                float(diameter),
                bench.centre_distance(),
                bench.jig.rim_mm,
                bench.measured_distance(),
                found.nose,
                float(off.max()),
                mean,
                left.nose_angle(),
                tuple(_relief_distance(recipe, number, float(diameter)) for number in range(1, len(recipe.grinds))),
            )
        )
    return rows


def _relief_distance(recipe: Recipe, number: int, diameter: float) -> float | None:
    """The straight distance (mm) of a relief on a wheel of that diameter, None where none is set."""
    bench = bench_of(recipe, number)
    return bench.set({"wheel": diameter}).aimed(bench.nose_angle()).measured_distance()
