"""What a ruler, a protractor and notches can set: the nearest such settings, and the edge those really give."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, Setting, shape
from gougeform.measure.edge import Edge
from gougeform.measure.measures import Measures, measure
from gougeform.measure.quantities.standing import standing
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import Bench, bench_of, with_settings
from gougeform.settings.names import NAMES
from gougeform.settings.problem import EXACT, Problem, Solution, Solved
from gougeform.settings.solve import solve
from gougeform.settings.standing import shortest
from gougeform.settings.trial import Reading
from gougeform.settings.wants import Free, Reader, Want, reading_of

PER_CENT = (25.0, 50.0, 75.0, 95.0)
_ALONG = tuple(float(p) for p in range(1, 101))
_MOST_ROUNDED = 8
COLUMNS = ("by the ruler", "exactly")
"""Heads of the two columns that settings are told in: what a hand can set comes first."""
_TRIED = 8  # choices that are measured where the nearest ones cannot be used
_MEASURED = 2e-6  # deg: the surface's normals are good to 1e-8 rad


@dataclass(frozen=True, eq=False)
class Confirmed:
    """Settings with the edge measured on the finished surface.

    measures, reading and overcut (mm), and where nothing comes of it at all setting, are None where a person cannot
    grind like that, or where the set-up cannot stand; problem says why.
    """

    values: dict[str, float]
    recipe: Recipe
    bench: Bench
    setting: Setting | None
    measures: Measures | None
    reading: Reading | None
    overcut: float | None
    problem: str

    @property
    def edge(self) -> Edge | None:
        """The edge, where there is one."""
        return None if self.measures is None else self.measures.edge

    def misses(self, wants: tuple[Want, ...]) -> dict[str, float]:
        """Got less asked by want, without the land, which a person grinds to."""
        if self.reading is None:
            return {}
        return {want.name: self.reading.value(want.name) - want.value for want in wants if want.name != "land"}


def confirmed(problem: Problem, values: dict[str, float]) -> Confirmed:
    """Measure the finished tool at these settings."""
    recipe = with_settings(problem.recipe, values, problem.grind)
    found: Measures | None = None
    gouge: Gouge | None = None
    refusal = ""
    try:
        gouge = shape(recipe)
        found = standing(measure(gouge))
    except InputError as error:
        refusal = f"{error.field}: {error.problem}" if gouge is None else error.problem
    return Confirmed(
        values,
        recipe,
        bench_of(recipe, problem.grind, problem.reader.bench.section),
        None if gouge is None else gouge.settings[problem.grind],
        found,
        None if found is None else reading_of(found.edge, problem.reader.per_cents),
        None if found is None else found.edge.overcut,
        refusal,
    )


def corrected(problem: Problem, solution: Solution) -> Confirmed:
    """The solution measured on the finished surface, and searched again close by where that differs from the poses.

    It differs where the path cuts a little past its outline, or a wall of the flute leans inward.
    """
    found = confirmed(problem, solution.values)
    shift = {want.name: 0.0 for want in problem.sought}
    for _ in range(4):
        if found.reading is None or solution.worst > EXACT:
            return found
        off = {want.name: found.reading.value(want.name) - want.value for want in problem.sought}
        if max((abs(value) for value in off.values()), default=0.0) <= _MEASURED:
            return found
        shift = {name: shift[name] + value for name, value in off.items()}
        near = Problem(
            problem.recipe,
            tuple(Want(want.name, want.value - shift.get(want.name, 0.0)) for want in problem.sought),
            tuple(_close_by(free, found.values[free.name.name]) for free in problem.frees),
            problem.grind,
        )
        answer = solve(near)
        if not answer.exact:
            return found
        again = confirmed(problem, answer.solutions[0].values)
        if again.reading is None:
            return found
        found = again
    return found


def _close_by(free: Free, value: float) -> Free:
    if free.stops:
        return Free(free.name, value, value, (value,))
    width = 0.1 * (free.high - free.low)
    return replace(free, low=max(free.low, value - width), high=min(free.high, value + width))


def beside(bench: Bench, recipe: Recipe, name: str, value: float) -> list[float]:
    """The one or two values of a setting that a hand can set next to this one, the nearer first; mm or deg.

    A distance is rounded as it is measured, from the rim to the pocket or to the rod's near surface.
    """
    step, shift = NAMES[name].step(recipe), bench.jig.pivot_thick_mm if name == "distance" else 0.0
    count = (value - shift) / step
    ends = {round(float(end * step + shift), 9) for end in (np.floor(count + 1e-9), np.ceil(count - 1e-9))}
    return sorted(ends, key=lambda end: abs(end - value))


def ruled(problem: Problem, values: dict[str, float]) -> dict[str, float]:
    """The settings a person can set nearest to these: a step of ruler or protractor, or the notch they stand in.

    Each setting goes to one of its two neighbours on the ruler; of all such choices the one whose edge misses the
    wants least. Raises InputError where none of the choices can grind.
    """
    return _rounded(problem, values)[0]


def by_ruler(problem: Problem, values: dict[str, float]) -> Confirmed:
    """The same, measured: the first of the choices that can be used, and the nearest where none can.

    Raises InputError like `ruled`.
    """
    choices = _rounded(problem, values)
    first = confirmed(problem, choices[0])
    others = (confirmed(problem, one) for one in choices[1:_TRIED]) if first.problem else ()
    return next((one for one in others if not one.problem), first)


def _rounded(problem: Problem, values: dict[str, float]) -> list[dict[str, float]]:
    """All choices of neighbours on the ruler whose edge can be read, that which misses the wants least first."""
    stops = {free.name.name for free in problem.frees if free.stops}
    names = [name for name in values if name not in stops][:_MOST_ROUNDED]
    choices = [beside(problem.reader.bench, problem.recipe, name, values[name]) for name in names]
    found: list[tuple[float, dict[str, float]]] = []
    for places in product(*choices):
        tried = values | dict(zip(names, places, strict=True))
        try:
            reading = problem.reader.read(tried)
        except InputError:
            continue
        miss = sum((reading.value(want.name) - want.value) ** 2 for want in problem.sought)
        found.append((round(miss, 12), tried))  # of equal ones the nearer to the exact settings, which come first
    if not found:
        raise InputError(
            "ruler",
            f"no setting on a {problem.recipe.ruler_mm:g} mm ruler beside this one can be ground",
            "other wants",
        )
    return [tried for _, tried in sorted(found, key=lambda one: one[0])]


@dataclass(frozen=True, eq=False)
class ByHand:
    """One grind of a recipe as a hand can set it. exact, rounded: settings by plain name, mm or deg; steps: the hand's.

    straight: mm from the rim as a ruler measures it, None where there is no distance. one: the set-up with the edge
    that results. off: that edge's angles less the exact one's, deg, at the nose (0) and at PER_CENT of the wings, the
    mean of both. largest: of all along the edge, deg, without sign.
    """

    exact: dict[str, float]
    rounded: dict[str, float]
    steps: dict[str, float]
    straight: float | None
    one: Confirmed
    off: dict[float, float]
    largest: float


def by_hand(recipe: Recipe, grind: int = 0, names: Sequence[str] = ()) -> ByHand:
    """The nearest settings of a grind that ruler and protractor can set, and the edge they give.

    names: which settings, by default all that a person sets anew for each tool. Each goes to one of the two steps
    beside it: of all such choices the one whose edge is nearest to the exact one, at the nose and along the wings. The
    recipe says the steps (`ruler_mm`, `protractor_deg`). Raises InputError where the exact grind, or every choice,
    cannot be made.
    """
    bench = bench_of(recipe, grind)
    chosen = list(names) or bench.by_hand
    values = {name: bench.value(name) for name in chosen}
    exact = measure(shape(recipe)).edge
    wanted = Reader(recipe, bench, PER_CENT, grind).read(values)
    wants = (Want("nose", wanted.nose), *(Want(f"wing{p:g}", angle) for p, angle in wanted.wings.items()))
    problem = Problem(recipe, wants, tuple(Free(NAMES[name], at, at) for name, at in values.items()), grind)
    one = by_ruler(problem, values)
    if one.edge is None:
        raise InputError("ruler", f"the nearest settings of ruler and protractor cannot be ground: {one.problem}")
    before, after = (reading_of(edge, _ALONG) for edge in (exact, one.edge))
    off = {0.0: after.nose - before.nose} | {p: after.wings[p] - angle for p, angle in before.wings.items()}
    return ByHand(
        values,
        one.values,
        {name: NAMES[name].step(recipe) for name in chosen},
        one.bench.measured_distance(),
        one,
        {p: off[p] for p in (0.0, *PER_CENT)},
        max(abs(value) for value in off.values()),
    )


@dataclass(frozen=True, eq=False)
class Settled:
    """What comes of a problem where the set-up must stand.

    problem: as it was solved, with the projection's range narrowed where that was needed. pairs: each solution exactly,
    and as a ruler can set it, both measured; those that cannot be used last. stopped: why no shorter projection can be
    used; "" where nothing was narrowed.
    """

    problem: Problem
    solved: Solved
    pairs: list[tuple[Confirmed, Confirmed]]
    stopped: str = ""


def settle(problem: Problem) -> Settled:
    """Solve, round to a ruler and measure, looking only where the set-up stands.

    A longer projection keeps what holds the tool away from the wheel; so where the nearest solution cannot be used, the
    shortest projection that can is looked for. Raises InputError where no setting within bounds gives an edge.
    """
    solved = solve(problem)
    pairs = _paired(problem, solved)
    best = pairs[0][0]
    if not best.problem:
        return Settled(problem, solved, pairs)

    def tried(frees: Sequence[Free]) -> Settled:
        narrower = Problem(problem.recipe, problem.wants, tuple(frees), problem.grind)
        again = solve(narrower)
        made = _paired(narrower, again)
        if made[0][0].problem:
            raise InputError("projection", made[0][0].problem)
        return Settled(narrower, again, made)

    try:
        refusal = InputError("projection", best.problem)
        found, stopped = shortest(problem.frees, best.values.get("projection"), tried, refusal)
    except InputError:
        return Settled(problem, solved, pairs)
    return replace(found, stopped=stopped.problem)


def _paired(problem: Problem, solved: Solved) -> list[tuple[Confirmed, Confirmed]]:
    exact = [corrected(problem, solution) for solution in solved.solutions]
    pairs = [(one, by_ruler(problem, one.values)) for one in exact]
    return sorted(pairs, key=lambda pair: bool(pair[0].problem))


def straight_words(bench: Bench) -> str:
    """What the straight distance is measured to."""
    noun = bench.jig.pivot_noun
    return f"rim to the {noun}'s near surface, straight" if bench.jig.pivot_thick_mm else f"rim to {noun}, straight"


def machine(bench: Bench, setting: Setting | None) -> dict[str, float | None]:
    """How the machine is set, with units in the names, as results give it."""
    centre = bench.centre_distance()
    height = bench.jig.level_mm or 0.0
    level = None if centre is None or abs(height) > centre else float(np.sqrt(centre**2 - height**2))
    return {
        "centre_distance_mm": centre,
        "rim_distance_mm": bench.jig.rim_mm,
        "straight_distance_mm": bench.measured_distance(),
        "level_distance_mm": level,
        "contact_deg": None if setting is None or setting.contact is None else float(np.degrees(setting.contact)),
    }
