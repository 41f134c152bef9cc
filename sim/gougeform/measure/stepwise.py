"""From the grind a tool has to another one, step by step: which setting first, how far until which mark, what is left.

The end is the same in any order: the lowest of the old surface and all new ones. The first bevel comes first, since its
edge is what lands are measured from; each relief follows with the pocket moved toward the wheel. Within the first bevel
the wheel works its way in along the bar until its surface is held back by no more than the regrind asks. A place of the
edge is reached where the surface, held back so far, meets the old one there, so the ink on the old bevel goes place by
place, and the wings' ends on the lips wander back by as much as the wheel still has to go. Lengths mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground
from gougeform.machine.jig import Setting
from gougeform.measure.between import Field, Shape, sample
from gougeform.measure.edge import Edge, measure_edge
from gougeform.measure.regrind import AT_PER_CENT, FIRST_LAND_MM, place_words, regrinds

Floats = NDArray[np.float64]

_STEP_MM = 0.3  # of the wheel's way in: a part of the work smaller than that is no step of its own


@dataclass(frozen=True)
class Sign:
    """A mark a person can see or measure. what: which; mm: where it is to be, None for one that is only seen."""

    what: str
    mm: float | None = None


@dataclass(frozen=True)
class WorkStep:
    """One step. grind: which grind's setting, from 0; setting: how the machine is set; move: how far pocket or rod is
    moved toward the wheel from the step before (mm; None where it stays or has no distance).

    first: where the wheel touches first. advance: how far along the bar it then works its way in, mm. until: the marks
    that say it is done. steel: mm³ of this step, grams; left: mm³ still to come after it.
    """

    grind: int
    setting: Setting
    move: float | None
    first: str
    advance: float
    until: tuple[Sign, ...]
    steel: float
    grams: float
    left: float


def steps(old: Gouge, new: Gouge, land: float = FIRST_LAND_MM, edge: Edge | None = None) -> tuple[WorkStep, ...]:
    """The order of work from one tool to another on the same bar; land: how long the new bevel must be at least.

    edge: the new tool's, where it is measured already. Raises InputError like `regrinds`.
    """
    edge = measure_edge(new) if edge is None else edge
    alike = old.symmetric and new.symmetric
    back = regrinds(old, new, (land,), edge)[0].nose_loss
    passes, split = [*old.ground.passes, *new.ground.passes], len(old.ground.passes)
    field = sample(new.section, passes, alike)
    first = field.height[split] - field.lowest([(i, 0.0) for i in range(split)])
    over = _over_edge(old.ground, new, edge)
    # Held back by less than this the first surface touches nothing yet.
    begins = float(first.min())
    stops = [back]
    early = max(over[1:])
    if min(back, over[0]) - early > _STEP_MM and early - begins > _STEP_MM:
        stops.insert(0, early)
    density = new.recipe.bar.steel.density_g_cm3 / 1000
    shape = [(i, 0.0) for i in range(split)]
    whole = field.removed(shape, [(i, back) for i in range(split, len(passes))])
    wing, done = max(edge.wing_length(side) for side in (-1, 1)), 0.0
    found: list[WorkStep] = []

    def add(grind: int, surface: tuple[int, float], touch: str, advance: float, until: list[Sign]) -> None:
        nonlocal done
        steel = field.removed(shape, [*shape, surface])
        shape.append(surface)
        done += steel
        setting = new.settings[grind]
        before = new.settings[found[-1].grind if found else 0]
        moved = None
        if grind and setting.rim_distance is not None and before.rim_distance is not None:
            moved = before.rim_distance - setting.rim_distance
        left = max(whole - done, 0.0)
        found.append(WorkStep(grind, setting, moved, touch, advance, tuple(until), steel, steel * density, left))

    touch, came = _touches(field, first, shape, alike), begins
    for stop in stops:
        until = [Sign("the edge meets the lips, behind the nose as it was", wing + stop)]
        if stop == stops[-1]:
            until.append(Sign("the new edge runs from lip to lip, the nose shorter by", back))
        else:
            until.insert(0, Sign("ink gone along the wings, left at the nose"))
        add(0, (split, stop), touch, max(stop - came, 0.0), until)
        touch, came = "where the step before ended", max(stop, came)
    for number in range(1, len(new.ground.passes)):
        relief = field.height[split + number] - field.lowest(shape)
        asked = new.recipe.grinds[number].land_mm
        until = [Sign("land left at the nose", asked)]
        advance = max(back - float(relief.min()), 0.0)
        add(number, (split + number, back), _touches(field, relief, shape, alike), advance, until)
    return tuple(found)


def _over_edge(old: Ground, new: Gouge, edge: Edge) -> list[float]:
    """How far the first bevel's edge lies ahead of the old surface at the nose and AT_PER_CENT of the worse wing."""
    ahead = Ground(new.ground.passes[:1]).heights(edge.point[:2].T).z - old.heights(edge.point[:2].T).z
    wings = zip(*(edge.at_per_cents(side, ahead, AT_PER_CENT) for side in (-1, 1)), strict=True)
    return [float(ahead[edge.nose]), *(max(pair) for pair in wings)]


def _touches(field: Field, ahead: Floats, shape: Shape, alike: bool) -> str:
    """Where a surface that lies `ahead` (c, f) mm of a shape touches it first."""
    c, f = np.unravel_index(int(ahead.argmin()), ahead.shape)
    share = f / (ahead.shape[1] - 1)
    ray = field.columns.take(np.array([c]))
    x = float(ray.point(np.zeros(1, np.intp), np.array([share]))[0, 0])
    return place_words(share, x, float(field.lowest(shape)[c, f]), alike)
