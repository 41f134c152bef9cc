"""What a grind costs in steel and length: to get to it, in which order of work, and at each sharpening after."""

from __future__ import annotations

from collections.abc import Sequence

from gougeform.grind.gouge import Gouge
from gougeform.measure.measures import Measures
from gougeform.measure.quantities.regrind import rows
from gougeform.measure.quantities.sharpening import next_one
from gougeform.measure.regrind import Regrind
from gougeform.measure.stepwise import WorkStep, steps
from gougeform.present.answer import Block, Cell, Number
from gougeform.quantity import MM, MM3, shown
from gougeform.tool.rows import grind_name

_NOTHING_LEFT_MM3 = 0.05  # less is not told


def regrind_block(measures: Measures) -> Block:
    """What this grind costs a tool that has an older one: touching, a first land, all the way; empty without one."""
    return regrind_table(rows(measures) or ())


def regrind_table(rows: Sequence[Regrind], title: str = "What it costs to regrind the older tool") -> Block:
    """Rows of a regrind under a title."""
    made: list[Sequence[Cell]] = [
        (
            _length(row.bevel),
            Number(row.in_middle, "nose_mm"),
            Number(row.nose_loss, "nose_mm"),
            Number(row.steel, "steel_mm3"),
            Number(row.grams, "steel_g"),
            "any number" if row.in_flute is None else str(row.in_flute),
        )
        for row in rows
    ]
    words = (
        "What the nose gets shorter by, for the bevel at the nose alone and for the wings too; steel and number in the"
        " flute are for the wings too. Touching: the edge has the new angle, nothing behind it has. All the way: the"
        " new bevel runs through steel from edge to heel."
    )
    head = ("new bevel", "nose alone", "wings too", "steel", "", "in the flute")
    return Block(title, made, head, below=words if made else "")


def _length(bevel: float | None) -> str:
    """What a person calls a length of new bevel."""
    if bevel is None:
        return "all the way"
    return "touching" if bevel == 0 else f"first land, {bevel:g} mm"


def sharpening_block(measures: Measures, title: str = "At each sharpening") -> Block:
    """What one sharpening takes, how many the flute holds, and when a relief must be ground again."""
    one = next_one(measures)
    usual = "" if "taken_mm" in measures.gouge.recipe.model_fields_set else ", if you take as much as is usual"
    steel = f"{Number(one.steel, 'steel_mm3')}, {Number(one.grams, 'steel_g')}"
    rows: list[Sequence[Cell]] = [
        (f"taken square to the bevel{usual}", Number(one.taken, "taken_mm")),
        ("the tool gets shorter by", Number(one.nose_loss, "nose_mm", 3)),
        ("steel, the next time", steel),
        ("sharpenings in the flute", str(one.in_flute)),
    ]
    below = ""
    if one.cycle is not None:
        cycle, lands = one.cycle, one.cycle.lands
        rows += [
            ("without a relief it would be", Number(one.of_one_bevel, "steel_mm3")),
            (f"land now, and after {cycle.sharpenings}", f"{shown(lands[0], MM)}, {shown(lands[-1], MM)}"),
            (f"relief again, when the land is near {shown(cycle.longest, MM, 1)}", f"after {cycle.sharpenings}"),
            ("and that takes", Number(cycle.relief, "steel_mm3")),
        ]
        below = (
            f"Up to then the relief leaves {100 * cycle.saved:.0f} % of the steel at the edge for the relief's own"
            " grind: less to take at each sharpening, not less in the end."
        )
    return Block(title, rows, ("", ""), below=below)


def order_block(old: Gouge, measures: Measures) -> Block:
    """The order of work from an older grind to this one: which setting, how far, until which mark, what is left.

    Raises InputError like `gougeform.measure.stepwise.steps`.
    """
    made = steps(old, measures.gouge, edge=measures.edge)
    return Block("Order of work", points=[_step(number, one, measures) for number, one in enumerate(made, 1)])


def _step(number: int, one: WorkStep, measures: Measures) -> str:
    grinds = measures.gouge.recipe.grinds
    name = grind_name(one.grind, len(grinds))
    rim, jig = one.setting.rim_distance, grinds[one.grind].jig
    if one.move is None:
        place = "" if rim is None else f", rim to {jig.pivot_noun} {shown(rim, MM)}"
        do = f"Set the {name}{place}."
    else:
        way = "toward the wheel" if one.move > 0 else "away from it"
        do = f"Set the {name}: {jig.pivot_noun} {shown(abs(one.move), MM)} {way}."
    marks = "; ".join(f"{mark.what}{'' if mark.mm is None else f' {shown(mark.mm, MM)}'}" for mark in one.until)
    left = f"; {shown(one.left, MM3)} are left to come" if one.left > _NOTHING_LEFT_MM3 else ""
    return (
        f"{number}. {do} It touches first at the {one.first}, then works in by {shown(one.advance, MM)} along the bar."
        f" Done when: {marks}. Takes {shown(one.steel, MM3)} ({Number(one.grams, 'steel_g')}){left}."
    )
