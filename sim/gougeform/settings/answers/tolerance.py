"""How exact must each setting be, and which matters most?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from gougeform.present.answer import Answer, Block, Cell, Files, Number
from gougeform.present.files import chart, table
from gougeform.present.palette import INK, WARM
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import bench_of
from gougeform.settings.names import NAMES
from gougeform.settings.sensitivity import OUTPUTS, Sensitivity, read_tolerances, sensitivity, sentence

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLUMNS = tuple(f"{name}_{'mm' if name == 'overcut' else 'deg'}" for name in OUTPUTS)
_WORDS = tuple(name.replace("wing", "wing ").replace("overcut", "over-cut") for name in OUTPUTS)
_SHOWN = 5e-5  # a worst case below this is none


def answer(recipe: Recipe, tolerance: Mapping[str, float] | None = None) -> Answer:
    """Derivatives, worst case and likely error, of what a person sets at the jig and of what else is named.

    tolerance: by how much a setting may be off, mm, deg or share, by name. Raises InputError for a setting the recipe
    has not, and where there is no edge.
    """
    bench = bench_of(recipe)
    given = read_tolerances(bench, tolerance or {})
    names = [name for name in bench.names if name in given or name in bench.by_hand]
    found = sensitivity(recipe, given, names=names)
    columns = [NAMES[name].column for name in found.names]

    def named(values: Sequence[float]) -> dict[str, float]:
        return dict(zip(_COLUMNS, values, strict=True))

    rows = {
        "setting": found.names,
        "unit": [NAMES[name].unit for name in found.names],
        "value": found.value,
        "tolerance": found.tolerance,
        **{f"d_{column}_per_unit": found.slope[:, k] for k, column in enumerate(_COLUMNS)},
    }
    title = f"{recipe.title or recipe.name}\nwhat each setting's tolerance does to the edge"
    return Answer(
        blocks=_blocks(found),
        verdict=sentence(found),
        result={
            "per_unit": {column: named(found.slope[k].tolist()) for k, column in enumerate(columns)},
            "tolerance": dict(zip(columns, found.tolerance.tolist(), strict=True)),
            "worst_case": named(found.worst.tolist()),
            "root_sum_square": named(found.likely.tolist()),
            "matters_most": {
                name: found.names[found.most(k)] if found.worst[k] > 0 else None for k, name in enumerate(OUTPUTS)
            },
            "in_a_sentence": sentence(found),
        },
        files=Files({"tolerance.csv": table(rows), **chart("tolerance", lambda axes: _draw(axes, found), title)}),
        recipe=recipe,
    )


def _blocks(found: Sensitivity) -> list[Block]:
    cuts = bool(np.abs(found.slope[:, -1]).max() > 0 or found.outputs[-1] > 0)
    count = len(OUTPUTS) if cuts else len(OUTPUTS) - 1
    head = ("", *_WORDS[:count])

    def row(words: str, values: Sequence[float]) -> list[Cell]:
        return [
            words,
            *(Number(v, k, 3 if k == "overcut_mm" else None) for v, k in zip(values, _COLUMNS[:count], strict=False)),
        ]

    slopes: list[tuple[Cell, ...]] = [
        (_valued(found, k, found.value[k]), *(Number(v, "", 3, plus=True) for v in found.slope[k, :count].tolist()))
        for k in range(len(found.names))
    ]
    shares = [row(_valued(found, k, found.tolerance[k]), found.share[k].tolist()) for k in range(len(found.names))]
    shares += [
        row("worst case, all added", found.worst.tolist()),
        row("likely, root sum square", found.likely.tolist()),
    ]
    most: dict[str, list[str]] = {}
    for k in range(count):
        if found.worst[k] > _SHOWN:
            most.setdefault(found.names[found.most(k)].replace("_", " "), []).append(_WORDS[k])
    matters = "; ".join(f"{name} for {', '.join(places)}" for name, places in most.items())
    over = "Over-cut in mm." if cuts else "None of them makes the path cut past its outline."
    still = "Degrees for one mm, one degree or one whole share more; pocket or rod stay where they are."
    return [
        Block("What one more of each setting does", slopes, head, below=f"{still} {over}"),
        Block("What errors of this size do", shares, head, below=f"Matters most: {matters}." if most else ""),
    ]


def _valued(found: Sensitivity, k: int, value: float) -> str:
    return f"{found.names[k].replace('_', ' ')}, {Number(float(value), NAMES[found.names[k]].column)}"


def _draw(axes: Axes, found: Sensitivity) -> None:
    wing = OUTPUTS.index("wing50")
    order = np.argsort(found.share[:, 0] + found.share[:, wing])
    place = np.arange(len(order))
    for offset, output, color, label in ((0.2, 0, INK, "nose"), (-0.2, wing, WARM, "wing at 50 %")):
        axes.barh(place + offset, found.share[order, output], 0.38, color=color, label=label)
    signs = {"mm": " mm", "deg": "°", "": ""}
    ones = [NAMES[found.names[k]] for k in order]
    words = [
        f"{one.name.replace('_', ' ')} ±{found.tolerance[k]:.3g}{signs[one.unit]}"
        for one, k in zip(ones, order, strict=True)
    ]
    axes.set_yticks(place, words)
    axes.set_xlabel("change of the edge angle by the setting's tolerance, degrees")
    axes.grid(visible=False, axis="y")
    axes.legend(frameon=False, loc="lower right")
