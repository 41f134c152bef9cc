"""Where along a workpiece can this tool cut, what stops it elsewhere, and how far does it hang out? mm and deg."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.numerics.compiled import preparing
from gougeform.present.answer import Answer, Block, Cell, Files, Labels, Number, down
from gougeform.present.files import records, table
from gougeform.present.folder import file_name
from gougeform.present.json import finite
from gougeform.present.progress import step
from gougeform.quantity import NOTHING
from gougeform.reach.body import BEHIND_HEEL, PARTS
from gougeform.reach.change import Change, what_would_reach
from gougeform.reach.cove import TightestCove, tightest_cove
from gougeform.reach.drawing import draw_profile, draw_standing, feed_words
from gougeform.reach.result import Reach, Terms, at_overhang, check_terms, part_name, reach
from gougeform.reach.scene import make_scene
from gougeform.reach.search import SEARCH_ERROR_DEG
from gougeform.read.inches import WORK_MM, inches_hint
from gougeform.recipe.model import Recipe
from gougeform.work.meridian import Meridian

RIDES_DEG = 0.05
"""Up to this clearance angle the table's one digit says 0.0: the bevel rides."""
DEFLECTION_MM = 0.25
SLOPE = {-1: "downhill", 0: "level", 1: "uphill"}

MODEL_NOTES = (
    "Grain is not judged. Where both directions do equally well the downhill cut is named: toward the smaller radius on"
    " outside work, toward the larger one inside a hollow.",
    f"Postures are searched for, not proved: the best one found may need up to {SEARCH_ERROR_DEG:g}° more than the"
    " best there is; in three of 10,000 places tried it was 0.1° to 0.6°, next to inward corners.",
    "Behind its full-depth length the flute is taken as closed, so the shank counts as a little larger than it is.",
    "Deflections are lower and frequencies upper limits: rest and hands do not give way, twist is left out, and the"
    " ground head counts as fluted bar.",
    "A posture says what the shapes allow. Whether a cut is safe and holds is for a competent instructor to show.",
)
_PICTURES = r"(profile|standing|standing-3d)\.png"


def answer(
    recipe: Recipe,
    work: Meridian,
    terms: Terms | None = None,
    *,
    name: str = "work",
    overhang: Sequence[float] = (),
    at: float | None = None,
    slicing: float = 0.0,
    deflection: float = DEFLECTION_MM,
    cove: bool = True,
    every_place: bool = False,
    changes: bool = True,
) -> Answer:
    """Search the postures along the whole work, and say what they come to.

    name: what the work is called in the folder's name. overhang: what is left at these (mm) over the rest. at: draw the
    tool there, mm along the lathe. slicing: only cuts whose edge is inclined by that much (deg). deflection: allowed at
    the largest overhang, mm. changes: whether to try what would reach the rest. Raises InputError.
    """
    terms = checked(terms or Terms(), work, at, slicing, deflection)
    with step(preparing("searching the postures")):
        found = reach(shape(recipe), work, terms)
        told = summary(found)
    with step("looking at the overhangs"):
        rows = [overhang_row(at_overhang(found, most), most) for most in overhang]
    tightest = None
    if cove:
        with step("looking for the tightest cove"):
            tightest = tightest_cove(found.body, terms.limit_deg, terms.tolerance_mm, terms.fineness)
    changed: list[Change] = []
    if changes and not found.reached.all():
        with step("trying what would have to change"):
            changed = what_would_reach(found)
    place, feed = chosen_place(found, at)
    places = place_rows(found)
    title = f"{recipe.title or recipe.name}\nin: {work.title or 'the workpiece'}, {_size_words(found)}"
    return Answer(
        title,
        [
            _whole(found, told, tightest, deflection),
            *_places(found, places, every_place),
            _drawn(found, place, feed),
            *_overhangs(found, rows),
            _changes(changed, terms),
            Block("What these numbers are", points=MODEL_NOTES),
        ],
        verdict=verdict(found),
        result=result(found, tightest, rows, deflection)
        | {"title": recipe.title, "would_reach": [_change_record(one) for one in changed]},
        files=Files(
            {
                "reach.csv": table(columns(places)),
                "profile.png": partial(draw_profile, found),
                "standing.png": partial(draw_standing, found, place, feed),
            },
            Path("out") / f"{file_name(recipe)}-in-{name}",
            record="reach.json",
            draw={"standing-3d.png": lambda _, path: make_scene(found, place, feed, path)},
            replaces=_PICTURES,
        ),
        recipe=recipe,
    )


def _drawn(reach: Reach, place: int, feed: int) -> Block:
    """How the tool that is drawn is held, as an instructor says it."""
    x, rho = reach.places.point[place]
    where = f"x {x:.1f}, radius {rho:.1f}, {feed_words(reach, place, feed)}"
    return Block("As it is drawn", points=[f"{where}: {reach.held_words(place, feed)}"])


def _changes(found: Sequence[Change], terms: Terms) -> Block:
    """What would have to change, stretch by stretch."""
    if not found:
        return Block()
    below = (
        f"Each by itself, on the same jig and wheel, ground and searched again for up to {terms.limit_deg:g}°; in the"
        " order of effort."
    )
    return Block("What would reach it", [(one.where, one.words) for one in found], ("not reached", "from"), below=below)


def _change_record(one: Change) -> dict[str, Any]:
    return {"from_x_mm": one.low, "to_x_mm": one.high, "stopped_by": list(one.parts), **one.by}


def checked(terms: Terms, work: Meridian, at: float | None, slicing: float, deflection: float = DEFLECTION_MM) -> Terms:
    """The terms with the slicing in them. Raises InputError for what is out of its range."""
    check_terms(terms)
    low, high = work.box[:, 0]
    if not 0 < deflection <= 10:
        raise InputError("deflection", f"given {deflection:g}, allowed is above 0 and at most 10 mm", "change it")
    most = terms.fineness.inclination_max_deg
    if not 0 <= slicing < most:
        raise InputError(
            "slicing",
            f"given {slicing:g}, allowed is from 0 to below {most:g} degrees, the largest inclination",
            "change it",
        )
    if at is not None and not low <= at <= high:
        raise InputError("at", f"given {at:g}, allowed is from {low:g} to {high:g} mm, the workpiece", "change it")
    return replace(terms, fineness=replace(terms.fineness, lam_least_deg=slicing))


def chosen_place(found: Reach, x: float | None) -> tuple[int, int]:
    """Place and feed to draw: nearest to x, or the place reached that needs the largest angle, else the easiest one."""
    if x is not None:
        i = int(np.abs(found.places.point[:, 0] - x).argmin())
    elif found.reached.any():
        i = int(np.where(found.reached, found.least + 0.01 * found.depth(found.places.point), -1.0).argmax())
    else:
        i = int(found.least.argmin())
    return i, int(found.either[i])


def summary(reach: Reach) -> dict[str, Any]:
    """The numbers for the whole profile, units in their names."""
    deepest = reach.deepest
    stopped: dict[str, int] = {}
    for i in np.flatnonzero(~reach.reached):
        name = part_name(int(reach.part[i, reach.either[i]]))
        stopped[name] = stopped.get(name, 0) + 1
    return {
        "places": len(reach.places),
        "places_reached": int(reach.reached.sum()),
        "profile_mm": reach.whole_mm,
        "profile_reached_mm": reach.length_mm,
        "deepest_reached": deepest and {k: (bool(v) if k == "inside" else v) for k, v in deepest.items()},
        "not_reached_stopped_by": stopped,
        "largest_jump_deg": float(np.nanmax(reach.jumps)) if np.isfinite(reach.jumps).any() else None,
    }


def place_rows(reach: Reach) -> list[dict[str, Any]]:
    """One plain dict for each place and feed."""
    world = reach.touch_world()
    m, p = reach.meridian, reach.places
    along = m.along[p.piece] + p.share * m.length[p.piece]
    out = []
    for i, feed in np.ndindex(len(p), 2):
        part = int(reach.part[i, feed])
        clear = bool(np.isfinite(reach.alpha[i, feed]))
        gaps = reach.gaps[i, feed]
        out.append(
            {
                "s_mm": along[i],
                "x_mm": p.point[i, 0],
                "rho_mm": p.point[i, 1],
                "feed": ("along", "against")[feed],
                "cut": feed_words(reach, i, feed),
                "clearance_angle_deg": reach.alpha[i, feed],
                "reached": bool(clear and reach.alpha[i, feed] <= reach.terms.limit_deg + 1e-9),
                "edge_place_mm": reach.edge_place[i, feed],
                "inclination_deg": reach.lam[i, feed],
                "swing_deg": reach.swing[i, feed],
                "roll_deg": reach.roll[i, feed],
                "height_deg": reach.stance[i, feed, 0],
                "handle_down_deg": reach.stance[i, feed, 1],
                "flute_clock_deg": reach.stance[i, feed, 2] % 360,
                "held": reach.held_words(i, feed),
                "stopped_by": None if part < 0 else PARTS[part],
                "touch_tool_mm": None if part < 0 else reach.touch[i, feed].tolist(),
                "touch_lathe_mm": None if part < 0 else world[i, feed].tolist(),
                "overhang_mm": reach.overhang[i, feed],
                "clearance_mm": reach.clearance[i, feed],
                "clearance_part": PARTS[BEHIND_HEEL[int(np.nanargmin(gaps))]] if clear else None,
                **{f"gap_{PARTS[part_]}_mm": gaps[c] for c, part_ in enumerate(BEHIND_HEEL)},
                "deflection_mm": reach.deflection[i, feed],
                "hand_force_n": reach.hand_force[i, feed],
                "frequency_hz": reach.frequency[i, feed],
                "slope": SLOPE[int(reach.slope[i, feed])],
            }
        )
    plain: list[dict[str, Any]] = finite(out)
    return plain


def overhang_row(reach: Reach, most: float) -> dict[str, Any]:
    """What is left when the tool hangs no further over the rest than `most` mm; deflection at that very overhang."""
    rows = np.flatnonzero(np.isfinite(reach.least))
    clearance = reach.clearance[rows, reach.either[rows]][reach.reached[rows]]
    worst = float(np.linalg.eigvalsh(reach.beam.give(most))[-1]) * reach.terms.force_n
    return {
        "overhang_mm": most,
        "places_reached": int(reach.reached.sum()),
        "smallest_clearance_angle_deg": float(reach.least.min()) if len(rows) else None,
        "mean_clearance_angle_deg": float(reach.least[reach.reached].mean()) if reach.reached.any() else None,
        "clearance_mm": float(clearance.min()) if len(clearance) else None,
        "deflection_mm": worst,
        "hand_force_n": reach.beam.hand_force(most, reach.terms.force_n),
        "frequency_hz": reach.beam.frequency(most),
    }


def result(
    reach: Reach, cove: TightestCove | None, overhangs: Sequence[dict[str, Any]], deflection_mm: float
) -> dict[str, Any]:
    """The numbers of a reach for programs."""
    terms = reach.terms
    out: dict[str, Any] = {
        "work": reach.meridian.title,
        "verdict": verdict(reach),
        "largest_diameter_mm": 2 * float(reach.meridian.box[1, 1]),
        "limit_deg": terms.limit_deg,
        "tolerance_mm": terms.tolerance_mm,
        "force_n": terms.force_n,
        "rest_mm": reach.rest.radius,
        "search_error_deg": SEARCH_ERROR_DEG,
        **summary(reach),
    }
    if cove is not None:
        out["tightest_cove_mm"] = cove.radius
        out["tightest_cove_is"] = (
            f"a cove of {2 * cove.half_angle_deg:g} degrees of a circle in a {2 * cove.cylinder_mm:g} mm cylinder, its"
            " walls followed downhill from rim to bottom"
        )
    return out | {
        "deflection_limit_mm": deflection_mm,
        "largest_overhang_mm": reach.beam.largest_overhang(deflection_mm, terms.force_n),
        "overhangs": list(overhangs),
        "at": place_rows(reach),
        "notes": list(MODEL_NOTES),
    }


def columns(rows: list[dict[str, Any]]) -> dict[str, list[Any]]:
    """The rows as columns for CSV: triples become three columns."""
    out: dict[str, list[Any]] = {}
    for key, values in records(rows).items():
        if not key.startswith("touch_"):
            out[key] = values
            continue
        for i, axis in enumerate("xyz"):
            out[f"{key.removesuffix('_mm')}_{axis}_mm"] = [None if value is None else value[i] for value in values]
    return out


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


def _whole(reach: Reach, told: dict[str, Any], cove: TightestCove | None, deflection_mm: float) -> Block:
    deepest, force = reach.deepest, reach.terms.force_n
    where = NOTHING
    if deepest is not None:
        side = "behind the mouth" if deepest["inside"] else "down"
        where = f"{deepest['depth_mm']:.1f} mm {side}: x {deepest['x_mm']:.1f}, radius {deepest['rho_mm']:.1f}"
    coves = []
    if cove is not None:
        radius = f"none up to {cove.largest:g} mm" if cove.radius is None else f"{cove.radius:.2f} mm radius"
        coves = [(f"tightest cove ({2 * cove.half_angle_deg:g}° in {2 * cove.cylinder_mm:g} mm)", radius)]
    rows: list[tuple[str, Cell]] = [
        ("reached: a clearance angle of up to", f"{reach.terms.limit_deg:g}°"),
        ("profile reached", f"{told['profile_reached_mm']:.1f} of {told['profile_mm']:.1f} mm"),
        ("deepest place reached", where),
        *coves,
        ("largest turn of the tool from one place to the next", _jump(reach)),
        ("rest from the lathe's axis", Number(reach.rest.radius, "rest_mm", 1)),
        (
            f"overhang for {deflection_mm:g} mm at {force:g} N",
            Number(reach.beam.largest_overhang(deflection_mm, force), "overhang_mm", 0),
        ),
    ]
    return Block("On the whole", rows, ("", ""))


def _jump(reach: Reach) -> str:
    """The largest jump along the cut, and where."""
    if not np.isfinite(reach.jumps).any():
        return NOTHING
    k, x = int(np.nanargmax(reach.jumps)), reach.places.point[:, 0]
    return f"{reach.jumps[k]:.0f}°, from x {x[k]:.1f} to {x[k + 1]:.1f}"


def _places(reach: Reach, rows: list[dict[str, Any]], every_place: bool) -> list[Block]:
    count = len(reach.places)
    shown = np.arange(count) if every_place else np.flatnonzero(reach.least > RIDES_DEG)
    blocks = []
    if len(shown):
        title = "Place by place" if every_place else "Places where something stops it"
        head = ("x", "radius", "angle", "cut", "place", "incl.", "swing", "stop", "hang", "gap")
        below = (
            "mm and degrees. Angle: the smallest clear clearance angle (!: not reached). Cut: where to, ^ uphill."
            " Place: the place of the edge that cuts, from the nose, + to the tool's right. Incl.: inclination. Swing:"
            " handle along the lathe, + to the right. Stop: what stops a smaller angle. Hang: overhang over the rest."
            " Gap: smallest behind the heel."
        )
        cells = [_place(reach, rows[2 * i + int(reach.either[i])], bool(reach.reached[i])) for i in shown]
        blocks.append(Block(f"{title}, the better direction of cut", cells, head, below=below))
    if len(shown) < count:
        left = f"At {count - len(shown)} of {count} places the bevel rides, 0°; `all` lists them too."
        blocks.append(Block(below=left))
    return blocks


def _place(reach: Reach, row: dict[str, Any], reached: bool) -> list[Cell]:
    angle = row["clearance_angle_deg"]
    text = f"> {reach.terms.fineness.most_deg:g}" if angle is None else f"{angle:.1f}"
    cut = row["cut"].removeprefix("to the ").removeprefix("toward the ")
    digits = {"edge_place_mm": 1, "inclination_deg": 0, "swing_deg": 0}
    return [
        Number(row["x_mm"], "", 1),
        Number(row["rho_mm"], "", 1),
        text if reached else f"{text} !",
        f"{cut} ^" if row["slope"] == "uphill" else cut,
        *(Number(row[key], "", places) for key, places in digits.items()),
        row["stopped_by"] or NOTHING,
        Number(row["overhang_mm"], "", 1),
        Number(row["clearance_mm"], "", 1),
    ]


def _overhangs(reach: Reach, rows: Sequence[dict[str, Any]]) -> list[Block]:
    if not rows:
        return []
    labels: Labels = {
        "overhang_mm": ("overhang\nat most", 1),
        "places_reached": ("places\nreached", 0),
        "smallest_clearance_angle_deg": ("smallest\nangle", 1),
        "clearance_mm": "least\ngap",
        "deflection_mm": "deflec-\ntion",
        "hand_force_n": ("hand\nforce", 0),
        "frequency_hz": "frequency",
    }
    below = (
        f"Deflection and hand force for {reach.terms.force_n:g} N at the edge. The frequency is that of the whole tool"
        " over rest and rear hand; it may rise with the overhang, as the span to the hand shrinks."
    )
    return [down("Over the rest", rows, labels, below)]
