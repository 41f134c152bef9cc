"""Honing on a wheel of any diameter, and a shaped hone for the flute.

A honing wheel turns away from the edge: turned into it, as for grinding, the edge digs in and the tool is thrown.

In the middle plane the bevel is an arc of the grinding wheel. A honing wheel lies tangent at the edge when its own nose
angle there is the edge's; it lies on edge and heel when it passes through both, so that its angle at the edge is the
chord's less asin(c / 2R) (angle between chord and tangent; derived). The jig stays as it is for
grinding, and but for one way the tool's projection too. Lengths mm, angles deg at the surface.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.section import Section
from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.machine.wheel import Wheel as WheelFields
from gougeform.measure.edge import Edge
from gougeform.measure.measures import measure
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import Bench, bench_of
from gougeform.settings.names import NAMES
from gougeform.settings.ruler import beside
from gougeform.settings.trial import Tracer

Floats = NDArray[np.float64]

PER_CENT = (25.0, 50.0, 75.0, 95.0)
_NO_WINGS_DEG = 1e3  # stands for wings that cannot be followed while searching
_COARSE = 9  # projections tried first


@dataclass(frozen=True, eq=False)
class Set:
    """One way to set the honing wheel. bench: the set-up, or None where there is none and `problem` says why.

    off: nose and wings at PER_CENT, hone's angle less the edge's, deg; above 0 the hone is blunter and works on the
    edge alone, below 0 it rubs on the heel. Wings are NaN where the path is steady or no pose exists. at_heel: the gap
    (mm) between hone and heel at the nose, the hone touching the edge; below 0 the hone would stand in the steel.
    ruler: the same with what a hand can set, None where that cannot be.
    """

    words: str
    bench: Bench | None
    nose: float
    off: Floats
    at_heel: float
    problem: str = ""
    ruler: Set | None = None

    @property
    def wings(self) -> float:
        """Root mean square of what the wings are off, deg; NaN where they are not compared."""
        return float(np.sqrt(np.mean(self.off[1:] ** 2)))


@dataclass(frozen=True, eq=False)
class Honing:
    """Ways to set a honing wheel for a ground tool. chord: edge to heel at the nose (with a relief: the land), mm."""

    gouge: Gouge
    edge: Edge
    chord: float
    chord_angle: float
    ways: tuple[Set, ...]
    notes: tuple[str, ...]


def honing(recipe: Recipe, wheel: WheelFields) -> Honing:
    """Every way to set this honing wheel: tangent at the edge, on edge and heel, and as the grinding wheel was.

    Raises InputError where the recipe cannot be ground.
    """
    gouge = shape(recipe)
    edge = measure(gouge).edge
    k = edge.nose
    ground = bench_of(recipe, 0, gouge.section)
    nose = float(np.radians(edge.wedge[k]))
    landed = bool(np.isfinite(edge.land[k]))
    chord = float(edge.land[k] if landed else edge.bevel[k])
    curve = ground.solid.curvature
    chord_angle = nose + float(np.arcsin(min(chord * curve / 2, 1.0)))
    # On the honing wheel the contact is in the middle of its face, whatever it was on the grinding wheel.
    bench = Bench(ground.section, ground.jig, wheel, ground.path.in_the_middle())
    asked = _asked(edge)
    tracer = Tracer()

    def way(words: str, at: Bench | None, angle: float, problem: str = "") -> Set:
        heel = _heel_gap(chord, chord_angle, angle, bench.solid.curvature)
        return Set(words, at, float(np.degrees(angle)), _off(tracer, at, angle, asked), heel, problem)

    ways = [_tangent("tangent at the edge", bench, nose, way)]
    end = "the land's end" if landed else "the heel"
    both = chord_angle - float(np.arcsin(min(chord * bench.solid.curvature / 2, 1.0)))
    if bench.solid.curvature > curve * (1 + 1e-12):
        problem = (
            f"a honing wheel smaller than the grinding wheel stands in the hollow: on edge and {end} together it would"
            " cut the bevel between them"
        )
        ways.append(
            Set(f"on edge and {end}", None, float(np.degrees(both)), np.full(len(asked), np.nan), np.nan, problem)
        )
    else:
        ways.append(_tangent(f"on edge and {end}", bench, both, way))
    ways += _kept(ground, bench, way)
    ways += _projected(bench, nose, way)
    ways = [replace(one, ruler=_ruled(one, recipe, way)) for one in ways]
    notes = []
    if not ground.path.outlined:
        notes.append(
            "The grind is a steady one: the wings follow from rolling it on the hone, and are not compared here."
        )
    if landed:
        notes.append(f"The tool has a relief, so the hone lies on the {chord:.2f} mm land.")
    return Honing(gouge, edge, chord, float(np.degrees(chord_angle)), tuple(ways), tuple(notes))


def _asked(edge: Edge) -> Floats:
    """(1 + wings,) the edge's own angles at nose and PER_CENT, deg."""
    from gougeform.settings.wants import reading_of

    found = reading_of(edge, PER_CENT)
    return np.array([found.nose, *found.wings.values()])


def _tangent(words: str, bench: Bench, angle: float, way) -> Set:  # type: ignore[no-untyped-def]
    """The setting that makes this angle (rad) at the nose."""
    degrees = float(np.degrees(angle))
    aimed = bench.aimed(degrees)
    if not aimed.clear:
        problem = "pocket or rod would stand in the honing wheel; a longer projection keeps it off"
        return Set(words, None, degrees, np.full(1 + len(PER_CENT), np.nan), np.nan, problem)
    return way(words, aimed, angle)


def _projected(bench: Bench, angle: float, way) -> list[Set]:  # type: ignore[no-untyped-def]
    """Tangent at the edge with the projection turned too, so that the wings are off least; none without wings."""
    from scipy.optimize import minimize_scalar

    if not bench.path.outlined or "projection" not in bench.by_hand or bench.pivot is None:
        return []
    words = "tangent, projection too"

    def at(projection: float) -> Set:
        return _tangent(words, bench.set({"projection": projection}), angle, way)

    def off(projection: float) -> float:
        wings = at(projection).wings
        return wings if np.isfinite(wings) else _NO_WINGS_DEG

    low, high = bench.bounds(NAMES["projection"])
    grid = np.linspace(low, high, _COARSE)
    k = int(np.argmin([off(float(value)) for value in grid]))
    ends = grid[max(k - 1, 0)], grid[min(k + 1, _COARSE - 1)]
    found = minimize_scalar(off, bounds=ends, method="bounded", options={"xatol": 1e-3})
    return [at(float(found.x))] if found.fun < _NO_WINGS_DEG else []


def _ruled(one: Set, recipe: Recipe, way) -> Set | None:  # type: ignore[no-untyped-def]
    """The nearest settings of ruler and protractor, and what those are off."""
    if one.bench is None:
        return None
    bench = one.bench
    at = bench.set({name: beside(bench, recipe, name, bench.value(name))[0] for name in bench.by_hand})
    angle = at.nose_angle()
    return way(one.words, at, float(np.radians(angle))) if np.isfinite(angle) else None


def _kept(ground: Bench, bench: Bench, way) -> list[Set]:  # type: ignore[no-untyped-def]
    """The grinding setting kept: the distance from the rim, and the pocket or rod left where it is."""
    if bench.pivot is None:
        return [way(f"kept: {bench.dial.words}", bench, float(np.radians(bench.nose_angle())))]
    made = []
    rim = ground.value("distance")
    cases = [("kept: distance from rim", rim)]
    if ground.wheel.diameter_mm is not None and bench.wheel.diameter_mm is not None:
        left = rim + (ground.wheel.diameter_mm - bench.wheel.diameter_mm) / 2
        cases.append(("kept: from the centre", left))
    for words, distance in cases:
        at = bench.set({"distance": distance})
        angle = at.nose_angle() if at.clear else float("nan")
        if np.isfinite(angle) and 0 < angle < 180:
            made.append(way(words, at, float(np.radians(angle))))
        else:
            problem = "the nose cannot touch the honing wheel there" if at.clear else "it would stand in the wheel"
            made.append(Set(words, None, float("nan"), np.full(1 + len(PER_CENT), np.nan), np.nan, problem))
    return made


def _off(tracer: Tracer, bench: Bench | None, angle: float, asked: Floats) -> Floats:
    off = np.full(len(asked), np.nan)
    off[0] = float(np.degrees(angle)) - asked[0]
    if bench is None or not bench.path.outlined:
        return off
    try:
        found = tracer.read(bench, PER_CENT)
    except InputError:
        return off
    return np.array([found.nose, *found.wings.values()]) - asked


def _heel_gap(chord: float, chord_angle: float, angle: float, curvature: float) -> float:
    """Air (mm) between the hone and the bevel's end, the hone touching the edge at an angle (rad) to the bar axis.

    The end lies a chord away at chord_angle; from the hone's tangent at the edge it stands out toward the hone by
    chord·sin of the difference, while the hone falls away from its tangent by its own sagitta. Below 0 it bites.
    """
    turn = chord_angle - angle
    out = chord * np.sin(turn)
    if curvature == 0:
        return float(-out)
    # Distance from the wheel's face of a point (along, out) where the centre is (0, R) on the tangent's far side.
    along, radius = chord * np.cos(turn), 1 / curvature
    far = along**2 + out**2 - 2 * radius * out
    return float(far / (radius + np.sqrt(radius**2 + far)))


def largest_hone(section: Section) -> tuple[float, float]:
    """The largest edge radius (mm) of a shaped hone that touches the flute's floor and no wall, and the floor's own.

    A circle of radius r on the floor stays clear of a wall point (x, y) above the floor while r <= (x² + y²) / 2y
    (from the circle; derived). At the floor itself that is the radius of curvature there.
    """
    u = np.linspace(0.0, section.u_right, 4001)[1:]
    point = section.flute_point(u) - np.array([0.0, section.y_floor])
    x, y = point[:, 0], point[:, 1]
    with np.errstate(divide="ignore"):
        radius = np.where(y > 1e-9, (x * x + y * y) / (2 * np.maximum(y, 1e-300)), np.inf)
    # The last places before the floor tell its own radius; a flat floor leaves it to the walls.
    floor = _floor_radius(section)
    k = int(radius.argmin())
    least = float(radius[k])
    if 0 < k < len(u) - 1:
        left, here, right = radius[k - 1 : k + 2]
        bend = left - 2 * here + right
        least = float(here - (right - left) ** 2 / (8 * bend)) if bend > 0 and np.isfinite(bend) else least
    return min(least, floor), floor


def _floor_radius(section: Section) -> float:
    _, slope, bend = section.flute.height(np.array([1e-9]))
    curve = float(bend[0] / (1 + slope[0] ** 2) ** 1.5)
    return 1 / curve if curve > 1e-9 else float("inf")
