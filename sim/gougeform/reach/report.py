"""Reach as tables for a terminal, as columns for CSV, and as one JSON object. Lengths mm, angles deg."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from gougeform.reach.body import BEHIND_HEEL, PARTS
from gougeform.reach.cove import Cove
from gougeform.reach.drawing import feed_words
from gougeform.reach.result import Reach, part_name
from gougeform.reach.search import SEARCH_ERROR_DEG
from gougeform.read.inches import WORK_MM, inches_hint
from gougeform.tell.report import NOTHING, console_for, print_list, table

Floats = NDArray[np.float64]

RIDES_DEG = 0.05
"""Up to this clearance angle the table's one digit says 0.0: the bevel rides."""

SLOPE = {-1: "downhill", 0: "level", 1: "uphill"}

MODEL_NOTES = (
    "Grain is not judged. Where both directions do equally well the downhill cut is named: toward the smaller radius on"
    " outside work, toward the larger one inside a hollow. An inclination near 90° moves the edge almost along itself.",
    f"Postures are searched for, not proved: the best one found may need up to {SEARCH_ERROR_DEG:g}° more than the"
    " best there is.",
    "Behind its full-depth length the flute is taken as closed, so the shank counts as a little larger than it is.",
    "Deflections are lower and frequencies upper limits: rest and hands do not give way, twist is left out, and the"
    " ground head counts as fluted bar.",
    "A posture says what the shapes allow. Whether a cut is safe and holds is for a competent instructor to show.",
)


def summary(reach: Reach, cove: Cove | None = None, deflection_mm: float | None = None) -> dict[str, Any]:
    """The numbers for the whole profile, units in their names."""
    deepest = reach.deepest
    stopped: dict[str, int] = {}
    for i in np.flatnonzero(~reach.reached):
        name = part_name(int(reach.part[i, reach.either[i]]))
        stopped[name] = stopped.get(name, 0) + 1
    out: dict[str, Any] = {
        "places": len(reach.places),
        "places_reached": int(reach.reached.sum()),
        "profile_mm": reach.whole_mm,
        "profile_reached_mm": reach.length_mm,
        "deepest_reached": None
        if deepest is None
        else {k: (bool(v) if k == "inside" else v) for k, v in deepest.items()},
        "not_reached_stopped_by": stopped,
    }
    if cove is not None:
        out["tightest_cove_mm"] = cove.radius
        out["tightest_cove_is"] = (
            f"a cove of {2 * cove.half_angle_deg:g} degrees of a circle in a {2 * cove.cylinder_mm:g} mm cylinder, its"
            " walls followed downhill from rim to bottom"
        )
    if deflection_mm is not None:
        out["deflection_limit_mm"] = deflection_mm
        out["largest_overhang_mm"] = reach.beam.largest_overhang(deflection_mm, reach.terms.force_n)
    return out


def place_rows(reach: Reach) -> list[dict[str, Any]]:
    """One plain dict for each place and feed."""
    world = reach.touch_world()
    m, p = reach.meridian, reach.places
    along = m.along[p.piece] + p.share * m.length[p.piece]
    out = []
    for i in range(len(p)):
        for feed in (0, 1):
            part = int(reach.part[i, feed])
            clear = bool(np.isfinite(reach.alpha[i, feed]))
            touch = reach.touch[i, feed]
            out.append(
                {
                    "s_mm": float(along[i]),
                    "x_mm": float(p.point[i, 0]),
                    "rho_mm": float(p.point[i, 1]),
                    "feed": ("along", "against")[feed],
                    "cut": feed_words(reach, i, feed),
                    "clearance_angle_deg": _plain(reach.alpha[i, feed]),
                    "reached": bool(clear and reach.alpha[i, feed] <= reach.terms.limit_deg + 1e-9),
                    "edge_place_mm": float(reach.edge_place[i, feed]),
                    "inclination_deg": float(reach.lam[i, feed]),
                    "swing_deg": float(reach.swing[i, feed]),
                    "roll_deg": float(reach.roll[i, feed]),
                    "stopped_by": None if part < 0 else PARTS[part],
                    "touch_tool_mm": None if part < 0 else [float(v) for v in touch],
                    "touch_lathe_mm": None if part < 0 else [float(v) for v in world[i, feed]],
                    "overhang_mm": _plain(reach.overhang[i, feed]),
                    "clearance_mm": _plain(reach.clearance[i, feed]),
                    "clearance_part": PARTS[BEHIND_HEEL[int(np.nanargmin(reach.gaps[i, feed]))]] if clear else None,
                    **{f"gap_{PARTS[part_]}_mm": _plain(reach.gaps[i, feed, c]) for c, part_ in enumerate(BEHIND_HEEL)},
                    "deflection_mm": _plain(reach.deflection[i, feed]),
                    "hand_force_n": _plain(reach.hand_force[i, feed]),
                    "frequency_hz": _plain(reach.frequency[i, feed]),
                    "slope": SLOPE[int(reach.slope[i, feed])],
                }
            )
    return out


def overhang_row(reach: Reach, most: float) -> dict[str, Any]:
    """What is left when the tool hangs no further over the rest than `most` mm; deflection at that very overhang."""
    clear = np.isfinite(reach.least)
    pick = reach.either[clear]
    rows = np.flatnonzero(clear)
    clearance = reach.clearance[rows, pick]
    worst = float(np.linalg.eigvalsh(reach.beam.give(most))[-1]) * reach.terms.force_n
    return {
        "overhang_mm": most,
        "places_reached": int(reach.reached.sum()),
        "smallest_clearance_angle_deg": float(reach.least.min()) if clear.any() else None,
        "mean_clearance_angle_deg": float(reach.least[reach.reached].mean()) if reach.reached.any() else None,
        "clearance_mm": float(clearance[reach.reached[rows]].min()) if reach.reached.any() else None,
        "deflection_mm": worst,
        "hand_force_n": reach.beam.hand_force(most, reach.terms.force_n),
        "frequency_hz": reach.beam.frequency(most),
    }


def result(
    reach: Reach, cove: Cove | None, overhangs: Sequence[dict[str, Any]], deflection_mm: float, files: list[str]
) -> dict[str, Any]:
    """The JSON object of `gougeform reach --json`."""
    terms = reach.terms
    return {
        "title": reach.gouge.recipe.title,
        "work": reach.meridian.title,
        "verdict": verdict(reach),
        "largest_diameter_mm": 2 * float(reach.meridian.box[1, 1]),
        "limit_deg": terms.limit_deg,
        "tolerance_mm": terms.tolerance_mm,
        "force_n": terms.force_n,
        "rest_mm": reach.rest.radius,
        "search_error_deg": SEARCH_ERROR_DEG,
        **summary(reach, cove, deflection_mm),
        "overhangs": list(overhangs),
        "at": place_rows(reach),
        "notes": list(MODEL_NOTES),
        "files": files,
    }


def columns(rows: list[dict[str, Any]]) -> dict[str, list[str]]:
    """The rows as columns of text for CSV: triples become three columns."""
    out: dict[str, list[str]] = {}
    for row in rows:
        for key, value in row.items():
            if key.startswith("touch_"):
                for i, axis in enumerate("xyz"):
                    name = f"{key.removesuffix('_mm')}_{axis}_mm"
                    out.setdefault(name, []).append("" if value is None else f"{value[i]:.4f}")
                continue
            text = "" if value is None else f"{value:.6g}" if isinstance(value, float) else str(value).lower()
            out.setdefault(key, []).append(text)
    return out


def print_reach(
    reach: Reach,
    cove: Cove | None,
    overhangs: Sequence[dict[str, Any]],
    deflection_mm: float,
    cautions: Sequence[str],
    stream: IO[str],
    *,
    every_place: bool = False,
) -> None:
    """The verdict in a sentence, summary, places (those where something stops it, or all), overhangs, cautions."""
    console = console_for(stream)
    recipe = reach.gouge.recipe
    console.print(recipe.title or recipe.name, style="bold", markup=False)
    console.print(f"in: {reach.meridian.title or 'the workpiece'}, {_size_words(reach)}", markup=False)
    console.print()
    console.print(verdict(reach), style="bold", markup=False)
    console.print()
    console.print(table("On the whole", ("", ""), _summary_rows(reach, cove, deflection_mm)))
    head = ("x", "radius", "angle", "cut", "place", "incl.", "swing", "stop", "hang", "gap")
    below = (
        "mm and degrees. Angle: the smallest clear clearance angle (!: not reached). Cut: where to, ^ uphill. Place:"
        " the place of the edge that cuts, from the nose, + to the tool's right. Incl.: inclination. Swing: handle"
        " along the lathe, + to the right. Stop: what stops a smaller angle. Hang: overhang over the rest. Gap:"
        " smallest behind the heel."
    )
    shown = np.arange(len(reach.places)) if every_place else np.flatnonzero(reach.least > RIDES_DEG)
    if len(shown):
        title = "Place by place" if every_place else "Places where something stops it"
        console.print(table(f"{title}, the better direction of cut", head, _place_table(reach, shown), below))
    if len(shown) < len(reach.places):
        left = len(reach.places) - len(shown)
        console.print(f"At {left} of {len(reach.places)} places the bevel rides, 0°; --all lists them too.")
        console.print()
    if overhangs:
        head2 = (
            "overhang\nat most",
            "places\nreached",
            "smallest\nangle",
            "least\ngap",
            "deflec-\ntion",
            "hand\nforce",
            "frequency",
        )
        rows = [
            (
                f"{o['overhang_mm']:g} mm",
                str(o["places_reached"]),
                _or_nothing(o["smallest_clearance_angle_deg"], 1, "°"),
                _or_nothing(o["clearance_mm"], 2, " mm"),
                _or_nothing(o["deflection_mm"], 2, " mm"),
                _or_nothing(o["hand_force_n"], 0, " N"),
                _or_nothing(o["frequency_hz"], 0, " Hz"),
            )
            for o in overhangs
        ]
        console.print(
            table(
                "Over the rest",
                head2,
                rows,
                f"Deflection and hand force for {reach.terms.force_n:g} N at the edge. The frequency is that of the"
                " whole tool over rest and rear hand; it may rise with the overhang, as the span to the hand shrinks.",
            )
        )
    print_list(console, "What these numbers are", MODEL_NOTES)
    print_list(console, "Before you grind", cautions)


def verdict(reach: Reach) -> str:
    """Does it reach, and what stops it: one sentence."""
    limit = f"{reach.terms.limit_deg:g}°"
    x, hardest = reach.places.point[:, 0], int(np.argmax(reach.least))
    if reach.reached.all():
        if reach.least[hardest] <= RIDES_DEG:
            return f"It reaches all of it with the bevel riding, at every one of {len(x)} places."
        name = part_name(int(reach.part[hardest, reach.either[hardest]]))
        return (
            f"It reaches all of it within {limit}; hardest at x {x[hardest]:.1f} with {reach.least[hardest]:.1f}°,"
            f" where the {name} stops less."
        )
    missed = np.flatnonzero(~reach.reached)
    told = []
    for run in np.split(missed, np.flatnonzero(np.diff(missed) > 1) + 1):
        parts = dict.fromkeys(part_name(int(reach.part[i, reach.either[i]])) for i in run)
        low, high = sorted((x[run[0]], x[run[-1]]))
        where = f"x {low:.1f}" + (f" to {high:.1f}" if high - low > 0.05 else "")
        told.append(f"{where} (stopped by {', '.join(parts)})")
    most = f"{reach.length_mm:.1f} of {reach.whole_mm:.1f} mm of profile"
    return f"It reaches {most} within {limit}. Not reached: {'; '.join(told)}."


def _size_words(reach: Reach) -> str:
    """The largest diameter: shows at a glance where a diameter was given for a radius, or inches for mm."""
    diameter = 2 * float(reach.meridian.box[1, 1])
    return f"largest diameter {diameter:.1f} mm{inches_hint(diameter, WORK_MM)}"


def _summary_rows(reach: Reach, cove: Cove | None, deflection_mm: float) -> list[tuple[str, str]]:
    deepest = reach.deepest
    where = NOTHING
    if deepest is not None:
        side = "behind the mouth" if deepest["inside"] else "down"
        where = f"{deepest['depth_mm']:.1f} mm {side}: x {deepest['x_mm']:.1f}, radius {deepest['rho_mm']:.1f}"
    over = reach.beam.largest_overhang(deflection_mm, reach.terms.force_n)
    rows = [
        ("reached: a clearance angle of up to", f"{reach.terms.limit_deg:g}°"),
        ("profile reached", f"{reach.length_mm:.1f} of {reach.whole_mm:.1f} mm"),
        ("deepest place reached", where),
    ]
    if cove is not None:
        text = f"none up to {cove.largest:g} mm" if cove.radius is None else f"{cove.radius:.2f} mm radius"
        rows.append((f"tightest cove ({2 * cove.half_angle_deg:g}° in {2 * cove.cylinder_mm:g} mm)", text))
    rows += [
        ("rest from the lathe's axis", f"{reach.rest.radius:.1f} mm"),
        (f"overhang for {deflection_mm:g} mm at {reach.terms.force_n:g} N", f"{over:.0f} mm"),
    ]
    return rows


def _place_table(reach: Reach, shown: NDArray[np.intp]) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for i in shown.tolist():
        f = int(reach.either[i])
        clear = np.isfinite(reach.alpha[i, f])
        mark = "" if reach.reached[i] else " !"
        rows.append(
            (
                f"{reach.places.point[i, 0]:.1f}",
                f"{reach.places.point[i, 1]:.1f}",
                (f"{reach.alpha[i, f]:.1f}" if clear else f"> {reach.terms.fineness.most_deg:g}") + mark,
                feed_words(reach, i, f).removeprefix("to the ").removeprefix("toward the ")
                + (" ^" if reach.slope[i, f] > 0 else ""),
                _number(reach.edge_place[i, f], 1),
                _number(reach.lam[i, f], 0),
                _number(reach.swing[i, f], 0),
                part_name(int(reach.part[i, f])) if reach.part[i, f] >= 0 else NOTHING,
                _number(reach.overhang[i, f], 1),
                _number(reach.clearance[i, f], 1),
            )
        )
    return rows


def _number(value: float, digits: int) -> str:
    if not np.isfinite(value):
        return NOTHING
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0 else text


def _or_nothing(value: float | None, digits: int, unit: str) -> str:
    return NOTHING if value is None else f"{value:.{digits}f}{unit}"


def _plain(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
