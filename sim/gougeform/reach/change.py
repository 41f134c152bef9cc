"""What would have to change for a place to be reached: each lever tried on the tool itself, in the order of effort.

A lever turns a recipe into others, from the least change to the largest; the tool is ground and searched again for
each. So an answer is a tool that reaches the place, not an estimate, on the same jig and wheel. Lengths mm, angles deg.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.measure.measures import measure
from gougeform.measure.quantities.standing import standing
from gougeform.reach.body import Body, build_body
from gougeform.reach.result import Reach, part_name, reached_by
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import with_settings
from gougeform.settings.nearby import ground_near

Ints = NDArray[np.intp]

BLUNTEST_DEG = 80.0
_FINER_DEG = 8.0  # a relief is so much finer than the bevel it relieves (common practice, no source)
_ADDED_LAND_MM = 3.0
_SHORTER_WINGS = (1.0, 0.7, 0.4)  # blunt noses go with short wings: shares of the wing that are tried


@dataclass(frozen=True)
class Lever:
    """One thing that can be changed. key: of the record. words: a sentence's part with its value; tried: with the last.

    now: the recipe's own value, from which changes count, None where it has none. ways: the largest values to try.
    step, fine: of the values tried, and to which the first that reaches is narrowed. make: a recipe with the value;
    raises InputError where it says no.
    """

    key: str
    words: str
    tried: str
    now: Callable[[Gouge], float | None]
    ways: tuple[float, ...]
    step: float
    fine: float
    make: Callable[[Gouge, float], Recipe]

    def values(self, now: float) -> list[float]:
        """What to try, the least change first."""
        out = []
        for end in self.ways:
            count = int(np.ceil(abs(end - now) / self.step - 1e-9))
            sign = np.sign(end - now)
            out += [float(now + sign * min(self.step * k, abs(end - now))) for k in range(1, count + 1)]
        return sorted(out, key=lambda value: abs(value - now))


@lru_cache(maxsize=4)
def _nose_angle(gouge: Gouge) -> float:
    edge = measure(gouge).edge
    return float(edge.wedge[edge.nose])


def _land(gouge: Gouge) -> float | None:
    grinds = gouge.recipe.grinds
    return grinds[1].land_mm if len(grinds) > 1 else _ADDED_LAND_MM + 0.5


def _with_land(gouge: Gouge, value: float) -> Recipe:
    relief = {} if len(gouge.recipe.grinds) > 1 else {"grind.1": {"nose_angle_deg": _nose_angle(gouge) - _FINER_DEG}}
    return changed(gouge.recipe, relief | {"grind.1.land_mm": value})


def _wing(gouge: Gouge) -> float | None:
    path = gouge.recipe.grinds[0].path
    return float(getattr(path, path.extent)) if path.outlined else None


def _with_wing(gouge: Gouge, value: float) -> Recipe:
    return changed(gouge.recipe, {f"grind.0.{gouge.recipe.grinds[0].path.extent}": value})


def _across(gouge: Gouge) -> float:
    outline = gouge.section.outline
    return float(outline.support((1.0, 0.0)) + outline.support((-1.0, 0.0)))


def _with_across(gouge: Gouge, value: float) -> Recipe:
    share, recipe = value / _across(gouge), gouge.recipe
    return recipe.with_(bar=recipe.bar.scaled(share), flute=recipe.flute.scaled(share))


LEVERS = (
    Lever(
        "nose_angle_deg", "a nose angle of {:.0f}°", "nose angles up to {:.0f}°",
        _nose_angle, (BLUNTEST_DEG,), 4.0, 1.0,
        lambda gouge, value: changed(gouge.recipe, {"grind.0.nose_angle_deg": value}),
    ),
    Lever("land_mm", "a relief behind a land of {:.1f} mm", "lands down to {:.1f} mm",
          _land, (0.5,), 0.5, 0.25, _with_land),
    Lever("wing_length_mm", "wings of {:.0f} mm", "wings to {:.0f} mm", _wing, (2.0, 20.0), 4.0, 1.0, _with_wing),
    Lever("bar_mm", "a bar {:.1f} mm wide, its flute in proportion", "bars down to {:.1f} mm wide",
          _across, (5.0,), 1.0, 0.25, _with_across),
    Lever(
        "bar_length_mm", "a bar {:.0f} mm long", "bars up to {:.0f} mm long",
        lambda gouge: gouge.recipe.bar.length_mm, (400.0,), 50.0, 10.0,
        lambda gouge, value: changed(gouge.recipe, {"bar.length_mm": value}),
    ),
)  # fmt: skip
"""In the order of effort: grind blunter, a shorter land or a relief, other wings, another bar, a longer one."""


def _ground(lever: Lever, gouge: Gouge, value: float) -> Gouge | None:
    """The tool with the lever there, at the projection nearest to its own and the longest wings that its jig grinds."""
    try:
        made = lever.make(gouge, value)
    except InputError:
        return None
    wing = _wing(gouge) if lever.key == "nose_angle_deg" else None
    for share in (1.0,) if wing is None else _SHORTER_WINGS:
        try:
            return ground_near(
                made if wing is None or share == 1 else with_settings(made, {"wing_length": wing * share})
            )
        except InputError:
            continue
    return None


@dataclass(frozen=True, eq=False)
class Change:
    """A stretch that is not reached, and what each lever comes to. low, high: mm along the lathe.

    by: the least changed value that reaches all of the stretch's places looked at, missing where none does; recipes:
    of those tools. last: the furthest value that could be ground at all, of the others.
    """

    low: float
    high: float
    parts: tuple[str, ...]
    by: dict[str, float]
    recipes: dict[str, Recipe]
    last: dict[str, float]
    wing: float | None

    @property
    def where(self) -> str:
        """The stretch, and what stops the tool there."""
        span = f"x {self.low:.1f}" + (f" to {self.high:.1f}" if self.high - self.low > 0.05 else "")
        return f"{span} ({', '.join(self.parts)})"

    @property
    def words(self) -> str:
        """What would reach it, the least effort first."""
        told = []
        for lever in LEVERS:
            if lever.key in self.by:
                path = self.recipes[lever.key].grinds[0].path
                wing = float(getattr(path, path.extent)) if path.outlined else None
                also = f" with wings of {wing:.0f} mm" if lever.key == "nose_angle_deg" and wing != self.wing else ""
                told.append(lever.words.format(self.by[lever.key]) + also)
        if told:
            return "; or ".join(told)
        return "none of: " + ", ".join(
            lever.tried.format(self.last[lever.key]) for lever in LEVERS if lever.key in self.last
        )


@dataclass(eq=False)
class _Trials:
    """Tools of one gouge, each ground once."""

    gouge: Gouge
    made: dict[tuple[str, float], tuple[Gouge, Body] | None] = field(default_factory=dict)

    def at(self, lever: Lever, value: float) -> tuple[Gouge, Body] | None:
        """The tool with its body; None where the jig grinds none."""
        if (lever.key, value) not in self.made:
            gouge = _ground(lever, self.gouge, value)
            self.made[lever.key, value] = None if gouge is None else (gouge, build_body(gouge))
        return self.made[lever.key, value]

    def first(self, lever: Lever, reaches: Callable[[Body], bool]) -> tuple[float | None, Recipe | None, float | None]:
        """The least changed value that reaches, with its recipe; and the furthest that could be ground."""
        now = lever.now(self.gouge)
        if now is None:
            return None, None, None

        def good(value: float) -> Recipe | None:
            tool = self.at(lever, value)
            if tool is None or not reaches(tool[1]):
                return None
            try:
                standing(measure(tool[0]))
            except InputError:
                return None
            return tool[0].recipe

        values = lever.values(now)
        for value in values:
            if (recipe := good(value)) is None:
                continue
            step = min(lever.step, abs(value - now))
            while step > lever.fine + 1e-9:
                step /= 2
                nearer = value - float(np.sign(value - now)) * step
                if (better := good(nearer)) is not None:
                    value, recipe = nearer, better
            return value, recipe, value
        ground = [value for value in values if self.made.get((lever.key, value)) is not None]
        return None, None, ground[-1] if ground else None


def stretches_missed(reach: Reach) -> list[Ints]:
    """Runs of neighbouring places that are not reached, each as their numbers (k,)."""
    missed = np.flatnonzero(~reach.reached)
    return [run for run in np.split(missed, np.flatnonzero(np.diff(missed) > 1) + 1) if len(run)]


def _all_reached(reach: Reach, places: Ints, body: Body) -> bool:
    return bool(reached_by(reach, body, places).all())


def what_would_reach(reach: Reach) -> list[Change]:
    """For every stretch that is not reached, what each lever would come to by itself."""
    trials, out = _Trials(reach.gouge), []
    for run in stretches_missed(reach):
        x = reach.places.point[run, 0]
        parts = tuple(dict.fromkeys(part_name(int(reach.part[i, reach.either[i]])) for i in run))
        hardest = run[np.nan_to_num(reach.least[run], posinf=1e3).argmax()]
        places = np.unique([run[0], hardest, run[-1]])
        by, recipes, last = {}, {}, {}
        for lever in LEVERS:
            value, recipe, end = trials.first(lever, partial(_all_reached, reach, places))
            if value is not None and recipe is not None:
                by[lever.key], recipes[lever.key] = value, recipe
            elif end is not None:
                last[lever.key] = end
        out.append(Change(float(x.min()), float(x.max()), parts, by, recipes, last, _wing(reach.gouge)))
    return out
