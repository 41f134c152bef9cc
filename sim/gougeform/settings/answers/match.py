"""At which setting does the wheel lie on the bevel a tool has, and what does going from one grind to another cost?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from gougeform.errors import InputError
from gougeform.measure.quantities.steel import grams
from gougeform.present.answer import Answer, Block, Files, Labels, across, cell, down
from gougeform.present.files import COOL, INK, SOFT, WARM, chart, line, table, text
from gougeform.present.progress import step
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.settings.bench import bench_of
from gougeform.settings.match import Cost, Match, cost, match, old_from_angles
from gougeform.settings.names import NAMES
from gougeform.settings.ruler import machine
from gougeform.settings.wants import Span, read_frees, read_wants
from gougeform.tool.rows import settings_block

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_FLAT_MM = 5e-4
_MISSED = 0.005  # less is not said


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
    old, misses = _old(recipe, old, measured)
    frees = read_frees(bench_of(recipe), free, {}) if free else None
    with step("laying the wheel on the old bevel"):
        found = match(old, recipe, frees)
    bench = bench_of(found.recipe)
    notes = [*found.notes]
    if measured:
        notes.append(
            "Only the edge was measured: the old bevel behind it is taken as ground on this very wheel and jig. So"
            " there is no light by that assumption; what a bevel from another wheel would show, `old` tells."
        )
    else:
        notes += _other_steel(recipe, old)
    off = ", ".join(f"{name} by {miss:+.2f}" for name, miss in misses.items() if abs(miss) > _MISSED)
    missed = f"No grind of this jig has all the measured numbers; the nearest one taken misses {off}."
    title = f"{recipe.title or recipe.name}\nlight between this wheel and the old bevel"
    turned = ", ".join(f"{name} {cell(v, NAMES[name].column)}" for name, v in found.best.values.items())
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
    }
    return Answer(
        blocks=[
            settings_block(found.cost.measures.gouge, "Set the machine to"),
            Block(below=f"Turned to fit: {turned}."),
            _light(found),
            _priced("What grinding there costs", found.cost),
        ],
        notes=[*notes, *([missed] if off else [])],
        result={
            "old": old.title or old.name,
            "measured_missed_by": misses,
            "settings": {name: bench.value(name) for name in bench.names},
            **machine(bench, found.cost.measures.gouge.settings[0]),
            "largest_light_mm": found.best.largest,
            "rms_gap_mm": found.best.rms,
            "equal_settings": found.equal,
            **_price(found.cost),
        },
        files=Files(files),
        recipe=found.recipe,
    )


def regrind(recipe: Recipe, old: Recipe | None = None, measured: Mapping[str, float] | None = None) -> Answer:
    """What it costs to grind the old tool to this recipe as it stands; old and measured as in `answer`.

    Raises InputError.
    """
    old, _ = _old(recipe, old, measured)
    # The tool is the old one, whatever bar and flute the recipe of the new grind has.
    new = changed(recipe, {"bar": old.table["bar"], "flute": old.table["flute"], "older": None})
    price = cost(old, new)
    return Answer(
        blocks=[Block(below=f"The tool as it is: {old.title or old.name}"), _priced("Regrinding it to this", price)],
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


def _old(recipe: Recipe, old: Recipe | None, measured: Mapping[str, float] | None) -> tuple[Recipe, dict[str, float]]:
    """The tool as it is, and what it misses of what was measured."""
    if old is not None and measured:
        raise InputError("old", "given together with `measured`", "keep one of them")
    if measured:
        return old_from_angles(recipe, read_wants(measured, "measured"))
    old = old or recipe.older
    if old is None:
        raise InputError("old", "nothing says what the tool is now", "give RECIPE, or `measured` nose=…")
    return old, {}


def _price(price: Cost) -> dict[str, Any]:
    return {
        **price.measures.table("nose_angle_deg", "wing_angle_deg"),
        "nose_loss_mm": price.nose_loss,
        "steel_removed_mm3": price.steel,
        "steel_removed_g": grams(price.measures.gouge, price.steel),
        "such_regrinds": price.regrinds,
    }


def _priced(title: str, price: Cost) -> Block:
    told = _price(price)
    # Nothing lost in a computation is not nothing lost at the wheel, so no number can be given.
    often = "not told: takes nothing off the nose" if price.regrinds is None else str(price.regrinds)
    steel = f"{cell(price.steel, 'steel_mm3')} ({cell(told['steel_removed_g'], 'steel_g')})"
    record = told | {"wing50_deg": price.measures.wing_angles[50], "steel": steel, "often": often}
    labels: Labels = {
        "nose_angle_deg": "nose angle after",
        "wing50_deg": "wing angle after, at 50 %",
        "nose_loss_mm": ("tool gets shorter by", 3),
        "steel": "steel removed",
        "often": f"such regrinds in {price.measures.gouge.recipe.flute.length_mm:g} mm of flute",
    }
    return across(title, [record], labels)


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
