"""A relief from its three numbers, of which any two give the third: the land, the move of the pocket, and the angle.

In the middle plane every grind leaves an arc of the wheel's radius R through the nose (a relief's, held back along the
bar). With β the wedge angle where an arc meets the nose, its slope a depth h below the nose is γ with
cos γ = cos β - h / R (from the circle; derived). A land of chord L on the first arc lies h = L·sin(β₁ + asin(L / 2R₁))
deep, so the relief's angle where it begins follows from its setting and the land in closed form. Lengths mm, angles
rad inside, deg at the surface.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge, shape
from gougeform.measure.edge import Edge
from gougeform.measure.measures import Measures, measure
from gougeform.measure.quantities.standing import standing
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import Bench, bench_of


@dataclass(frozen=True)
class Relief:
    """One relief; lengths mm, angles deg.

    move: of pocket or rod toward the wheel, mm (a table: how much flatter it is tilted, deg). nose: the nose angle the
    second setting would make by itself. angle: the relief's slope to the bar axis where it begins, at the land's end.
    turn: by how much it falls away there from the land's own slope.
    """

    land: float
    move: float
    nose: float
    angle: float
    turn: float
    bench: Bench

    @property
    def unit(self) -> str:
        """Unit of the move."""
        return self.bench.dial.unit


@dataclass(frozen=True, eq=False)
class MadeRelief:
    """A relief on the finished tool."""

    relief: Relief
    recipe: Recipe
    measures: Measures
    angle: float  # measured on the surface, deg

    @property
    def gouge(self) -> Gouge:
        """The ground tool."""
        return self.measures.gouge

    @property
    def edge(self) -> Edge:
        """Its edge."""
        return self.measures.edge


class Middle:
    """The middle plane of a recipe's first grind, and reliefs on it."""

    def __init__(self, recipe: Recipe) -> None:
        self.base = changed(recipe, {f"grind.{i}": None for i in range(1, len(recipe.grinds))})
        self.first = bench_of(self.base)
        self.gouge = shape(self.base)
        edge = measure(self.gouge).edge
        self.nose = float(np.radians(edge.wedge[edge.nose]))
        self.bevel = float(edge.bevel[edge.nose])
        self.curvature = self.first.solid.curvature
        # A relief is ground on the same wheel unless the recipe's own relief has another.
        self.second = bench_of(recipe, 1) if len(recipe.grinds) > 1 else self.first
        self.own = recipe

    def depth(self, land: float) -> float:
        """How far (mm) below the nose a land ends. Raises InputError where the bevel is not that long."""
        if not 0 < land < self.bevel:
            raise InputError(
                "land",
                f"given {land:g}: the bevel at the nose is {self.bevel:.2f} mm long",
                f"a land above 0 and below {self.bevel:.2f} mm",
            )
        return float(land * np.sin(self.nose + np.arcsin(land * self.curvature / 2)))

    def from_move(self, land: float, move: float) -> Relief:
        """The relief of a move with a land left. Raises InputError."""
        return self._made(land, move, self._moved(move))

    def from_angle(self, land: float, angle: float) -> Relief:
        """The relief that begins with this angle (deg) at the end of a land: how far to move. Raises InputError."""
        depth = self.depth(land)
        cosine = np.cos(np.radians(angle)) + depth * self.second.solid.curvature
        if not cosine < 1 or not np.arccos(cosine) < self.nose:
            low = np.degrees(np.arccos(1 - depth * self.second.solid.curvature))
            high = np.degrees(np.arccos(np.cos(self.nose) - depth * self.second.solid.curvature))
            raise InputError(
                "angle",
                f"given {angle:g}: at the end of a {land:g} mm land a relief can begin with {low:.2f} to {high:.2f}°",
                "an angle between them; from the upper one on it takes the edge and not the heel",
            )
        nose = float(np.degrees(np.arccos(cosine)))
        bench, dial = self.second.aimed(nose), self.first.jig.dial
        if not bench.clear:
            raise InputError("angle", f"given {angle:g}: pocket or rod would stand in the wheel", "a blunter relief")
        return self._made(land, self.first.value(dial) - bench.value(dial), bench)

    def from_both(self, move: float, angle: float) -> Relief:
        """The relief of a move that begins with this angle (deg): the land that is left. Raises InputError."""
        bench = self._moved(move)
        nose, k = np.radians(bench.nose_angle()), self.second.solid.curvature
        if k == 0:
            raise InputError(
                "angle",
                f"on a belt the relief is flat: it has {np.degrees(nose):.2f}° everywhere",
                "give `land` instead",
            )
        depth = float((np.cos(nose) - np.cos(np.radians(angle))) / k)
        most = self.depth(self.bevel * (1 - 1e-9))
        if not 0 < depth < most:
            high = np.degrees(np.arccos(np.cos(nose) - most * k))
            raise InputError(
                "angle",
                f"given {angle:g}: moved {move:g}, the relief begins with {np.degrees(nose):.2f} degrees at the edge"
                f" to {high:.2f} at the heel",
                "an angle between them",
            )
        if self.curvature == 0:
            land = depth / np.sin(self.nose)
        else:
            slope = np.arccos(np.cos(self.nose) - depth * self.curvature)
            land = 2 * np.sin((slope - self.nose) / 2) / self.curvature
        return self._made(float(land), move, bench)

    def _moved(self, move: float) -> Bench:
        dial = self.first.dial
        bench = self.second.set({dial.name: self.first.value(dial.name) - move})
        if not bench.clear:
            raise InputError("move", f"given {move:g}: pocket or rod would stand in the wheel", "a smaller move")
        if not np.isfinite(bench.nose_angle()):
            raise InputError("move", f"given {move:g}: the nose cannot touch the wheel there", "a smaller move")
        nose = bench.nose_angle()
        if not 1 < nose < np.degrees(self.nose):
            raise InputError(
                "move",
                f"given {move:g}: that setting makes {nose:.2f}°, the first bevel has {np.degrees(self.nose):.2f}°;"
                " a relief must be more acute, and at least 1 degree",
                f"a move {dial.quantity.ways[1]}, above 0",
            )
        return bench

    def _made(self, land: float, move: float, bench: Bench) -> Relief:
        depth = self.depth(land)
        nose = np.radians(bench.nose_angle())
        angle = np.arccos(np.cos(nose) - depth * bench.solid.curvature)
        own = np.arccos(np.cos(self.nose) - depth * self.curvature)
        return Relief(
            land, move, float(np.degrees(nose)), float(np.degrees(angle)), float(np.degrees(own - angle)), bench
        )

    @property
    def step(self) -> float:
        """The smallest move a person can set: a step of the ruler in mm, for a tilt of the protractor in degrees."""
        return self.first.dial.step(self.base)

    def on_ruler(self, relief: Relief) -> Relief:
        """The same land with the move a ruler can set: whole steps, at least one."""
        return self.from_move(relief.land, max(round(relief.move / self.step), 1) * self.step)

    def family(self, land: float) -> list[Relief]:
        """Reliefs that leave this land, by whole steps of the ruler, down to 20 degrees more acute than the bevel."""
        made = []
        for count in range(1, 400):
            try:
                relief = self.from_move(land, count * self.step)
            except InputError:
                if count == 1:
                    raise
                break
            if relief.nose < np.degrees(self.nose) - 20:
                break
            made.append(relief)
        return made

    def table(self, relief: Relief) -> Recipe:
        """The recipe with this relief after its first grind."""
        own: dict[str, Any] = dict(self.own.table["grind"][1]) if len(self.own.grinds) > 1 else {}
        for name in ("nose_angle_deg", "centre_distance_mm", "rim_distance_mm"):
            own.pop(name, None)
        dial = relief.bench.dial
        own[relief.bench.field(dial)] = relief.bench.value(dial.name)
        return changed(self.base, {"grind.1": own | {"land_mm": relief.land}})

    def made(self, relief: Relief) -> MadeRelief:
        """The relief ground and measured. Raises InputError where a person cannot grind it, or set it up."""
        recipe = self.table(relief)
        gouge = shape(recipe)
        measures = standing(measure(gouge))
        edge, k = measures.edge, measures.edge.nose
        way = self.nose + np.arcsin(relief.land * self.curvature / 2)
        crease = np.array([[0.0, edge.point[1, k] - relief.land * np.sin(way)]])
        height = gouge.ground.passes[1].cut(
            np.array([[0.0], crease[:, 1], [0.0]], dtype=float), np.array([[0.0], [0.0], [1.0]])
        )
        angle = float(np.degrees(np.arctan2(height.normal[2, 0], -height.normal[1, 0])))
        return MadeRelief(relief, recipe, measures, angle)


def relief_of(recipe: Recipe) -> Relief:
    """The relief that a recipe's second grind is, in its three numbers. Raises InputError where it leaves no land."""
    middle, land = Middle(recipe), recipe.grinds[1].land_mm
    assert land is not None
    dial = middle.first.jig.dial
    return middle.from_move(land, middle.first.value(dial) - bench_of(recipe, 1).value(dial))
