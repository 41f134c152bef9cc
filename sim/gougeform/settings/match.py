"""The setting at which the wheel lies on the bevel a tool has now, and what going from one grind to another costs.

The light gap is the space between the old bevel and the surface the new setting would grind from the same edge,
square to the old bevel. It is zero everywhere for the setting the tool was ground with. Lengths mm, angles deg.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.grind.ground import Ground, Pass
from gougeform.machine.paths import PATHS
from gougeform.measure.edge import Edge, measure_edge
from gougeform.measure.fan import build_fan
from gougeform.measure.measures import Measures, measure
from gougeform.measure.quantities.regrind import rows
from gougeform.measure.quantities.standing import standing
from gougeform.measure.regrind import Regrind
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import Bench, bench_of, with_settings
from gougeform.settings.likeness import traced_like
from gougeform.settings.names import NAMES
from gougeform.settings.problem import EXACT, Problem
from gougeform.settings.solve import solve
from gougeform.settings.standing import shortest
from gougeform.settings.wants import Free, Want

Floats = NDArray[np.float64]

LIES_MM = 0.1
"""Less light than this all along is contact all the way round: a sheet of paper; common practice, no source."""
NOSE_DEG = (20.0, 80.0)
"""Nose angles a person sets a jig for: common practice, no source. What lies well outside them is no match."""
EQUAL_MM = 2e-3
"""Settings whose largest light differs by less lie equally well on the bevel: nobody sees 0.002 mm."""
_SHAPES = ("fullness", "shoulder")  # of the outline, where the jig has too few settings for the angles
_WING = 21  # stations of a wing
_LIP = 0.04  # of a wing that is left out at its lip
_DOWN = 9  # from edge to heel
_OUTSIDE = 5.0  # mm of light that a degree outside NOSE_DEG counts while searching: more than any bevel has
_AT_BOUND = 1e-3  # of its span: so near its end a setting is stopped there
_NO_EDGE = 1e2  # mm: stands for "cannot be ground" while searching


@dataclass(frozen=True, eq=False)
class Bevel:
    """The old bevel as points (3, stations, down) from edge to heel, its normals there, and each station's place.

    A station's points lie on a ray of the section from flute to outline, as the mesh has them
    (`gougeform.measure.fan`). place: (stations,) per cent of a wing, negative on the left, 0 at the nose. reach:
    (stations, down) mm from edge. first: (stations, down) whether it is the first grind's bevel; behind a land it is
    the relief's.
    """

    point: Floats
    normal: Floats
    place: Floats
    reach: Floats
    first: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Lying:
    """How a setting lies on a bevel. gap: (stations, down) mm; above 0 there is air, below 0 the wheel would bite.

    NaN behind the land of a relief, where the wheel has nothing to lie on.
    """

    values: dict[str, float]
    bench: Bench
    gap: Floats

    @property
    def light(self) -> Floats:
        """(stations,) mm: the light along each station's bevel, from where it touches to where it stands off most."""
        return np.asarray(np.nanmax(self.gap, 1) - np.nanmin(self.gap, 1))

    @property
    def largest(self) -> float:
        """Largest light, mm."""
        return float(self.light.max())

    @property
    def rms(self) -> float:
        """Root mean square of the gap, mm."""
        return float(np.sqrt(np.nanmean(self.gap**2)))


@dataclass(frozen=True, eq=False)
class Cost:
    """What a regrind costs: the tool after it; rows: touching the edge, a first land, and all the way."""

    measures: Measures
    rows: tuple[Regrind, ...]


@dataclass(frozen=True, eq=False)
class Match:
    """The best setting first; equal: how many others lie as well; cost: what grinding there takes.

    old: the tool as it is, with its edge. lies: whether it is contact all the way round, and of a path the edge has.
    stopped: settings that stand at the end of how far they may go, with that end. recipe: the machine's, so set.
    """

    old: Gouge
    edge: Edge
    bevel: Bevel
    best: Lying
    equal: int
    recipe: Recipe
    cost: Cost
    stopped: dict[str, float]
    rolled: bool
    notes: list[str]

    @property
    def lies(self) -> bool:
        """Whether less than LIES_MM of light is left anywhere."""
        return self.best.largest < LIES_MM


def _thinned(bevel: Bevel) -> Bevel:
    """Every second point of a bevel, which is enough to fit to; nose and ends stay."""
    part = slice(None, None, 2)
    return Bevel(
        bevel.point[:, part, part],
        bevel.normal[:, part, part],
        bevel.place[part],
        bevel.reach[part, part],
        bevel.first[part, part],
    )


def bevel_of(gouge: Gouge, edge: Edge) -> Bevel:
    """Points down the first bevel of a tool: to its heel, or where there is a relief to the end of the land."""
    section = gouge.section
    share = np.linspace(0.0, 1.0, _DOWN)
    middle, last = edge.arc[edge.nose], edge.arc[-1] - edge.arc[edge.nose]
    # Even along each wing, short of the lips, where edge and heel meet and there is no bevel.
    arc = np.concatenate([middle * np.linspace(_LIP, 1, _WING)[:-1], middle + last * np.linspace(0, 1 - _LIP, _WING)])
    column = build_fan(section).at_flute(np.interp(arc, edge.arc, edge.u))
    flat = (column.inner[:, None] + share[:, None] * (column.outer - column.inner)[:, None]).reshape(-1, 2)
    cut = gouge.ground.heights(flat)
    shape_ = (len(arc), _DOWN)
    point = np.stack([*flat.T, cut.z]).reshape(3, *shape_)
    first = np.logical_and.accumulate((cut.grind == 0).reshape(shape_), axis=1)
    place = 100 * np.where(arc < middle, (arc - middle) / middle, (arc - middle) / last)
    reach = np.sqrt(((point - point[:, :, :1]) ** 2).sum(0))
    return Bevel(point, cut.normal.reshape(3, *shape_), place, reach, first)


def ground_of(bench: Bench) -> Ground:
    """What one grind leaves on a bench. Raises InputError where a place of the edge has no pose."""
    one = Pass(bench.path.sweep(bench.section, bench.built, bench.solid), bench.solid)
    if one.path.outline is not None:
        return Ground((one,))
    nose = float(Ground((one,)).heights(np.array([[0.0, bench.section.y_floor]])).z[0])
    return Ground((replace(one, setback=-nose),))


def gap_on(bevel: Bevel, bench: Bench) -> Floats:
    """(stations, down) mm: the light gap of a setting. Raises InputError where it cannot grind that edge."""
    flat = bevel.point[:2].reshape(2, -1)
    z = ground_of(bench).heights(flat.T).z.reshape(bevel.reach.shape)
    # Along the bar and then square to the old bevel: exact to first order, and zero only where there is no gap.
    return np.where(bevel.first, (z - bevel.point[2]) * bevel.normal[2], np.nan)


def old_from_angles(
    machine: Recipe, measured: Sequence[Want], frees: Sequence[Free] | None = None
) -> tuple[Recipe, dict[str, float]]:
    """A tool with measured angles and wing length, as a recipe ground on this machine, and what it misses of them.

    As many settings of the jig are turned as there are angles, those first that a person turns first. frees: instead
    these. Raises InputError.
    """
    bench = bench_of(machine)
    if not bench.path.outlined:
        raise InputError("measured", "measured angles need a traced grind in the recipe", "use a recipe with one")
    angles = sum(want.unit == "deg" for want in measured)
    if not any(want.name == "nose" for want in measured):
        raise InputError("measured", "the nose angle is missing", "add nose=35")
    plain = changed(machine, {f"grind.{i}": None for i in range(1, len(machine.grinds))})
    first, *rest = [name for name in (*bench.by_hand, *_SHAPES) if name in bench.names]
    best: tuple[float, Recipe, dict[str, float]] | None = None
    for others in [()] if frees else combinations(rest, angles - 1):
        chosen = frees or [Free(NAMES[name], *bench.bounds(NAMES[name])) for name in (first, *others)]
        problem = Problem(plain, tuple(measured), tuple(chosen))
        found = solve(problem).solutions[0]
        worst = max((abs(miss) for miss in found.misses.values()), default=0.0)
        if best is None or worst < best[0]:
            best = worst, with_settings(problem.recipe, found.values), found.misses
        if worst < EXACT:
            break
    assert best is not None
    return best[1:]


def on_machine(machine: Recipe, old: Recipe, edge: Edge) -> tuple[Recipe, list[str]]:
    """The machine's recipe with the old tool's own outline, one grind, and the old nose angle to start from."""
    notes: list[str] = []
    changes: dict[str, Any] = {f"grind.{i}": None for i in range(1, len(machine.grinds))}
    first = old.grinds[0].path
    if first.holds and machine.grinds[0].jig.loose:
        fields, off = traced_like(old, edge)
        notes.append(f"The old edge was rolled at one setting; the outline traced here lies within {off:.2f} mm of it.")
    else:
        fields = first.model_dump(exclude={"contact_mm"})
    own = {name: value for name, value in machine.table["grind"][0].items() if name not in PATHS.fields}
    for name in ("nose_angle_deg", "centre_distance_mm", "rim_distance_mm"):
        own.pop(name, None)
    nose = float(edge.wedge[edge.nose])
    # The tool is the old one: only wheel and jig are the machine's.
    changes |= {"bar": old.table["bar"], "flute": old.table["flute"]}
    changes["grind.0"] = own | fields | {"nose_angle_deg": nose}
    changes["older"] = None
    return changed(machine, changes), notes


def match(old: Recipe, machine: Recipe, frees: Sequence[Free] | None = None) -> Match:
    """The setting of the machine's jig at which its wheel lies best on the old tool's bevel, all along the edge.

    Among settings that lie equally well, and can stand, the one that costs least steel. Where the jig cannot follow
    that edge, the closest contact that it makes rolling at one setting. Raises InputError where there is none of both.
    """
    gouge = shape(old)
    edge = measure_edge(gouge)
    bevel = bevel_of(gouge, edge)
    start, notes = on_machine(machine, old, edge)
    found, chosen, rolled = _search(start, frees, bevel, edge), frees, False
    if not found and not start.grinds[0].jig.loose and not start.grinds[0].path.holds:
        start, rolled = _rolled(start), True
        chosen = [free for free in frees if bench_of(start, 0, gouge.section).field(free.name)] if frees else None
        found = _search(start, chosen, bevel, edge)
    if not found:
        raise InputError("free", "no setting within bounds can follow the old edge", "wider bounds, or another jig")
    least = min(one.rms for one in found)

    def priced(one: Lying) -> tuple[Cost, Lying, Recipe]:
        recipe = with_settings(start, one.values)
        return cost(old, recipe), one, recipe

    usable, refused = [], []
    for one in _different([one for one in found if one.rms <= least + EQUAL_MM]):
        try:
            usable.append(priced(one))
        except InputError as error:
            refused.append((one, error))
    if not usable:
        one, refusal = refused[0]
        refusal = replace(refusal, hint=f"{refusal.hint}; or free another setting, or another jig")
        frees_there = list(chosen or _usual(one.bench))
        at_projection = one.values.get("projection")
        usable = [
            shortest(frees_there, at_projection, lambda part: priced(_best(start, part, bevel, edge)), refusal)[0]
        ]
        notes.append(f"With a shorter projection it would lie better, but {refusal.problem}.")
    else:
        notes += [f"A setting that lies as well cannot be used: {error.problem}." for _, error in refused[:1]]
    price, best, recipe = min(usable, key=lambda item: item[0].rows[0].steel)
    ends = chosen or _usual(best.bench)
    stopped = {
        free.name.name: end
        for free in ends
        for end in (free.low, free.high)
        if abs(best.values[free.name.name] - end) < _AT_BOUND * (free.high - free.low)
    }
    return Match(gouge, edge, bevel, best, len(usable) - 1, recipe, price, stopped, rolled, notes)


def _rolled(start: Recipe) -> Recipe:
    """The same tool and machine, rolled at one setting instead of traced."""
    own = {name: value for name, value in start.table["grind"][0].items() if name == "wheel"}
    nose = start.grinds[0].jig.nose_angle_deg
    return changed(start, {"grind.0": own | {"path": "steady", "roll_max_deg": 90.0, "nose_angle_deg": nose}})


def _search(start: Recipe, frees: Sequence[Free] | None, bevel: Bevel, edge: Edge) -> list[Lying]:
    """Settings of the start's machine that lie best on the bevel, from several places; none where it cannot follow."""
    from scipy.optimize import least_squares

    bench = bench_of(start)
    chosen = list(frees) if frees else _usual(bench)
    low, high = (np.array([getattr(free, end) for free in chosen]) for end in ("low", "high"))
    span = high - low

    def bench_at(x: Floats) -> Bench:
        return bench.set({f.name.name: float(v) for f, v in zip(chosen, low + x * span, strict=True)})

    def off(x: Floats, on: Bevel) -> Floats:
        at = bench_at(x)
        least, most = NOSE_DEG
        nose = at.nose_angle()
        outside = _OUTSIDE * (max(least - nose, 0.0) + max(nose - most, 0.0)) if np.isfinite(nose) else _NO_EDGE
        try:
            gap = gap_on(on, at)[on.first]
        except InputError:
            gap = np.full(int(on.first.sum()), _NO_EDGE)
        return np.append(np.where(np.isfinite(gap), gap, _NO_EDGE), outside * np.sqrt(on.first.sum()))

    found: list[Lying] = []
    for x in _starts(bench, chosen, low, span, float(edge.wedge[edge.nose])):
        for on, most in ((_thinned(bevel), 40), (bevel, 8)):
            start_at = np.clip(x, 1e-9, 1 - 1e-9)
            run = least_squares(off, start_at, args=(on,), bounds=(0.0, 1.0), xtol=1e-11, ftol=1e-11, max_nfev=most)
            x = run.x
        if np.abs(run.fun).max() >= _NO_EDGE:
            continue
        at = bench_at(x)
        if not NOSE_DEG[0] - 0.5 < at.nose_angle() < NOSE_DEG[1] + 0.5:
            continue
        found.append(Lying({f.name.name: at.value(f.name.name) for f in chosen}, at, gap_on(bevel, at)))
        if found[-1].rms < EQUAL_MM / 10 and len(chosen) <= 2:
            break  # two settings for a whole bevel: there is no second one that lies as well
    return found


def _best(start: Recipe, frees: Sequence[Free], bevel: Bevel, edge: Edge) -> Lying:
    """The setting that lies best. Raises InputError where none can follow the edge."""
    found = _search(start, frees, bevel, edge)
    if not found:
        raise InputError("free", "no setting within bounds can follow the old edge", "wider bounds, or another jig")
    return min(found, key=lambda lying: lying.rms)


def _usual(bench: Bench) -> list[Free]:
    """What is turned where nothing is said: the distance and the projection; a table's tilt."""
    names = [bench.jig.dial, *(["projection"] if bench.path.outlined and bench.jig.clamps else [])]
    return [Free(NAMES[n], *bench.bounds(NAMES[n])) for n in names]


def _starts(bench: Bench, frees: Sequence[Free], low: Floats, span: Floats, nose: float) -> list[Floats]:
    """Places to search from, 0 … 1 by setting: the present ones first, the distance always where the nose fits."""
    dial = bench.jig.dial
    rest = [free for free in frees if free.name.name != dial]
    shares = [None, 0.35, 0.65, 0.15][: 2 if len(rest) < 2 else 4] if rest else [None]
    starts = []
    for share in shares:
        values = {}
        for free in rest:
            now = min(max(bench.value(free.name.name), free.low), free.high)
            values[free.name.name] = now if share is None else free.low + share * (free.high - free.low)
        values[dial] = bench.set(values).aimed(nose).value(dial)
        x = (np.array([values[free.name.name] for free in frees]) - low) / span
        if np.isfinite(x).all():
            starts.append(np.clip(x, 0.0, 1.0))
    return starts


def _different(found: Sequence[Lying]) -> list[Lying]:
    kept: list[Lying] = []
    for one in sorted(found, key=lambda lying: lying.rms):
        if all(max(abs(one.values[n] - k.values[n]) for n in one.values) > 0.05 for k in kept):
            kept.append(one)
    return kept


def cost(old: Recipe, new: Recipe) -> Cost:
    """What it takes to grind the new recipe on the old tool. Raises InputError where it cannot be ground or set up."""
    found = standing(measure(shape(changed(new, {"older": old.table}))))
    made = rows(found)
    assert made is not None  # the recipe has an older grind
    return Cost(found, made)
