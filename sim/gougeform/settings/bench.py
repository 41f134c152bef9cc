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
from gougeform.machine.jig import DISTANCES, Jig
from gougeform.machine.path import Path
from gougeform.machine.rig import Pivot, Rig
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
    """A grind's parts. A jig that stands at a distance always carries rim_distance_mm here and no other distance.

    steel_mm: how much bar there is from nose to ferrule, which a projection cannot use up.
    """

    section: Section
    jig: Jig
    wheel: WheelFields
    path: Path
    steel_mm: float = np.inf

    @property
    def contact(self) -> float:
        """Place across the wheel's face, mm."""
        return self.path.contact

    @property
    def across(self) -> float:
        """How far the contact lies from the pivot's plane, mm; 0 where the jig slides along."""
        return self.jig.across(self.contact)

    @cached_property
    def solid(self) -> WheelSolid:
        """The wheel as computed with."""
        return self.wheel.build()

    @cached_property
    def built(self) -> Rig:
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
        low, high = name.bounds
        if name.name == "distance":
            low += self.jig.pivot_thick_mm
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

    @cached_property
    def pivot(self) -> Pivot | None:
        """The line from pocket or rod to the nose; None where the jig turns about no fixed place."""
        return self.jig.pivot(self.section)

    @property
    def dial(self) -> Name:
        """The setting that makes the nose angle."""
        return NAMES[self.jig.dial]

    def nose_distance(self, nose_angle_deg: float) -> float:
        """The rim distance (mm) for a nose angle in closed form (law of cosines); NaN where there is none."""
        assert self.pivot is not None
        return self.pivot.rim_distance(float(np.radians(nose_angle_deg)), self.solid.curvature, self.across)

    def aimed(self, nose_angle_deg: float) -> Bench:
        """The bench with its dial set for a nose angle in closed form; its distance is NaN where there is none."""
        value = nose_angle_deg if self.pivot is None else self.nose_distance(nose_angle_deg)
        return self.set({self.jig.dial: value})

    def nose_angle(self) -> float:
        """The nose angle (deg) this setting makes, in closed form; NaN where the nose cannot touch the wheel."""
        if self.pivot is None:
            return self.value(self.jig.dial)
        return float(np.degrees(self.pivot.nose_angle(self.value("distance"), self.solid.curvature, self.across)))

    @property
    def clear(self) -> bool:
        """Whether the pivot stands outside the wheel with its whole thickness; yes where there is none."""
        return self.pivot is None or self.value("distance") > self.jig.pivot_thick_mm

    def on_wheel(self, diameter_mm: float) -> Bench:
        """The bench on a wheel of another diameter, mm, with the pivot left where it stands."""
        assert self.wheel.diameter_mm is not None
        moved = self.set({"wheel": diameter_mm})
        if self.pivot is None:
            return moved
        return moved.set({"distance": self.value("distance") + (self.wheel.diameter_mm - diameter_mm) / 2})

    def measured_distance(self) -> float | None:
        """The straight distance (mm) a person measures from the rim: to the pocket, or to the rod's near surface."""
        return None if self.jig.rim_mm is None else self.jig.rim_mm - self.jig.pivot_thick_mm

    def centre_distance(self) -> float | None:
        """Wheel's centre to pocket or rod centre, mm; None without such a pivot, and for a belt."""
        if self.jig.rim_mm is None or self.wheel.diameter_mm is None:
            return None
        return self.jig.rim_mm + self.wheel.diameter_mm / 2


def bench_of(recipe: Recipe, grind: int = 0, section: Section | None = None) -> Bench:
    """The bench of one of a recipe's grinds. Raises InputError where the nose cannot touch the wheel."""
    if not 0 <= grind < len(recipe.grinds):
        raise InputError("grind", f"given {grind}, the recipe has {len(recipe.grinds)}", "grinds count from 0")
    one = recipe.grinds[grind]
    section = section or build_section(recipe.bar, recipe.flute)
    bench = Bench(section, one.jig, one.wheel, one.path, recipe.bar.length_mm)
    try:
        return replace(bench, jig=one.jig.standing(section, bench.solid, bench.contact))
    except InputError as error:
        raise hinted(error, recipe.table).in_file(recipe.source or recipe.name) from None


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
