"""What is solved for: wants and free settings on one grind, and what an answer holds. Lengths mm, angles deg."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from gougeform.errors import InputError
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import bench_of
from gougeform.settings.trial import Reading
from gougeform.settings.wants import Free, Reader, Want

EXACT = 1e-7
"""Degrees (or mm) by which an exact solution may miss what is wanted."""


@dataclass(frozen=True)
class Solution:
    """Settings by plain name, the edge read there, and by how much each want is missed (got less asked)."""

    values: dict[str, float]
    reading: Reading
    misses: dict[str, float]

    @property
    def worst(self) -> float:
        """Largest miss, deg or mm."""
        return max((abs(miss) for miss in self.misses.values()), default=0.0)


@dataclass(frozen=True)
class Unmet:
    """A want that cannot be met: the nearest value that can be reached, and what stops a nearer one.

    beside: other wants that are missed with it, where `nearest` is the best for all of them together.
    """

    want: Want
    nearest: float
    because: str
    beside: tuple[str, ...] = ()

    def __str__(self) -> str:
        unit = "°" if self.want.unit == "deg" else " mm"
        together = f" together with {' and '.join(self.beside)}" if self.beside else ""
        best = "the best for all of them (least squares)" if self.beside else "the nearest that can be reached"
        return (
            f"{self.want.name} = {self.want.value:g}{unit} cannot be met{together}: {best} is"
            f" {self.nearest:.2f}{unit}; {self.because}"
        )


@dataclass(frozen=True)
class Solved:
    """Solutions, best first. exact: they meet every want. family: one of a whole range of solutions, the nearest to
    the present settings. unmet: what cannot be met, where nothing is exact.
    """

    solutions: tuple[Solution, ...]
    exact: bool
    family: bool
    unmet: tuple[Unmet, ...] = ()


class Blocked(Exception):
    """No edge at these settings; `name` is the setting that stops it and `why` says how."""

    def __init__(self, name: str, why: str) -> None:
        super().__init__(why)
        self.name, self.why = name, why


@dataclass(eq=False)
class Problem:
    """Wants and free settings on one grind of a recipe. Wants a traced path sets directly are set, not searched."""

    recipe: Recipe
    wants: tuple[Want, ...]
    frees: tuple[Free, ...]
    grind: int = 0
    reader: Reader = field(init=False)

    def __post_init__(self) -> None:
        recipe = _with_land(self.recipe, self.wants)
        direct = {want.name: want.value for want in self.wants if want.name == "wing_length"}
        if direct and recipe.grinds[self.grind].path.outlined:
            recipe = changed(recipe, {f"grind.{self.grind}.wing_length_mm": direct["wing_length"]})
            self.frees = tuple(free for free in self.frees if free.name.name != "wing_length")
        self.recipe = recipe
        per_cents = [want.per_cent for want in self.wants if want.per_cent is not None]
        self.reader = Reader(recipe, bench_of(recipe, self.grind), per_cents, self.grind)

    @property
    def sought(self) -> tuple[Want, ...]:
        """The wants that are solved for."""
        traced = self.reader.bench.path.outlined
        return tuple(w for w in self.wants if w.name != "land" and not (traced and w.name == "wing_length"))


def _with_land(recipe: Recipe, wants: Sequence[Want]) -> Recipe:
    land = next((want.value for want in wants if want.name == "land"), None)
    if land is None:
        return recipe
    if len(recipe.grinds) < 2:
        raise InputError(
            "want land", "is asked for, but the recipe has no relief", "add a relief grind, or use `gougeform relief`"
        )
    return changed(recipe, {f"grind.{len(recipe.grinds) - 1}.land_mm": land})
