"""How is the same edge set on another wheel or jig, and as a wheel wears?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.edge import measure_edge
from gougeform.present.answer import Answer, Block, Files, Labels, across, down
from gougeform.present.files import chart, line, records, table, text
from gougeform.present.palette import COOL, INK, SOFT, WARM
from gougeform.quantity import DEG, shown
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.settings.bench import bench_of
from gougeform.settings.ruler import machine
from gougeform.settings.transfer import Carried, Worn, along, carry_over, diameters, on_other, read_targets
from gougeform.settings.transfer import wear as worn_settings
from gougeform.settings.wants import Span, read_frees
from gougeform.tool.rows import near_misses, settings_block

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WEAR: Labels = {
    "diameter_mm": ("wheel", 1),
    "centre_distance_mm": "centre distance",
    "straight_distance_mm": "rim, straight",
    "nose_deg": "nose",
    "largest_difference_deg": "wings, most",
    "mean_difference_deg": "mean",
    "nose_if_left_deg": "nose if left",
}


def answer(
    recipe: Recipe,
    to: Mapping[str, str | float],
    free: Mapping[str, Span | None] | None = None,
    *,
    keep: bool = False,
    wear: Sequence[float] = (),
) -> Answer:
    """Carry over, compare along the whole edge, and table the settings of a wearing wheel.

    to: {"wheel": name, file or diameter in mm, "jig": name or file}. free: settings that may move beside the distance,
    by default the projection; with keep none. wear: diameters from and to (mm) and how many. Raises InputError.
    """
    if keep and free:
        raise InputError("keep", "given together with `free`", "keep one of them")
    changes = read_targets(recipe, to) if to or not wear else {}
    target = bench_of(on_other(recipe, changes, measure_edge(shape(recipe)))[0])
    moves = {"projection": None} if target.jig.clamps and target.path.outlined else {}
    wished = {} if keep else free or moves
    carried = carry_over(recipe, changes, read_frees(target, wished, {}) if wished else ())
    after = bench_of(carried.recipe)
    sizes = diameters(carried.recipe, wear)
    worn = [_worn(one) for one in worn_settings(carried.recipe, sizes, carried.before)] if sizes or wear else []
    name = recipe.title or recipe.name
    there = ", ".join(f"{what}={value}" for what, value in to.items()) or "the same machine"
    title = f"{name}\nthe edge there ({there}) against the edge before"
    files = {
        "transfer.toml": text(to_toml(carried.recipe)),
        "transfer.csv": table({"share_of_edge": carried.share, "difference_deg": carried.difference}),
        **chart("transfer", lambda top, low: _draw(top, low, carried), title, panels=2, size=(7.5, 5.6)),
    }
    if worn:
        panels = 1 if worn[0]["straight_distance_mm"] is None else 2
        title = f"{name}\nas the wheel wears: how to set it, and what that does to the edge"
        size = (7.5, 1.4 + 2.1 * panels)
        files |= {"wear.csv": table(records(worn))}
        files |= chart("wear", lambda *axes: _draw_wear(axes, worn), title, panels=panels, size=size)
    return Answer(
        blocks=[settings_block(carried.gouge, "Settings there"), _edge(carried), *_moved(carried), *_wear(worn)],
        notes=[*carried.notes, *near_misses(carried.measures)],
        result={
            "to": [f"{what}={value}" for what, value in to.items()],
            "settings": {one: after.value(one) for one in after.names},
            "moved": carried.reset,
            **machine(after, carried.gouge.settings[0]),
            "nose_deg": float(carried.after.wedge[carried.after.nose]),
            "largest_difference_deg": carried.largest,
            "mean_difference_deg": carried.mean,
            "with_only_the_distance_moved": {
                "largest_difference_deg": carried.kept[0],
                "mean_difference_deg": carried.kept[1],
            },
            "wear": worn,
        },
        files=Files(files),
        recipe=carried.recipe,
    )


def _worn(one: Worn) -> dict[str, Any]:
    return {
        "diameter_mm": one.diameter,
        "centre_distance_mm": one.centre_distance,
        "rim_distance_mm": one.rim_distance,
        "straight_distance_mm": one.straight_distance,
        "nose_deg": one.nose,
        "largest_difference_deg": one.largest,
        "mean_difference_deg": one.mean,
        "nose_if_left_deg": one.left,
        **{f"relief_{n}_straight_distance_mm": distance for n, distance in enumerate(one.reliefs, 1)},
    }


def _edge(carried: Carried) -> Block:
    both = [
        {"nose_deg": float(edge.wedge[edge.nose]), "wing_length_mm": edge.wing_length(1)}
        for edge in (carried.before, carried.after)
    ]
    both[0] |= {"largest": "", "mean": ""}  # type: ignore[dict-item]
    both[1] |= {"largest": shown(carried.largest, DEG, 3), "mean": shown(carried.mean, DEG, 3)}  # type: ignore[dict-item]
    labels: Labels = {
        "nose_deg": ("nose", 3),
        "wing_length_mm": ("wing length", 3),
        "largest": "largest difference along the edge",
        "mean": "mean difference along the edge",
    }
    return across("The edge", both, labels, ("", "before", "there"))


def _moved(carried: Carried) -> list[Block]:
    if not carried.reset:
        return []
    moved = ", ".join(f"{name} {value:.2f}" for name, value in carried.reset.items())
    largest, mean = (shown(value, DEG) for value in carried.kept)
    return [
        Block(
            below=f"Moved so that the wings differ least: {moved}. With nothing moved but the distance they would"
            f" differ by {largest} at most, {mean} in the mean."
        )
    ]


def _wear(worn: list[dict[str, Any]]) -> list[Block]:
    if not worn:
        return []
    below = (
        "A table is tilted to the wheel at the contact, so its nose stays as the wheel wears."
        if worn[0]["rim_distance_mm"] is None
        else "Re-set to these, the nose stays; the wings differ by the columns beside. Last: what the nose would be"
        " with pocket or rod left where it stood for the new wheel."
    )
    return [down("As the wheel wears", worn, _WEAR, below)]


def _draw(top: Axes, low: Axes, carried: Carried) -> None:
    place = 200 * (carried.share - 0.5)
    for edge, color, style, label in (
        (carried.before, INK, "-", "before"),
        (carried.after, WARM, "--", "there"),
    ):
        line(top, place, along(edge, carried.share), label, color, style)
    top.set_ylabel("edge angle, degrees")
    top.legend(frameon=False)
    line(low, place, carried.difference, "difference", COOL)
    low.axhline(0, color=SOFT, linewidth=0.8)
    low.set_ylabel("there less before, degrees")
    low.set_xlabel("place along the edge: per cent of each wing, 0 at the nose")


def _draw_wear(panels: tuple[Axes, ...], worn: list[dict[str, Any]]) -> None:
    """Settings over the wheel's diameter (a table has none to draw), and what happens to the edge."""
    of, nose = records(worn), worn[0]["nose_deg"]
    x, low = of["diameter_mm"], panels[-1]
    if len(panels) > 1:
        top = panels[0]
        top.set_ylabel("setting, mm")
        line(top, x, of["straight_distance_mm"], "rim to pocket or rod, straight", INK, marker=".")
        line(top, x, of["centre_distance_mm"], "wheel's centre to pocket or rod", COOL, "--", marker=".")
        left = [value - nose for value in of["nose_if_left_deg"]]
        line(low, x, left, "nose, if pocket or rod is left", WARM, "--")
    line(low, x, of["largest_difference_deg"], "wings at most, re-set", COOL, "-.")
    line(low, x, [value - nose for value in of["nose_deg"]], "nose, re-set", INK)
    low.set_ylabel("change of the edge, degrees")
    for axes in panels:
        axes.invert_xaxis()
        axes.legend(frameon=False)
    low.set_xlabel("wheel's diameter, mm, new to worn")
