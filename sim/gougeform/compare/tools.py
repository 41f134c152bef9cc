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
from gougeform.measure.cheek import CHEEK_AT_MM, PAST_EDGE_AT_MM
from gougeform.measure.fan import build_fan
from gougeform.reach.quantities import EVERY, AtWork
from gougeform.reach.result import Terms
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]

_RAYS, _ALONG = 241, 65

COMPARED = (
    *("web_mm", "nose_angle_deg", "wing_angle_deg.50", "wing_angle_deg.95"),
    *(f"cheek_width_mm.{d}" for d in CHEEK_AT_MM),
    *(f"edge_width_mm.{d}" for d in CHEEK_AT_MM),
    *(f"cheek_past_edge_mm.{d}" for d in PAST_EDGE_AT_MM),
    *(f"cheek_past_edge_below_mm.{d}" for d in PAST_EDGE_AT_MM),
    *("tightest_cove_mm", "depth_reached_mm", "reached_mm", "mean_clearance_deg"),
    *("deflection_mm", "frequency_hz", "allowed_overhang_mm", "steel_removed_g"),
)
"""The numbers that are compared."""


@dataclass(frozen=True, eq=False)
class Compared(AtWork):
    """One of the tools, called by its recipe's name."""

    name: str = ""

    @cached_property
    def numbers(self) -> dict[str, float | None]:
        """The numbers that are compared by their flat names; None where there is none."""
        return {key: self._number(key) for key in COMPARED}

    def _number(self, key: str) -> float | None:
        if key in _OVER_THE_REST and self.beam.hand <= self.overhang_mm:
            return None
        value = self.value(key)
        return value if value is not None and np.isfinite(value) else None


_OVER_THE_REST = ("deflection_mm", "frequency_hz")


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
    made = Compared(recipe, meridian, terms, name=name)
    _ = made.numbers, made.stated_error
    return made


def differences(tools: Sequence[Compared]) -> list[str]:
    """What sets each other tool apart from the first, in sentences with sizes; then what cannot be told apart."""
    first, out = tools[0], []
    for other in tools[1:]:
        same = []
        for said in _SAID:
            key = _where_most(first, other, said)
            a, b = first.numbers[key], other.numbers[key]
            error = first.error(key) + other.error(key)
            if a is not None and b is not None and abs(b - a) <= error:
                same.append(f"{EVERY[key].label} ({error:.2g}{EVERY[key].of.unit.sign})")
            elif text := _difference(first, other, key, said):
                out.append(text)
        if same:
            out.append(
                f"{_opened(other.name)} and {first.name} differ by less than this program can tell, the size in"
                f" brackets, in: {', '.join(same)}."
            )
    return out


_SAID = {
    "cheek_width_mm": (
        "the cheek of {b} is {d:.2f} mm {w} than that of {a} {at} mm behind the nose",
        "wider",
        "narrower",
    ),
    "cheek_past_edge_mm": (
        "past its edge {b} stands out {d:.2f} mm {w} than {a} {at} mm behind the nose, both sides together",
        "more",
        "less",
    ),
    "tightest_cove_mm": ("{b} needs a cove {d:.2f} mm {w} in radius than {a}", "larger", "smaller"),
    "depth_reached_mm": ("{b} reaches {d:.2f} mm {w} than {a}", "deeper", "less deep"),
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


def _where_most(first: Compared, other: Compared, said: str) -> str:
    """The number a sentence is about: of one that is measured at several places, that where the tools differ most."""
    places = [key for key in COMPARED if key == said or key.startswith(f"{said}.")]

    def apart(key: str) -> float:
        a, b = first.numbers[key], other.numbers[key]
        return -1.0 if a is None or b is None else abs(b - a)

    return max(places, key=apart)


def _difference(first: Compared, other: Compared, key: str, which: str) -> str:
    a, b = first.numbers[key], other.numbers[key]
    text, more, less = _SAID[which]
    if a is None or b is None:
        if a is None and b is None:
            return ""
        without = other.name if b is None else first.name
        return f"{EVERY[key].label}: there is none for {without}, so the two cannot be compared in it."
    gap = b - a
    words = {"w": more if gap > 0 else less, "at": EVERY[key].place}
    said = text.format(a=first.name, b=other.name, d=abs(gap), p=100 * abs(gap) / a, **words)
    return _opened(said) + "."


def _opened(text: str) -> str:
    """A sentence's beginning: a capital where it starts with one of our own words, a name as it is."""
    return text[:1].upper() + text[1:] if text.startswith(("the ", "land ", "one ", "past ")) else text


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
