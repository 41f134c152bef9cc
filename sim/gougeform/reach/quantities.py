"""What a tool does over the rest and in the wood, as quantities like the measured ones: `AT_WORK`, from an `AtWork`.

With `gougeform.measure.quantities.COLUMNS` these are all numbers that a study or a comparison can ask for: `EVERY`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge, shape
from gougeform.measure.measured import Column, Kept, Measured, columns
from gougeform.measure.measures import Measures, measure
from gougeform.measure.quantities import COLUMNS
from gougeform.reach.body import Body, build_body
from gougeform.reach.cove import COVE_ERROR_MM, TightestCove, tightest_cove
from gougeform.reach.result import Reach, Terms, reach
from gougeform.reach.search import SEARCH_ERROR_DEG
from gougeform.recipe.model import Recipe
from gougeform.stiffness.beam import Beam, beam_of
from gougeform.work.meridian import Meridian

Floats = NDArray[np.float64]

OVERHANG_MM = 60.0
DEFLECTION_MM = 0.25


@dataclass(frozen=True, eq=False)
class AtWork(Kept):
    """One tool with all that can be asked of it, each computed when first asked for and at most once.

    work: the workpiece, for the quantities of the group reach. overhang_mm: edge to rest, for those of stiffness.
    """

    recipe: Recipe
    work: Meridian | None = None
    terms: Terms = field(default_factory=Terms)
    overhang_mm: float = OVERHANG_MM

    @cached_property
    def gouge(self) -> Gouge:
        """The ground tool. Raises InputError where it cannot be ground."""
        return shape(self.recipe)

    @cached_property
    def measures(self) -> Measures:
        """Its measures. Raises InputError where a person could not make this grind."""
        return measure(self.gouge)

    @cached_property
    def beam(self) -> Beam:
        """The tool as a beam over the rest."""
        return beam_of(self.recipe, self.gouge.section)

    @cached_property
    def give(self) -> float:
        """Movement of the edge in the softer direction by a force of 1 N there, mm."""
        return float(np.linalg.eigvalsh(self.beam.give(self.overhang_mm))[-1])

    @cached_property
    def body(self) -> Body:
        """The tool as what the wood can touch."""
        return build_body(self.gouge)

    @cached_property
    def reach(self) -> Reach:
        """The tool along the workpiece."""
        assert self.work is not None  # whoever asks sees to it
        return reach(self.gouge, self.work, self.terms, body=self.body)

    @cached_property
    def cove(self) -> TightestCove:
        """The tightest cove that it follows."""
        return tightest_cove(self.body, self.terms.limit_deg, self.terms.tolerance_mm, self.terms.fineness)

    @cached_property
    def stated_error(self) -> dict[str, float]:
        """How far each kind of number may be off by this program's own doing."""
        step = max(self.reach.whole_mm / max(self.terms.places, 1) / 16, 0.05)
        return self.measures.stated_error | {
            "web_mm": 1e-9,
            "cove_mm": COVE_ERROR_MM,
            "place_mm": step,
            "reached_mm": 2 * step,
            "mean_deg": SEARCH_ERROR_DEG + _sampling(self),
            "overhang_mm": 0.01,
            "deflection_mm": 1e-6,
            "frequency_hz": 0.05,
        }

    def value(self, name: str) -> float | None:
        """Any number of `EVERY`; None and NaN as `Column.value` has them.

        Raises InputError where the tool cannot be ground, or the question cannot be put to it.
        """
        return EVERY[name].value(self.measures if name in COLUMNS else self)

    def error(self, name: str) -> float:
        """How far that number may be off."""
        return self.stated_error[EVERY[name].of.error]


def _web(tool: AtWork) -> float:
    section = tool.gouge.section
    return section.y_floor - section.outline.on_middle_plane(below=True)


def _depth(tool: AtWork) -> float:
    return 0.0 if tool.reach.deepest is None else tool.reach.deepest["depth_mm"]


def _at_reached(tool: AtWork, column: Floats, most: bool) -> float | None:
    """The largest or smallest value of a column (n, 2) at the better feed of the places that are reached."""
    found = column[np.arange(len(column)), tool.reach.either][tool.reach.reached]
    found = found[np.isfinite(found)]
    return None if not len(found) else float(found.max() if most else found.min())


def _mean_clearance(tool: AtWork) -> float:
    return float(np.minimum(tool.reach.least, tool.terms.fineness.most_deg).mean())


def _sampling(tool: AtWork) -> float:
    """How much the mean hangs on how finely places are taken: against every other place alone, deg."""
    least = np.minimum(tool.reach.least, tool.terms.fineness.most_deg)
    return max(abs(float(least[k::2].mean() - least.mean())) for k in (0, 1)) if len(least) > 1 else 0.0


def _one(
    key: str,
    label: str,
    take: Callable[[AtWork], float | None],
    what: str,
    group: str,
    error: str = "",
    digits: int | None = None,
) -> Measured:
    return Measured(key, label, take, what, group, error, cost_ms=3 if group == "stiffness" else 1000, digits=digits)


AT_WORK = (
    _one("web_mm", "web under the flute", _web, "steel from the floor of the flute straight down", "stiffness",
         "web_mm"),
    _one("stiffness_n_mm", "stiffness over the rest", lambda t: 1 / t.give,
         "force at the edge for 1 mm, at overhang_mm", "stiffness"),
    _one("deflection_mm", "deflection over the rest", lambda t: t.give * t.terms.force_n,
         "movement of the edge by force_n, at overhang_mm", "stiffness", "deflection_mm", 3),
    _one("hand_force_n", "force at the rear hand", lambda t: t.beam.hand_force(t.overhang_mm, t.terms.force_n),
         "force at the rear hand for force_n at the edge", "stiffness"),
    _one("frequency_hz", "first frequency", lambda t: t.beam.frequency(t.overhang_mm),
         "first natural frequency, at overhang_mm", "stiffness", "frequency_hz"),
    _one("allowed_overhang_mm", f"overhang for {DEFLECTION_MM:g} mm",
         lambda t: t.beam.largest_overhang(DEFLECTION_MM, t.terms.force_n),
         f"overhang at which force_n moves the edge by {DEFLECTION_MM:g} mm", "stiffness", "overhang_mm", 1),
    _one("reached_mm", "length of profile reached", lambda t: t.reach.length_mm, "length of profile reached", "reach",
         "reached_mm", 1),
    _one("reached_percent", "part of the profile reached", lambda t: 100 * t.reach.length_mm / t.reach.whole_mm,
         "its part of the profile", "reach"),
    _one("depth_reached_mm", "deepest place reached", _depth, "depth of the deepest place reached, 0 where none is",
         "reach", "place_mm"),
    _one("mean_clearance_deg", "clearance angle needed, mean", _mean_clearance,
         "smallest clearance angle, mean of all places", "reach", "mean_deg"),
    _one("clearance_mm", "clearance behind the heel", lambda t: _at_reached(t, t.reach.clearance, False),
         "smallest gap between wood and tool behind the heel, where it reaches", "reach"),
    _one("overhang_needed_mm", "overhang needed", lambda t: _at_reached(t, t.reach.overhang, True),
         "largest overhang over the rest, where it reaches", "reach"),
    _one("tightest_cove_mm", "tightest cove, radius", lambda t: t.cove.radius,
         "smallest radius of a cove that it follows", "cove", "cove_mm"),
)  # fmt: skip

EVERY: dict[str, Column] = COLUMNS | columns(AT_WORK)
"""Every number that can be asked of a tool, by its flat name."""
