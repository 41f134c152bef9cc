"""What a ruler, a calliper or a protractor reads, turned into the fields of a recipe: closed forms, no search.

Lengths in mm, angles in degrees, as a person reads them. Sections are seen with the flute up, from the bar axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gougeform.errors import InputError


@dataclass(frozen=True)
class Stock:
    """A bar's outside in readings. kind: round, square or flatted; size: diameter or side, mm.

    corner: radius of a square's corners, mm. over_flat: from the flat under a flatted bar to its top, mm.
    """

    kind: str
    size: float
    corner: float = 0.0
    over_flat: float = 0.0

    @property
    def underside(self) -> float:
        """Lowest y, mm."""
        return self.size / 2 - self.over_flat if self.kind == "flatted" else -self.size / 2

    def lip_height(self, half: float) -> float:
        """The y (mm) of the upper outline at x = half: where lips that are twice that apart lie.

        Circle: √(R² − x²); a square's corner: the same on its own circle. Raises InputError where there is no bar.
        """
        r = self.size / 2
        if not 0 < half < r:
            raise InputError(
                "flute.width_mm",
                f"given {2 * half:g}, allowed is above 0 and below the bar's width, {self.size:g} mm",
                "lay the calliper across the flute from lip to lip, and give the whole width",
            )
        if self.kind != "square":
            return math.sqrt(r * r - half * half)
        into = half - (r - self.corner)
        return r if into <= 0 else r - self.corner + math.sqrt(self.corner**2 - into * into)


def flute_depth(stock: Stock, width: float, web: float) -> float:
    """How far (mm) the floor lies under the line from lip to lip, for a web (mm) under it. Raises InputError."""
    depth = stock.lip_height(width / 2) - stock.underside - web
    if not depth > 0:
        lips = stock.lip_height(width / 2) - stock.underside
        raise InputError(
            "flute.web_mm",
            f"given {web:g}, but the lips lie only {lips:.2f} mm above the underside, so no flute is left",
            f"give a web below {lips:.2f}: from the flute's floor straight down to the underside",
        )
    return depth


def flatted_outline(diameter: float, over_flat: float, step_deg: float = 5.0) -> list[list[float]]:
    """Points [x, y] (mm) round a bar of that diameter with a flat along its underside, over_flat from flat to top.

    Raises InputError where the flat does not cut the circle below the axis.
    """
    r = diameter / 2
    y = r - over_flat
    if not r < over_flat < diameter:
        raise InputError(
            "bar.over_flat_mm",
            f"given {over_flat:g}, allowed is above {r:g} and below the bar's diameter, {diameter:g} mm",
            "lay the calliper on the flat and on the round straight above it; no flat at all: `bar` round",
        )
    end = math.degrees(math.asin(y / r))  # the flat's right corner, below the axis
    inner = [k * step_deg for k in range(math.ceil(-90 / step_deg), math.ceil(270 / step_deg))]
    turn = [end, *(a for a in inner if end + step_deg / 4 < a < 180 - end - step_deg / 4), 180 - end]
    return [[round(r * math.cos(math.radians(a)), 3) + 0.0, round(r * math.sin(math.radians(a)), 3)] for a in turn]


def round_outline_points(diameter: float, count: int = 16) -> list[list[float]]:
    """Points [x, y] (mm) round a bar of that diameter: a first list, which a person's own readings replace."""
    turn = (2 * math.pi * k / count for k in range(count))
    return [[round(diameter / 2 * math.cos(a), 2) + 0.0, round(diameter / 2 * math.sin(a), 2) + 0.0] for a in turn]
