"""From lines of a section to the tables of bar and flute: what is a circle stays a circle, a spline smooth points."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.bar.bar import Bar
from gougeform.bar.flute import Flute
from gougeform.bar.outline import free_outline
from gougeform.bar.section import Section, build_section
from gougeform.bar.smooth import smooth_outline
from gougeform.errors import InputError
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.take.curves import OUTLINES
from gougeform.take.fits import Laid, fit_flute, fit_outline, thinned
from gougeform.take.known import Known

Floats = NDArray[np.float64]

_SAME_MM = 2e-3
"""A formula that lies within this of all of a line is what was meant."""
_MOST_POINTS = 900  # that are fitted
_SMOOTH_POINTS = 120  # of an outline


@dataclass(frozen=True, eq=False)
class TakenSection:
    """Bar and flute from points, with every fit, best first.

    bar, flute: fields of the recipe's tables, without lengths along the bar, which no section shows. numbers: those of
    them that are measured, by the recipe's names, with their uncertainties. outline, line: the points (n, 2) mm, moved
    so that the bar's axis lies at (0, 0); shift: by how much they were moved.
    """

    bar: dict[str, Any]
    flute: dict[str, Any]
    numbers: dict[str, Known]
    outlines: tuple[Laid, ...]
    flutes: tuple[Laid, ...]
    outline: Floats
    line: Floats
    shift: Floats

    def off(self, section: Section) -> tuple[Floats, Floats]:
        """Distances (n,) mm of the points from a section's outline and from its flute, positive out of the steel."""
        return section.outline.nearest(self.outline)[0], off_flute(section, self.line)


def off_flute(section: Section, points: Floats) -> Floats:
    """(n,) mm from points (n, 2) to the section's flute, positive out of the steel.

    Newton's steps from the nearest of many places; the flute goes on past the lips by a tenth.
    """
    u = np.linspace(1.1 * section.u_left, 1.1 * section.u_right, 1601)
    at = section.flute_point(u)
    near = np.array([u[((at - p) ** 2).sum(1).argmin()] for p in points])
    for _ in range(5):
        p, d = section.flute_point(near), section.flute_tangent(near)
        near = near + ((points - p) * d).sum(1) / (d**2).sum(1)
    return np.asarray(((points - section.flute_point(near)) * section.flute_normal(near)).sum(1))


def take_section(outline: Floats, flute: Floats, *, floor: float = 5e-4) -> TakenSection:
    """Bar and flute from points (n, 2) mm around the outline, whole or in part, and from lip to lip.

    floor: mm the points are good to. Raises InputError where nothing fits, or the two do not lie as in a bar.
    """
    outlines = fit_outline(_fewer(outline), floor=floor)
    best = _meant(outlines, floor)
    shift = np.array([known.value for known in best.middle])
    ring, line = outline - shift, flute - shift
    if abs(best.turned.value) > max(0.05, best.turned.off):
        raise InputError(
            "", f"the bar is turned by {best.turned.value:+.2f}°", "draw it upright, its flute opening upward"
        )
    flutes = fit_flute(_fewer(line), turns=False, floor=floor)
    form = _meant(flutes, floor)
    aside, high = form.middle
    if abs(aside.value) > 0.02 * np.ptp(ring[:, 0]) + 3 * floor:
        raise InputError(
            "", f"the flute's floor lies {aside.value:+.2f} mm beside the bar's middle", "draw it over the bar's middle"
        )
    bar = best.table("outline")
    if best.points is not None:
        bar |= _points_table(ring)
    low = float(ring[:, 1].min())
    low_off = max(best.rms, floor)
    for family in OUTLINES:
        if family.kind == best.kind:  # its size is known better than its lowest point
            sizes = list(best.fields.values())
            low, low_off = -family.reach(np.array([size.value for size in sizes])), sizes[0].off / 2
    web = Known(high.value - low, float(np.hypot(high.off, low_off)))
    if not 0 < web.value < np.ptp(ring[:, 1]):
        raise InputError(
            "",
            f"the flute's floor lies {web.value:.2f} mm over the underside, outside the bar",
            "draw both in one place",
        )
    numbers = {f"bar.{name}": known for name, known in best.fields.items()}
    numbers |= {f"flute.{name}": known for name, known in form.fields.items()} | {"flute.web_mm": web}
    table = form.table("shape") | {"web_mm": web.value}
    return TakenSection(bar, table, numbers, outlines, flutes, ring, line, shift)


def _fewer(points: Floats) -> Floats:
    return points[:: -(-len(points) // _MOST_POINTS)]


def _points_table(ring: Floats) -> dict[str, Any]:
    """Of an outline without formula: smooth points, or straight ones, whichever lies nearer to all of it."""
    found = []
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(np.vstack([ring, ring[:1]]), axis=0).T))])
    even = ring[np.unique(np.searchsorted(arc, np.linspace(0, arc[-1], _SMOOTH_POINTS, endpoint=False)))]
    for smooth, points, build in (
        (False, thinned(ring, closed=True, tolerance=_SAME_MM / 2), free_outline),
        (True, even, smooth_outline),
    ):
        kept = np.round(points, 6) + 0.0
        off = float(np.abs(build(kept).nearest(ring)[0]).max())
        found.append(
            (max(off, _SAME_MM), len(kept), {"points_mm": kept.tolist()} | ({"smooth": True} if smooth else {}))
        )
    return min(found, key=lambda one: one[:2])[2]


def _meant(fits: tuple[Laid, ...], floor: float) -> Laid:
    """The simplest formula that lies on the line as drawn, else the best of all."""
    good = [fit for fit in fits if fit.points is None and fit.rms < max(_SAME_MM, 2 * floor)]
    return min(good, key=lambda fit: (len(fit.fields), fit.rms)) if good else fits[0]


def with_section(like: Recipe, taken: TakenSection, name: str, grind: list[dict[str, Any]] | None = None) -> Recipe:
    """A recipe of the bar and flute that were taken, on the machine of another, with its grinds or these.

    Lengths along the bar and the steel are the other's; the distance from the wheel follows from the nose angle. Raises
    InputError where such a tool cannot be.
    """
    table = {key: value for key, value in like.table.items() if key != "older"} | {"title": f"Taken from {name}"}
    kept = {"bar": set(Bar.model_fields) - {"outline"}, "flute": set(Flute.model_fields) - {"shape"}}
    for part, found in (("bar", taken.bar), ("flute", taken.flute)):
        table[part] = {key: value for key, value in table[part].items() if key in kept[part]} | _rounded(found)
    if grind is not None:
        for key in ("nose_angle_deg", "centre_distance_mm", "rim_distance_mm"):
            table["jig"].pop(key, None)
        table["grind"] = grind
    try:
        recipe = from_table(table, name=Path(name).stem)
        build_section(recipe.bar, recipe.flute)
    except InputError as error:
        raise InputError(error.field, f"what was measured is no tool: {error.problem}", error.hint) from None
    return recipe


def _rounded(table: dict[str, Any]) -> dict[str, Any]:
    """To a hundredth of a micrometre: what stands behind it is the arithmetic's."""
    return {key: round(value, 5) + 0.0 if isinstance(value, float) else value for key, value in table.items()}
