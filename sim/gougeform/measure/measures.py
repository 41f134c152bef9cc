"""All that is measured on one ground tool, collected, with the checks that a grind can be made at all."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.gouge import Gouge
from gougeform.grind.ground import Ground
from gougeform.machine.solid import FACE, SIDE
from gougeform.measure import stated
from gougeform.measure.edge import WING_PER_CENT, Edge, measure_edge
from gougeform.measure.measured import Kept, nested
from gougeform.measure.quantities import COLUMNS, DETAILS, QUANTITIES
from gougeform.measure.quantities.steel import grams
from gougeform.measure.standing import STATED_MM
from gougeform.measure.volume import steel_removed_mm3
from gougeform.read.inches import hinted, looks_like_inches

Floats = NDArray[np.float64]

OVERCUT_LIMIT_MM = 0.1
_STANDING_TOLERANCE = 1e-6
_LAND_MM = 0.01  # a land that differs by more from what was asked is said
_LEANS = 0.01  # mm between the end of the outline and the lip above it
_ALIKE_DEG = 0.005  # wings that differ less look alike in every table
_AT_ONCE = 128  # rays: with as many knots as a path can have the tables still fit into memory, and mostly the cache


@dataclass(frozen=True)
class EdgePlace:
    """A place of the edge: its wedge angle (deg), how far from the nose along the edge and behind it (mm).

    side: -1 left wing, 1 right wing, 0 the nose, or both wings where they are alike. lip: whether it is a wing's end.
    """

    angle: float
    along: float
    behind: float
    side: int
    lip: bool


@dataclass(frozen=True, eq=False)
class Measures(Kept):
    """The numbers of one tool; lengths in mm, angles in deg, mass in g.

    `measures["cheek_width_mm.5"]` is any number of the JSON by its flat name, `measures["cheek_width_mm"]` a table of
    all its places; both raise KeyError for a name that is not measured.
    """

    gouge: Gouge
    edge: Edge

    def __getitem__(self, name: str) -> Any:
        if name in COLUMNS:
            return COLUMNS[name].value(self)
        whole = next((one for one in QUANTITIES if one.key == name), None)
        if whole is None:
            raise KeyError(name)
        return dict(zip(whole.places, whole.values(self), strict=True))

    def table(self, *names: str) -> dict[str, Any]:
        """Some of the numbers as the JSON has them, by flat name or by key; None where there is none."""
        return nested({key: one.finite(self) for key, one in COLUMNS.items() if key in names or one.of.key in names})

    @property
    def nose_angle(self) -> float:
        """Wedge angle at the nose."""
        return float(self.edge.wedge[self.edge.nose])

    @cached_property
    def wing_angles(self) -> dict[int, float]:
        """Wedge angle at per cents of a wing's arc length: the mean of both wings, which differ only off the middle."""
        left, right = (self.wing_angle(side) for side in (-1, 1))
        return {p: (left[p] + right[p]) / 2 for p in WING_PER_CENT}

    def wing_angle(self, side: int, per_cent: tuple[int, ...] = WING_PER_CENT) -> dict[int, float]:
        """Wedge angle at per cents of the right (+1) or left (-1) wing's arc length from the nose."""
        return dict(zip(per_cent, self.edge.at_per_cents(side, self.edge.wedge, per_cent), strict=True))

    @cached_property
    def wing_behind(self) -> dict[int, float]:
        """How far behind the nose, along the bar (mm), the places of `wing_angles` lie: the mean of both wings.

        The per cents count along the edge, which bends: the place at 50 per cent does not lie half a wing length back.
        """
        behind = self.edge.point[2, self.edge.nose] - self.edge.point[2]
        both = (self.edge.at_per_cents(side, behind, WING_PER_CENT) for side in (-1, 1))
        return {p: (left + right) / 2 for p, left, right in zip(WING_PER_CENT, *both, strict=True)}

    @property
    def sharpest(self) -> EdgePlace:
        """Where the wedge angle is smallest, of all stations."""
        return self._edge_place(-self.edge.wedge)

    @property
    def bluntest(self) -> EdgePlace:
        """Where the wedge angle is largest, of all stations."""
        return self._edge_place(self.edge.wedge)

    def _edge_place(self, most: Floats) -> EdgePlace:
        edge = self.edge
        k = int(np.nanargmax(most))
        mirrored = edge.nose - k if len(most) - 1 == 2 * edge.nose else 0
        alike = bool(mirrored) and abs(float(most[edge.nose + mirrored] - most[k])) < _ALIKE_DEG
        return EdgePlace(
            float(edge.wedge[k]),
            float(abs(edge.arc[k] - edge.arc[edge.nose])),
            float(edge.point[2, edge.nose] - edge.point[2, k]),
            0 if alike or k == edge.nose else -1 if k < edge.nose else 1,
            k in (0, len(most) - 1),
        )

    @property
    def land(self) -> float | None:
        """Land at the nose, where there is a relief."""
        return float(self.edge.land[self.edge.nose]) if len(self.gouge.ground.passes) > 1 else None

    @cached_property
    def nose_loss(self) -> float:
        """How much shorter the tool gets: smallest setback that puts the whole edge inside the older steel."""
        z = self.edge.point[2]
        if self.gouge.older is None:
            return max(float(z.max()), 0.0)
        before = self.gouge.older.ground.heights(self.edge.point[:2].T).z
        return max(float((z - before).max()), 0.0)

    @cached_property
    def steel_removed(self) -> float:
        """Volume between the older shape (or a square-ended blank) and this one, mm³."""
        return max(self._steel_removed(1), 0.0)  # where nothing is taken, quadrature alone may go below

    def _steel_removed(self, fineness: float) -> float:
        if self.gouge.older is None:
            return steel_removed_mm3(self.gouge, fineness=fineness)
        return steel_removed_mm3(self.gouge, self.gouge.older.ground, self.nose_loss, fineness)

    @cached_property
    def stated_error(self) -> dict[str, float]:
        """How far these numbers may be off, by unit and kind: angles of nose and wings, all lengths, the hollow of any
        station, and steel removed; and a measured bar between its points.
        """
        steel = stated.steel_mm3(self._steel_removed(0.5), self.steel_removed)
        return {
            "angles_deg": stated.angles_deg(self.edge, WING_PER_CENT),
            "lengths_mm": stated.lengths_mm(self.edge),
            "hollow_mm": stated.HOLLOW_MM,
            "steel_removed_mm3": steel,
            "steel_removed_g": grams(self.gouge, steel),
            "set_up_gap_mm": STATED_MM,
            **({"outline_mm": coarse} if (coarse := self.gouge.recipe.bar.coarse_mm) else {}),
        }

    @cached_property
    def notes(self) -> list[str]:
        """What a person should be told beside the numbers."""
        return _notes(self)


def measure(gouge: Gouge) -> Measures:
    """Measure a ground tool.

    Raises InputError where the grind is not one a person can make: over-cut over 0.1 mm, or steel left standing.
    """
    recipe = gouge.recipe
    source = recipe.source or recipe.name
    try:
        edge = measure_edge(gouge)
        _check_standing(gouge, edge)
        if edge.overcut > OVERCUT_LIMIT_MM:
            k = edge.overcut_at
            wing = "nose" if k == edge.nose else "left wing" if k < edge.nose else "right wing"
            raise InputError(
                "grind.0.wing_length_mm",
                f"the path cuts {edge.overcut:.2f} mm past the outline asked for, on the {wing}"
                f" {-edge.point[2, k]:.1f} mm behind the nose; allowed is {OVERCUT_LIMIT_MM:g} mm",
                "a shorter wing, another cant, another projection, or less relief",
            )
    except InputError as error:
        raise hinted(error, recipe.table).in_file(source) from None
    return Measures(gouge, edge)


def _check_standing(gouge: Gouge, edge: Edge) -> None:
    """A wheel that ends before the stock does leaves a spike ahead of its cut."""
    one_piece = np.concatenate([edge.point[:2], edge.heel_line[:2]], axis=1)
    leave, place, grind = (
        np.concatenate([getattr(cut, name) for cut in (edge.cut, edge.heel_cut)]) for name in ("leave", "s", "grind")
    )
    short = np.flatnonzero(leave < -_STANDING_TOLERANCE)
    if not len(short):
        return
    parts = np.array_split(short, range(_AT_ONCE, len(short), _AT_ONCE))
    covered = np.concatenate(
        [_covered_until(gouge.ground, one_piece[:, i], leave[i], place[i], grind[i]) for i in parts]
    )
    if (covered < -_STANDING_TOLERANCE).any():
        k = int(covered.argmin())
        x, y = one_piece[:, short[k]]
        raise InputError(
            "wheel.width_mm",
            f"steel would be left standing ahead of the cut at x {x:.1f}, y {y:.1f} mm of the section, from"
            f" {-covered[k]:.1f} mm behind the nose on: the wheel is too narrow there",
            "a wider wheel, a contact place nearer its middle, or a shorter wing",
        )


def _covered_until(ground: Ground, points: Floats, cover: Floats, place: Floats, grind: NDArray[np.int8]) -> Floats:
    """How far ahead (n,) mm the stock along rays (2, n) is taken away without a gap, from the winning pose's exit.

    cover, place, grind: (n,) that exit, the winning place on its path, and which pass. The wheel moves continuously:
    what it takes at two knots in a row, and on the way between them, has no gap.
    """
    starts, stops = [], []
    n = points.shape[1]
    ray = np.stack([points[0], points[1], np.zeros(n)])
    for number, one in enumerate(ground.passes):
        pose, knots = one.scan_pose, len(one.path.knots)
        base = ray - np.array([[0.0], [0.0], [one.setback]])
        o = np.einsum("ijk,jn->ink", pose.turn, base) + pose.shift[:, None]
        d = np.broadcast_to(pose.turn[:, 2][:, None], o.shape)
        z_in, z_out, _, _ = one.wheel.crossing(o.reshape(3, -1), d.reshape(3, -1))
        z_in, z_out = z_in.reshape(n, knots), z_out.reshape(n, knots)
        mine = np.flatnonzero(grind == number)
        before = np.clip(np.searchsorted(one.path.knots, place[mine]) - 1, 0, knots - 2)
        cover = cover.copy()
        cover[mine] = np.maximum(cover[mine], np.maximum(z_out[mine, before], z_out[mine, before + 1]))
        both = np.isfinite(z_in[:, :-1]) & np.isfinite(z_in[:, 1:])
        starts += [z_in, np.where(both, np.minimum(z_in[:, :-1], z_in[:, 1:]), np.inf)]
        stops += [z_out, np.where(both, np.maximum(z_out[:, :-1], z_out[:, 1:]), -np.inf)]
    start, stop = np.concatenate(starts, 1), np.concatenate(stops, 1)
    for _ in range(start.shape[1]):
        further = np.where(start <= cover[:, None] + 1e-3, stop, -np.inf).max(1)
        if not (further > cover).any():
            break
        cover = np.maximum(cover, further)
    return cover


def _notes(measures: Measures) -> list[str]:
    gouge, edge = measures.gouge, measures.edge
    notes = [f"{line}." for line in looks_like_inches(gouge.recipe.table)]
    surface = np.concatenate([edge.cut.surface, edge.heel_cut.surface])
    share = float((surface != FACE).mean())
    if share > 0:
        what = "side" if (surface == SIDE).any() else "rounded corner"
        notes.append(
            f"The {what} of the wheel cuts on {100 * share:.0f} % of edge and heel."
            " Never grind on the side of a wheel that is not made for it: use a wider one or move the contact."
        )
    if (edge.cut.grind > 0).any():
        notes.append("The relief takes the edge in places: there no land is left, and the edge is the relief's.")
    asked = min((grind.land_mm for grind in gouge.recipe.grinds[1:] if grind.land_mm is not None), default=None)
    if asked is not None and measures.land is not None and not abs(measures.land - asked) <= _LAND_MM:
        notes.append(
            f"At the nose no land is found where {asked:g} mm were asked: the relief takes the nose itself, or the"
            " plane square to the edge there meets no relief."
            if np.isnan(measures.land)
            else f"At the nose the land left is {measures.land:.2f} mm, not the {asked:g} mm asked: the relief is so"
            " hollow or so little more acute that it crosses the bevel nearer to the edge too. A larger wheel, a more"
            " acute relief, or a shorter land."
        )
    setback = gouge.ground.passes[0].setback
    if setback > 1e-6:
        notes.append(
            f"Rolling takes the nose back by {setback:.2f} mm from where it first touches: the floor of the flute lies"
            " above the roll axis, so the finished nose is not what the settings say. A deeper flute or a traced grind"
            " keeps it."
        )
    if not gouge.recipe.grinds[0].jig.clamps and not gouge.recipe.bar.rolls:
        notes.append(
            "A bar that is not round does not roll evenly on a table; it is turned about its axis here all the same."
        )
    if gouge.outline is not None:
        ends = gouge.outline.at(np.array([-1.0, 1.0]))[0]
        if np.abs(ends[1] - edge.point[1, [0, -1]]).max() > _LEANS:
            notes.append(
                "The flute's walls lean inward at the lips: the outline asked for ends where the flute is widest, and"
                f" from nose to lip the wings are {edge.wing_length(-1):.2f} and {edge.wing_length(1):.2f} mm, not"
                f" {gouge.outline.wing:g}."
            )
    if 1e-3 < edge.overcut <= OVERCUT_LIMIT_MM:
        notes.append(f"The path cuts {edge.overcut:.3f} mm past the outline asked for.")
    return notes


def result(measures: Measures, files: list[str]) -> dict[str, Any]:
    """The JSON object of `gougeform grind --json`: plain numbers, units in the names, null where there is none."""
    details = {one.key: one.take(measures) for one in DETAILS}
    there = (name for name, one in COLUMNS.items() if one.value(measures) is not None)
    return {
        "title": measures.gouge.recipe.title,
        **measures.table(*there),
        **{key: value for key, value in details.items() if value is not None},
        "stated_error": dict(measures.stated_error),
        "notes": measures.notes,
        "files": files,
    }
