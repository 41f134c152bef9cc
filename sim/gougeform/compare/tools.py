"""Several tools side by side on one workpiece: numbers, overlaid shapes, and the differences in plain words.

Lengths mm, angles deg. A difference smaller than what computing it may be off is called none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.many.crew import crew
from gougeform.measure.fan import build_fan
from gougeform.measure.measures import CHEEK_AT_MM, Measures, measure
from gougeform.quantity import unit_of
from gougeform.reach.cove import COVE_ERROR_MM, Cove, tightest_cove
from gougeform.reach.result import Reach, Terms, reach
from gougeform.reach.search import SEARCH_ERROR_DEG
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]

OVERHANG_MM = 60.0
DEFLECTION_MM = 0.25
_RAYS, _ALONG = 241, 65


@dataclass(frozen=True, eq=False)
class Compared:
    """One of the tools: its recipe's name, measures, reach and tightest cove."""

    name: str
    measures: Measures
    reach: Reach
    cove: Cove

    @property
    def gouge(self) -> Gouge:
        """The ground tool."""
        return self.measures.gouge

    @cached_property
    def numbers(self) -> dict[str, float | None]:
        """The numbers that are compared, units in their names; None where there is none."""
        m, r, recipe = self.measures, self.reach, self.gouge.recipe
        deepest = r.deepest
        give = float(np.linalg.eigvalsh(r.beam.give(OVERHANG_MM))[-1]) if r.beam.hand > OVERHANG_MM else None
        out: dict[str, float | None] = {
            "web_mm": self.gouge.section.y_floor - self.gouge.section.outline.on_middle_plane(below=True),
            "nose_angle_deg": m.nose_angle,
            "wing_angle_50_deg": m.wing_angles[50],
            "wing_angle_95_deg": m.wing_angles[95],
            **{f"cheek_{d}_mm": m.cheeks[d] for d in CHEEK_AT_MM},
            "tightest_cove_mm": self.cove.radius,
            "deepest_mm": None if deepest is None else deepest["depth_mm"],
            "reached_mm": r.length_mm,
            "mean_clearance_deg": float(np.minimum(r.least, r.terms.fineness.most_deg).mean()),
            "deflection_mm": None if give is None else give * r.terms.force_n,
            "frequency_hz": r.beam.frequency(OVERHANG_MM) if give is not None else None,
            "allowed_overhang_mm": r.beam.largest_overhang(DEFLECTION_MM, r.terms.force_n),
            "steel_removed_g": m.steel_removed * recipe.bar.steel.density_g_cm3 / 1000,
        }
        return {key: None if value is None else float(value) for key, value in out.items()}

    def errors(self) -> dict[str, float]:
        """What each number may be off by this program's own doing."""
        r = self.reach
        step = r.whole_mm / max(r.terms.places, 1) / 16
        return {
            "tightest_cove_mm": COVE_ERROR_MM,
            "deepest_mm": max(step, 0.05),
            "reached_mm": 2 * max(step, 0.05),
            "mean_clearance_deg": SEARCH_ERROR_DEG,
            "web_mm": 1e-9,
            **{f"cheek_{d}_mm": 0.005 for d in CHEEK_AT_MM},
            "nose_angle_deg": 1e-3,
            "wing_angle_50_deg": 0.01,
            "wing_angle_95_deg": 0.01,
            "allowed_overhang_mm": 0.01,
            "deflection_mm": 1e-6,
            "frequency_hz": 0.05,
            "steel_removed_g": 1e-4,
        }


ROWS = {
    "web_mm": ("web under the flute", 2),
    "nose_angle_deg": ("nose angle", 2),
    "wing_angle_50_deg": ("wing angle, half way", 2),
    "wing_angle_95_deg": ("wing angle, at 95 %", 2),
    "cheek_3_mm": ("cheek 3 mm behind the nose", 2),
    "cheek_5_mm": ("cheek 5 mm behind the nose", 2),
    "cheek_10_mm": ("cheek 10 mm behind the nose", 2),
    "tightest_cove_mm": ("tightest cove, radius", 2),
    "deepest_mm": ("deepest place reached", 2),
    "reached_mm": ("length of profile reached", 1),
    "mean_clearance_deg": ("clearance angle needed, mean", 2),
    "deflection_mm": (f"deflection at {OVERHANG_MM:g} mm overhang", 3),
    "frequency_hz": (f"first frequency at {OVERHANG_MM:g} mm", 0),
    "allowed_overhang_mm": (f"overhang for {DEFLECTION_MM:g} mm", 1),
    "steel_removed_g": ("steel removed", 2),
}
"""For each number its words and digits."""


def compare(
    recipes: Sequence[Recipe],
    meridian: Meridian,
    terms: Terms | None = None,
    names: Sequence[str] | None = None,
    workers: int = 1,
) -> list[Compared]:
    """Work out every tool, in so many processes. Raises InputError as `gouge.shape`, `measure` and `reach` do."""
    if len(recipes) < 2:
        raise InputError("recipe", f"given {len(recipes)} recipe, at least two are compared", "name another recipe")
    terms = terms or Terms()
    for recipe in recipes:  # all of them first: a grind that cannot be is said at once
        shape(recipe)
    called = names or [recipe.name or recipe.title or f"tool {n}" for n, recipe in enumerate(recipes, 1)]
    with crew(min(workers, len(recipes))) as hands:
        return hands.results(partial(_worked_out, meridian, terms), list(zip(recipes, called, strict=True)))


def _worked_out(meridian: Meridian, terms: Terms, tool: tuple[Recipe, str]) -> Compared:
    recipe, name = tool
    found = reach(shape(recipe), meridian, terms)
    cove = tightest_cove(found.body, terms.limit_deg, terms.tolerance_mm, terms.fineness)
    return Compared(name, measure(found.gouge), found, cove)


def differences(tools: Sequence[Compared]) -> list[str]:
    """What sets each other tool apart from the first, in sentences with sizes; then what cannot be told apart."""
    first, out = tools[0], []
    for other in tools[1:]:
        same = []
        for key in _SAID:
            a, b = first.numbers[key], other.numbers[key]
            error = first.errors()[key] + other.errors()[key]
            if a is not None and b is not None and abs(b - a) <= error:
                same.append(f"{ROWS[key][0]} ({error:.2g}{unit_of(key).sign})")
            elif text := _difference(first, other, key):
                out.append(text)
        if same:
            out.append(
                f"{_opened(other.name)} and {first.name} differ by less than this program can tell, the size in"
                f" brackets, in: {', '.join(same)}."
            )
    return out


_SAID = {
    "cheek_5_mm": ("the cheek of {b} is {d:.2f} mm {w} than that of {a} 5 mm behind the nose", "wider", "narrower"),
    "tightest_cove_mm": ("{b} needs a cove {d:.2f} mm {w} in radius than {a}", "larger", "smaller"),
    "deepest_mm": ("{b} reaches {d:.2f} mm {w} than {a}", "deeper", "less deep"),
    "reached_mm": ("{b} reaches {d:.1f} mm {w} of the profile than {a}", "more", "less"),
    "mean_clearance_deg": (
        "{b} needs {d:.2f}° {w} clearance angle than {a} on the mean of all places",
        "more",
        "less",
    ),
    "deflection_mm": ("{b} bends {p:.0f} % {w} than {a} over the rest", "more", "less"),
    "allowed_overhang_mm": (
        "{b} may hang {d:.1f} mm {w} over the rest than {a} for the same deflection",
        "further",
        "less far",
    ),
    "nose_angle_deg": ("the nose of {b} is {d:.2f}° {w} than that of {a}", "blunter", "more acute"),
}


def _difference(first: Compared, other: Compared, key: str) -> str:
    a, b = first.numbers[key], other.numbers[key]
    text, more, less = _SAID[key]
    if a is None or b is None:
        if a is None and b is None:
            return ""
        which = other.name if b is None else first.name
        return f"{ROWS[key][0]}: there is none for {which}, so the two cannot be compared in it."
    gap = b - a
    said = text.format(a=first.name, b=other.name, d=abs(gap), p=100 * abs(gap) / a, w=more if gap > 0 else less)
    return _opened(said) + "."


def _opened(text: str) -> str:
    """A sentence's beginning: a capital where it starts with one of our own words, a name as it is."""
    return text[:1].upper() + text[1:] if text.startswith(("the ", "land ", "one ")) else text


def section_behind(gouge: Gouge, behind: float) -> Floats:
    """(n, 2) mm: closed outline of the ground tool's section `behind` mm behind the nose; empty where there is none.

    Along a ray from flute to outline the ground surface falls away; the section ends where it is `behind` back.
    """
    fan = build_fan(gouge.section)
    phi = np.linspace(fan.phi_left, fan.phi_right, _RAYS + 2)[1:-1]
    columns = fan.at(phi)
    t = np.linspace(0, 1, _ALONG)
    grid = columns.inner[:, None] + t[None, :, None] * (columns.outer - columns.inner)[:, None]
    z = gouge.ground.heights(grid.reshape(-1, 2)).z.reshape(grid.shape[:2])
    stands = z >= -behind
    live = stands.any(1)
    if not live.any():
        return np.zeros((0, 2))
    first = stands.argmax(1)
    last = _ALONG - 1 - stands[:, ::-1].argmax(1)
    rows = np.arange(len(phi))

    def cross(i: NDArray[np.intp], j: NDArray[np.intp]) -> Floats:
        za, zb = z[rows, i], z[rows, j]
        share = np.clip((za + behind) / np.where(za == zb, 1.0, za - zb), 0, 1)[:, None]
        return np.where((i == j)[:, None], grid[rows, i], grid[rows, i] + share * (grid[rows, j] - grid[rows, i]))

    outer = cross(last, np.minimum(last + 1, _ALONG - 1))
    inner = cross(first, np.maximum(first - 1, 0))
    return np.concatenate([inner[live], outer[live][::-1]])


def without_relief(recipe: Recipe) -> Recipe:
    """The recipe with its first grind alone."""
    return changed(recipe, {f"grind.{i}": None for i in range(1, len(recipe.grinds))})


def with_land(recipe: Recipe, land: float) -> Recipe:
    """The recipe with its relief leaving that land; a recipe without a relief gets the library's `relief`."""
    if len(recipe.grinds) > 1:
        return changed(recipe, {"grind.1.land_mm": land})
    return changed(recipe, {"grind.1": {"from": "relief", "land_mm": land}})


def lands(recipe: Recipe, sizes: Sequence[float]) -> tuple[list[Recipe], list[str]]:
    """The tool with one bevel, then with relief at several lands (mm), and a name for each."""
    made, names = [without_relief(recipe)], ["one bevel"]
    for size in sizes:
        made.append(with_land(recipe, size))
        names.append(f"land {size:g} mm")
    return made, names
