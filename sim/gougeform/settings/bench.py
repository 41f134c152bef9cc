"""One grind set up on a machine: the section, jig, wheel and path, with settings read and changed by plain name.

The distance is held as the rim distance, so that changing a length of the jig leaves the pocket or rod where it is,
as on a real bench. Lengths mm, angles deg (these are a person's settings; they are turned to rad where computed with).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from gougeform.bar.section import Section, build_section
from gougeform.errors import InputError
from gougeform.machine.jig import DISTANCES
from gougeform.machine.jigs import AnyJig
from gougeform.machine.jigs.foot import FootJig
from gougeform.machine.jigs.rod import RodJig
from gougeform.machine.paths import AnyPath
from gougeform.machine.rig import AnyRig
from gougeform.machine.solid import WheelSolid
from gougeform.machine.wheel import Wheel as WheelFields
from gougeform.read.inches import hinted
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.settings.names import NAMES, Name

import numpy as np  # isort: skip

HELD_MM = 15.0
"""mm of bar a clamp is taken to need behind its face where settings are looked for: common practice, no source."""


@dataclass(frozen=True, eq=False)
class Bench:
    """A grind's parts. Foot and rod jigs here always carry rim_distance_mm and no other distance.

    steel_mm: how much bar there is from nose to ferrule, which a projection cannot use up.
    """

    section: Section
    jig: AnyJig
    wheel: WheelFields
    path: AnyPath
    steel_mm: float = np.inf

    @property
    def contact(self) -> float:
        """Place across the wheel's face, mm."""
        return self.path.contact

    @property
    def across(self) -> float:
        """How far a foot jig's contact lies from the pocket's plane, mm; 0 for the others."""
        return self.jig.across(self.contact)

    @cached_property
    def solid(self) -> WheelSolid:
        """The wheel as computed with."""
        return self.wheel.build()

    @cached_property
    def built(self) -> AnyRig:
        """The jig as computed with. Raises InputError where the nose cannot touch the wheel."""
        return self.jig.set_up(self.section, self.solid, self.contact)

    def field(self, name: Name) -> str:
        """The field of a setting on this bench, "" where it has none."""
        kind = {"jig": self.jig.kind, "path": self.path.path, "wheel": self.wheel.kind}[name.table]
        return name.field(kind)

    def value(self, name: str) -> float:
        """A setting's value. Raises InputError where this bench has no such setting."""
        one = NAMES[name]
        field = self.field(one)
        if not field:
            raise InputError(name, f"{self.noun} has no such setting", f"allowed are {', '.join(self.names)}")
        return float(getattr({"jig": self.jig, "path": self.path, "wheel": self.wheel}[one.table], field))

    @property
    def names(self) -> list[str]:
        """The settings this bench has."""
        return [name for name, one in NAMES.items() if self.field(one)]

    @property
    def by_hand(self) -> list[str]:
        """Those that a person sets anew for each tool."""
        return [name for name in self.names if NAMES[name].quantity.by_hand]

    def bounds(self, name: Name) -> tuple[float, float]:
        """How far a setting is looked for where a person gives no bounds; what it is now always lies within."""
        now = self.value(name.name)
        # A rod's own thickness keeps its centre off the rim.
        low = name.low + self.rod_radius if name.name == "distance" else name.low
        high = name.high
        if self.ends_at_ferrule(name):
            high = min(high, max(self.steel_mm - HELD_MM, now))
            low = min(low, high / 2)
        return min(low, now), max(high, now)

    def ends_at_ferrule(self, name: Name) -> bool:
        """Whether the bar's length bounds a setting: the projection, where a clamp holds the bar behind it."""
        return name.name == "projection" and self.jig.clamps

    @property
    def noun(self) -> str:
        """What this is, for a sentence."""
        return f"{self.jig.noun} with a {self.path.path} path on a {self.wheel.kind}"

    def set(self, values: dict[str, float]) -> Bench:
        """The bench with settings changed by plain name; values are not checked against the recipe's ranges."""
        updates: dict[str, dict[str, float]] = {}
        for name, value in values.items():
            one = NAMES[name]
            updates.setdefault(one.table, {})[self.field(one)] = float(value)
        return replace(
            self,
            **{table: getattr(self, table).model_copy(update=update) for table, update in updates.items()},
        )

    def nose_distance(self, nose_angle_deg: float) -> float:
        """The rim distance (mm) for a nose angle in closed form (law of cosines); NaN where there is none."""
        pivot = self.jig.pivot(self.section)
        assert pivot is not None
        return pivot.rim_distance(float(np.radians(nose_angle_deg)), self.solid.curvature, self.across)

    def nose_angle(self) -> float:
        """The nose angle (deg) this setting makes, in closed form; NaN where the nose cannot touch the wheel."""
        if self.jig.kind == "table":
            assert self.jig.nose_angle_deg is not None
            return self.jig.nose_angle_deg
        assert self.jig.rim_distance_mm is not None
        pivot = self.jig.pivot(self.section)
        return float(np.degrees(pivot.nose_angle(self.jig.rim_distance_mm, self.solid.curvature, self.across)))

    def measured_distance(self) -> float | None:
        """The straight distance (mm) a person measures from the rim: to the pocket, or to the rod's near surface."""
        if isinstance(self.jig, FootJig):
            return self.jig.rim_distance_mm
        if isinstance(self.jig, RodJig):
            assert self.jig.rim_distance_mm is not None
            return self.jig.rim_distance_mm - self.jig.rod_diameter_mm / 2
        return None

    @property
    def rod_radius(self) -> float:
        """Half the rod's diameter, mm; 0 where there is no rod. The rod's centre must stay further from the rim."""
        return self.jig.rod_diameter_mm / 2 if isinstance(self.jig, RodJig) else 0.0

    def centre_distance(self) -> float | None:
        """Wheel's centre to pocket or rod centre, mm; None for a table or a belt."""
        if self.jig.kind == "table" or self.wheel.diameter_mm is None:
            return None
        assert self.jig.rim_distance_mm is not None
        return self.jig.rim_distance_mm + self.wheel.diameter_mm / 2


def bench_of(recipe: Recipe, grind: int = 0, section: Section | None = None) -> Bench:
    """The bench of one of a recipe's grinds. Raises InputError where the nose cannot touch the wheel."""
    if not 0 <= grind < len(recipe.grinds):
        raise InputError("grind", f"given {grind}, the recipe has {len(recipe.grinds)}", "grinds count from 0")
    one = recipe.grinds[grind]
    section = section or build_section(recipe.bar, recipe.flute)
    jig: AnyJig = one.jig
    bench = Bench(section, jig, one.wheel, one.path, recipe.bar.length_mm)
    if jig.kind == "table":
        return bench
    try:
        rim = jig.at_rim(section, bench.solid, bench.contact)
    except InputError as error:
        raise hinted(error, recipe.table).in_file(recipe.source or recipe.name) from None
    update = dict.fromkeys(DISTANCES) | {"rim_distance_mm": rim}
    return replace(bench, jig=jig.model_copy(update=update))


def with_settings(recipe: Recipe, values: dict[str, float], grind: int = 0) -> Recipe:
    """The recipe with settings of one grind changed by plain name, written where the recipe has them.

    A relief keeps its own nose angle when a length of the jig changes. Raises InputError for values a recipe refuses.
    """
    bench = bench_of(recipe, grind)
    changes: dict[str, Any] = {}
    for name, value in values.items():
        one = NAMES[name]
        field = bench.field(one)
        if one.table == "path" or (grind > 0 and one.table == "jig"):
            place = f"grind.{grind}.{field}"
        elif one.table == "wheel":
            own = recipe.grind[grind].wheel is not None
            place = f"grind.{grind}.wheel.{field}" if own else f"wheel.{field}"
        else:
            rivals = DISTANCES if field in DISTANCES else (field,)
            first = any(rival in recipe.grind[0].plain() for rival in rivals)
            place = f"grind.0.{field}" if first else f"jig.{field}"
        changes[place] = float(value)
    return changed(recipe, changes)
