"""What sharpening again and again costs a tool, and when a relief must be ground again.

Taken off square to the bevel at the nose, an amount d moves the bevel back along the bar by d / sin(nose angle): the
bevel stands at that angle to the bar (derived). With one bevel each time takes the whole section's area times that.
With a relief each takes only the land's share, and the land grows by as much as bevel and relief drift apart; what the
land no longer costs is taken when the relief is ground again. Over the whole life of the tool both ways take the same
steel, since both end as the same shape so much shorter: a relief saves grinding at the edge, not steel. Lengths mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground
from gougeform.measure.between import sample
from gougeform.measure.edge import Edge, measure_edge

Floats = NDArray[np.float64]

TAKEN_MM = 0.1
"""What one sharpening takes off square to the bevel where nobody says: common practice, no source (0.05 to 0.2)."""
LAND_SHARE = 0.5
"""Of the bevel's length: a longer land is ground short again where nobody says: common practice, no source."""
_RAYS = 257  # down the middle plane, between which a land's end is interpolated
_MOST = 1000  # sharpenings of one cycle that are told one by one


@dataclass(frozen=True)
class Cycle:
    """What a tool with a relief goes through until that is ground again.

    longest: mm, the land that is not to be exceeded. lands: mm at the nose, before the first sharpening and after each.
    steel: mm³ of each sharpening. relief: mm³ when the relief is ground again, to the first land. one_bevel: mm³ that
    as many sharpenings of the same tool without a relief take.
    """

    longest: float
    lands: tuple[float, ...]
    steel: tuple[float, ...]
    relief: float
    one_bevel: float

    @property
    def sharpenings(self) -> int:
        """How many there are until the land would get too long."""
        return len(self.steel)

    @property
    def saved(self) -> float:
        """Share of the steel of `one_bevel` that need not be ground away at the edge; the relief grind takes it."""
        return 1 - sum(self.steel) / self.one_bevel if self.steel else 0.0


@dataclass(frozen=True)
class Sharpening:
    """One sharpening of a tool. taken: mm square to the bevel at the nose; nose_loss: mm shorter.

    in_flute: how many fit into the full-depth flute less the longer wing. steel: mm³ of the next one, and grams; of one
    bevel: what it would take without any relief. cycle: what follows with a relief, None without.
    """

    taken: float
    nose_loss: float
    in_flute: int
    steel: float
    grams: float
    of_one_bevel: float
    cycle: Cycle | None


def sharpening(
    gouge: Gouge,
    edge: Edge | None = None,
    taken: float = TAKEN_MM,
    *,
    longest: float | None = None,
    share: float = LAND_SHARE,
) -> Sharpening:
    """The same grind again, `taken` mm off square to the bevel at the nose.

    longest: the land (mm) not to be exceeded, else `share` of the bevel from edge to heel. Raises InputError where
    nothing is taken, or the land is as long as that already.
    """
    if not taken > 0:
        raise InputError("taken", f"given {taken:g}, allowed is a number above 0 mm", "0.05 to 0.2 is usual")
    edge = measure_edge(gouge) if edge is None else edge
    loss = taken / float(np.sin(np.radians(edge.wedge[edge.nose])))
    wing = max(edge.wing_length(side) for side in (-1, 1))
    passes = gouge.ground.passes
    field = sample(gouge.section, passes, gouge.symmetric)
    one_bevel = field.area() * loss
    later = range(1, len(passes))

    def at(back: float, relief: float = 0.0) -> list[tuple[int, float]]:
        return [(0, back), *((i, relief) for i in later)]

    steel = field.removed(at(0.0), at(loss)) if later else one_bevel
    cycle = None
    if later:
        most = float(edge.bevel[edge.nose]) * share if longest is None else longest
        lands = _lands(gouge, loss, most, asked=longest is not None)
        many = len(lands) - 1
        each = tuple(field.removed(at(k * loss), at((k + 1) * loss)) for k in range(many))
        again = field.removed(at(many * loss), at(many * loss, many * loss))
        cycle = Cycle(most, lands, each, again, many * one_bevel)
    density = gouge.recipe.bar.steel.density_g_cm3 / 1000
    in_flute = max(int((gouge.recipe.flute.length_mm - wing) / loss), 0)
    return Sharpening(taken, loss, in_flute, steel, steel * density, one_bevel, cycle)


def _lands(gouge: Gouge, loss: float, longest: float, *, asked: bool) -> tuple[float, ...]:
    """The land at the nose after 0, 1, … sharpenings, while it is not above `longest`; it alone where it is already.

    asked: whether a person has said how long, so that a longer one is refused.

    The bevel, moved back by b, ends where it lay b over the relief before, so one table of the two tells all lands.
    """
    section, (first, *others) = gouge.section, gouge.ground.passes
    y = np.linspace(section.y_floor, section.outline.on_middle_plane(below=True), _RAYS)
    down = np.stack([np.zeros_like(y), y], -1)
    bevel, relief = (Ground(tuple(part)).heights(down).z for part in ([first], others))
    chord = np.hypot(y - y[0], bevel - bevel[0])
    # Of several places where they meet the one nearest to the edge ends it.
    over = np.maximum.accumulate(bevel - relief)
    rising = np.concatenate([[True], np.diff(over) > 0])
    many = int(np.clip(np.interp(longest, chord, over) / loss, 0, _MOST)) if longest < chord[-1] else _MOST
    lands = np.interp(loss * np.arange(many + 1), over[rising], chord[rising], right=chord[-1])
    now = float(lands[0])
    if now > longest and asked:
        raise InputError(
            "longest",
            f"given {longest:.2f}: the land at the nose is {now:.2f} mm already",
            f"a longest land above {now:.2f} mm, or a shorter land",
        )
    # Once it runs out at the heel there is no relief left to keep.
    out = int(np.searchsorted(lands, chord[-1]))
    return tuple(float(land) for land in lands[: out + 1])
