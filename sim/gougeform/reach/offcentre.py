"""Off-centre work: a cylinder turned about an axis that is not its own.

Model. A cylinder of radius r turns about an axis offset by e from its own. Where the tool is, the wood's surface comes
and goes by 2e in a turn, and its tangent swings to both sides by asin(e / r): by the sine rule in the triangle of both
axes and the contact. Hands follow the coming and going, but hold the tool's direction. Set to the mean tangent, a
straight bevel is then tilted into the wood by up to that angle psi, and what would dig in lifts the edge. With the
bevel's place at x from the edge on the cylinder, the edge stands x sin psi - (r - sqrt(r² - x² cos² psi)) off it. That
grows until the bevel lies tangent at x = r tan psi, where it is r (1 / cos psi - 1); so a land shorter than that helps,
and a bevel longer than that is no worse. Lengths mm, angles rad here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.present.answer import Answer, Block, Number
from gougeform.recipe.model import Recipe

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class OffCentre:
    """radius and offset in mm."""

    radius: float
    offset: float

    def __post_init__(self) -> None:
        if not (np.isfinite(self.radius) and 0 < self.radius <= 1000):
            raise InputError(
                "radius", f"given {self.radius:g}, allowed is above 0 and at most 1000 mm", "change the radius"
            )
        if not (np.isfinite(self.offset) and 0 <= self.offset < self.radius):
            raise InputError(
                "offset",
                f"given {self.offset:g}, allowed is from 0 to below the radius, {self.radius:g} mm",
                "keep the lathe's axis inside the cylinder",
            )

    @property
    def swing(self) -> float:
        """rad: largest turn of the tangent to either side; in one turn it swings by twice that, there and back."""
        return float(np.arcsin(self.offset / self.radius))

    @property
    def travel(self) -> float:
        """How far the surface comes and goes in a turn, mm."""
        return 2 * self.offset

    def tilt(self, turn: Floats) -> Floats:
        """(n,) rad: the tangent's tilt at angles of rotation (n,) rad, 0 where the axes and the contact line up."""
        return np.arcsin(self.offset * np.sin(turn) / self.radius)

    def distance(self, turn: Floats) -> Floats:
        """(n,) mm: lathe axis to the surface at angles of rotation (n,) rad."""
        return self.offset * np.cos(turn) + np.sqrt(self.radius**2 - (self.offset * np.sin(turn)) ** 2)

    def lift(self, bevel: Floats) -> Floats:
        """(n,) mm: how far a bevel or land of length (n,) mm lifts the edge off the wood at the worst of a turn.

        Raises InputError for a length below 0.
        """
        c = np.atleast_1d(np.asarray(bevel, float))
        if not np.isfinite(c).all() or (c < 0).any():
            raise InputError("bevel", f"given {float(np.min(c)):g}, allowed is 0 mm or more", "change the length")
        psi = self.swing
        x = np.minimum(c, self.tangent_at)
        return np.maximum(x * np.sin(psi) - (self.radius - np.sqrt(self.radius**2 - (x * np.cos(psi)) ** 2)), 0.0)

    @property
    def tangent_at(self) -> float:
        """In mm: a bevel of this length or longer lies tangent to the wood at the worst of a turn."""
        return float(self.radius * np.tan(self.swing))


def answer(work: OffCentre, bevels: Iterable[float], recipe: Recipe | None = None) -> Answer:
    """Swing, travel, and the lift against lengths of bevel or land (mm), those of a recipe's nose among them.

    Raises InputError for a length below 0, and where the recipe cannot be ground.
    """
    named = sorted([*((size, "") for size in bevels), *_of_recipe(recipe)], key=lambda one: one[0])
    lift = work.lift(np.array([size for size, _ in named])).tolist()
    swing = math.degrees(work.swing)
    rows = [
        (f"{size:.2f} mm" + (f"  {what}" if what else ""), Number(up, "lift_mm", 3))
        for (size, what), up in zip(named, lift, strict=True)
    ]
    turn = [
        ("the wood's tangent swings", f"{swing:.2f}° to each side, {2 * swing:.2f}° in a turn"),
        ("its surface comes and goes", f"{work.travel:g} mm"),
    ]
    below = (
        "A model: a straight bevel held in one direction, set to the mean tangent. Lift: how far it lifts the edge off"
        f" the wood at the worst of a turn; from {work.tangent_at:.1f} mm on a longer bevel is no worse."
    )
    return Answer(
        f"A cylinder of radius {work.radius:g} mm turned {work.offset:g} mm off its centre",
        [
            Block("In one turn", turn, ("", "")),
            Block("Against the length of bevel or land", rows, ("bevel", "lift"), below=below),
        ],
        result={
            "radius_mm": work.radius,
            "offset_mm": work.offset,
            "tangent_swing_deg": swing,
            "swing_in_a_turn_deg": 2 * swing,
            "travel_mm": work.travel,
            "worst_bevel_mm": work.tangent_at,
            "bevels": [
                {"bevel_mm": size, "what": what or None, "lift_mm": up}
                for (size, what), up in zip(named, lift, strict=True)
            ],
        },
    )


def _of_recipe(recipe: Recipe | None) -> list[tuple[float, str]]:
    if recipe is None:
        return []
    edge = measure_edge(shape(recipe))
    bevel, land = float(edge.bevel[edge.nose]), float(edge.land[edge.nose])
    whole = (bevel, "whole bevel of the tool")
    return [whole] if math.isnan(land) else [(land, "land of the tool"), whole]
