"""At which setting does the wheel lie on the bevel a tool has, and what does going from one grind to another cost?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from gougeform.errors import InputError
from gougeform.measure.edge import WING_PER_CENT, Edge
from gougeform.measure.quantities.regrind import table as regrind_numbers
from gougeform.measure.quantities.sharpening import next_one
from gougeform.measure.quantities.sharpening import table as sharpening_numbers
from gougeform.present.answer import Answer, Block, Files, Labels, Next, across, cell, down
from gougeform.present.files import chart, line, table, text
from gougeform.present.folder import called
from gougeform.present.palette import COOL, INK, SOFT, WARM
from gougeform.present.progress import step
from gougeform.quantity import MM, shown
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.settings.answers.ink import ink_block, ink_chart, ink_numbers
from gougeform.settings.bench import bench_of
from gougeform.settings.ink import remedies
from gougeform.settings.match import LIES_MM, Cost, Match, cost, match, old_from_angles
from gougeform.settings.names import NAMES
from gougeform.settings.ruler import machine
from gougeform.settings.wants import Free, Span, read_frees, read_wants, reading_of
from gougeform.tool.costs import order_block, regrind_table, sharpening_block
from gougeform.tool.rows import near_misses, settings_block

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_FLAT_MM = 5e-4
MISSED = 0.005
"""Deg or mm by which a measured number may be missed without a word."""


def answer(
    recipe: Recipe,
    old: Recipe | None = None,
    measured: Mapping[str, float] | None = None,
    free: Mapping[str, Span | None] | None = None,
) -> Answer:
    """Lay the wheel of this recipe's machine on the bevel of the old tool; the price of grinding there.

    old: the tool's grind now, by default the recipe's own `older`. measured: instead what was read on the tool, as
    {"nose": 40, "wing50": 52, "wing_length": 6}. free: what is turned. Raises InputError.
    """
    frees = read_frees(bench_of(recipe), free, {}) if free else None
    old, misses = _old(recipe, old, measured, frees)
    with step("laying the wheel on the old bevel"):
        # What was measured stands for a tool of this very machine, so set.
        found = match(old, old if measured else recipe, frees)
        ink = remedies(found.bevel, found.best.bench, frees or ())
    bench, there = bench_of(found.recipe), found.cost.measures
    missed = {name: miss for name, miss in misses.items() if abs(miss) > MISSED}
    notes = [*found.notes, *near_misses(there)]
    if measured:
        notes.append(
            "Only the edge was measured: the old bevel behind it is taken as ground on this very wheel and jig. So"
            " there is no light by that assumption; what a bevel from another wheel would show, `old` tells."
        )
    else:
        notes += _other_steel(recipe, old)
    title = f"{recipe.title or recipe.name}\nlight between this wheel and the old bevel"
    bevel = found.bevel
    gaps = {
        "place_per_cent": np.repeat(bevel.place, bevel.reach.shape[1]),
        "from_edge_mm": bevel.reach.ravel(),
        "gap_mm": found.best.gap.ravel(),
    }
    files = {
        "match.toml": text(to_toml(found.recipe)),
        "gap.csv": table(gaps),
        **chart("gap", lambda top, low: _draw(top, low, found), title, panels=2, size=(7.5, 5.6)),
        **ink_chart(found, ink),
    }
    free_names = [name for name in bench.names if name not in found.best.values and NAMES[name].table == "jig"]
    more = {"free": dict.fromkeys((*found.best.values, *free_names))} if free_names else {}
    again = Next("match", [called(recipe)], {"old": called(old), **more}, "to come nearer, turn more of the jig")
    return Answer(
        blocks=[
            settings_block(there.gouge, "Set the machine to"),
            _turned(found),
            _edges(found, measured),
            _light(found),
            ink_block(ink),
            regrind_table(found.cost.rows, "What grinding there costs"),
        ],
        verdict=_verdict(found, missed),
        notes=notes,
        result={
            "old": old.title or old.name,
            "lies": found.lies and not missed,
            "measured_missed_by": misses,
            "settings": {name: bench.value(name) for name in bench.names},
            "stopped_at": found.stopped,
            **machine(bench, there.gouge.settings[0]),
            "largest_light_mm": found.best.largest,
            "rms_gap_mm": found.best.rms,
            "equal_settings": found.equal,
            "ink": ink_numbers(ink),
            **_price(found.cost),
        },
        files=Files(files),
        next=[] if found.lies or measured or not (more and old.name) else [again],
        recipe=found.recipe,
    )


def _verdict(found: Match, missed: Mapping[str, float]) -> str:
    light = shown(found.best.largest, MM)
    at = _named(found, int(found.best.light.argmax()), " of a wing").replace("nose", "the nose")
    if missed:
        off = ", ".join(f"{name} by {miss:+.2f}" for name, miss in missed.items())
        return f"NOT MET: no grind of this jig has all the measured numbers; the nearest one misses {off}."
    if found.lies and not found.rolled:
        return f"The wheel lies on the old bevel all along: no more than {light} of light anywhere."
    why = (
        " This jig cannot follow that edge; rolled at one setting it comes nearest."
        if found.rolled
        else "".join(
            f" It is stopped by the {NAMES[name].words.removeprefix('the ')}, looked for up to"
            f" {cell(end, NAMES[name].column)}."
            for name, end in found.stopped.items()
        )
    )
    return (
        f"NOT MET: there is no contact all the way round. The closest leaves {light} of light, most at {at}; less than"
        f" {LIES_MM:g} mm would be contact.{why}"
    )


def _turned(found: Match) -> Block:
    turned = ", ".join(f"{name} {cell(v, NAMES[name].column)}" for name, v in found.best.values.items())
    return Block(below=f"Turned to fit: {turned}.")


def _edges(found: Match, measured: Mapping[str, float] | None) -> Block:
    """The angles the old edge has, and those ground there."""
    per_cents = tuple(float(p) for p in WING_PER_CENT)
    edges = [_read(edge, per_cents) for edge in (found.edge, found.cost.measures.edge)]
    labels: Labels = {key: key.replace("_deg", "").replace("wing", "wing at ") for key in edges[0] if "_deg" in key}
    labels = {key: f"{words} %" if "wing" in words else words for key, words in labels.items()}
    labels["wing_length_mm"] = "wing length"
    if not measured:
        return across("The edge", edges, labels, ("", "the tool's now", "ground there"))
    asked = {(name if name.endswith("_mm") else f"{name}_deg"): value for name, value in measured.items()}
    asked = {("wing_length_mm" if key.startswith("wing_length") else key): value for key, value in asked.items()}
    return across("The edge", [asked, *edges], labels, ("", "measured", "the tool so taken", "ground there"))


def _read(edge: Edge, per_cents: tuple[float, ...]) -> dict[str, float]:
    read = reading_of(edge, per_cents)
    wings = {f"wing{p:g}_deg": angle for p, angle in read.wings.items()}
    return {"nose_deg": read.nose, **wings, "wing_length_mm": read.wing_length}


def regrind(recipe: Recipe, old: Recipe | None = None, measured: Mapping[str, float] | None = None) -> Answer:
    """What it costs to grind the old tool to this recipe as it stands; old and measured as in `answer`.

    Raises InputError.
    """
    old, _ = _old(recipe, old, measured)
    # The tool is the old one, whatever bar and flute the recipe of the new grind has.
    new = changed(recipe, {"bar": old.table["bar"], "flute": old.table["flute"], "older": None})
    price = cost(old, new)
    before = price.measures.gouge.older
    assert before is not None
    return Answer(
        blocks=[
            Block(below=f"The tool as it is: {old.title or old.name}"),
            regrind_table(price.rows, "Regrinding it to this"),
            order_block(before, price.measures),
            sharpening_block(price.measures),
        ],
        notes=_other_steel(recipe, old),
        result={"old": old.title or old.name, **_price(price)},
        recipe=new,
    )


def _other_steel(recipe: Recipe, old: Recipe) -> list[str]:
    """What to say where the recipe's bar or flute is not the old tool's, on which everything is computed."""
    if (recipe.bar, recipe.flute) == (old.bar, old.flute):
        return []
    return [
        f"All numbers are on the old tool's bar and flute ({old.title or old.name}), not on the recipe's own: its edge"
        " on its own bar has other angles."
    ]


def _old(
    recipe: Recipe, old: Recipe | None, measured: Mapping[str, float] | None, frees: Sequence[Free] | None = None
) -> tuple[Recipe, dict[str, float]]:
    """The tool as it is, and what it misses of what was measured."""
    if old is not None and measured:
        raise InputError("old", "given together with `measured`", "keep one of them")
    if measured:
        return old_from_angles(recipe, read_wants(measured, "measured"), frees)
    old = old or recipe.older
    if old is None:
        raise InputError("old", "nothing says what the tool is now", "give RECIPE, or `measured` nose=…")
    return old, {}


def _price(price: Cost) -> dict[str, Any]:
    return {
        **price.measures.table("nose_angle_deg", "wing_angle_deg"),
        "regrind": [regrind_numbers(row) for row in price.rows],
        "sharpening": sharpening_numbers(next_one(price.measures)),
    }


def _light(found: Match) -> Block:
    bevel, best = found.bevel, found.best
    rows = []
    for place in (0, 25, 50, 75, 95):
        i = int(abs(bevel.place - place).argmin())
        on = np.flatnonzero(bevel.first[i])
        gap = best.gap[i, on]
        end = "heel" if len(on) == bevel.first.shape[1] else "end of the land"
        first = "edge" if gap.argmin() == 0 else end if gap.argmin() == len(gap) - 1 else "between"
        rows.append(
            {
                "place": _named(found, i),
                "bevel_mm": float(bevel.reach[i, on[-1]]),
                "light_mm": float(best.light[i]),
                "touches": "all along" if best.light[i] < _FLAT_MM else first,
            }
        )
    labels: Labels = {"place": "place", "bevel_mm": "bevel", "light_mm": ("light", 3), "touches": "touches first at"}
    below = f"Largest light anywhere {best.largest:.3f} mm."
    if found.equal:
        below += f" {found.equal} other settings lie as well; this one costs least steel."
    return down("Light between wheel and old bevel", rows, labels, below)


def _named(found: Match, i: int, of: str = "") -> str:
    return f"{found.bevel.place[i]:.0f} %{of}" if round(found.bevel.place[i]) else "nose"


def _draw(top: Axes, low: Axes, found: Match) -> None:
    bevel, best = found.bevel, found.best
    line(top, bevel.place, best.light, "light", WARM)
    top.fill_between(bevel.place, 0, best.light, color=WARM, alpha=0.15, linewidth=0)
    top.set_ylabel("light, mm")
    top.set_xlabel("place along the edge: per cent of each wing, 0 at the nose")
    if best.largest < 1e-3:
        top.text(0.5, 0.5, "it lies flat: no light anywhere", ha="center", color=SOFT, transform=top.transAxes)
    top.set_ylim(bottom=0, top=max(1.15 * best.largest, 0.01))
    for place, color, style in ((0, INK, "-"), (25, COOL, "--"), (50, WARM, "-."), (75, SOFT, ":")):
        i = int(abs(bevel.place - place).argmin())
        line(low, bevel.reach[i], best.gap[i], _named(found, i, " of the wing"), color, style)
    low.axhline(0, color=SOFT, linewidth=0.8)
    most = max(float(np.nanmax(np.abs(best.gap))) * 1.2, 0.01)
    low.set_ylim(-most, most)
    low.set_ylabel("gap, mm (below 0: bites)")
    low.set_xlabel("from the edge down the bevel, mm")
    low.legend(frameon=False, ncols=4, loc="upper left")
