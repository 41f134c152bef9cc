"""How exact each setting must be: what it does to nose, wings and over-cut, and what all errors together may do.

  gougeform tolerance RECIPE
  gougeform tolerance RECIPE --tolerance projection=1 --tolerance distance=0.5 --tolerance cant=0

A setting is taken to be off by 0.5 mm, 0.5 degrees or 0.02 of a share unless you say otherwise; 0 leaves it out.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from gougeform.settings.show import INK, WARM, amount, common_arguments, deg, files_in, finish, mm, opened, out_folder

if TYPE_CHECKING:
    import numpy as np
    from matplotlib.axes import Axes
    from numpy.typing import NDArray
    from rich.console import Console

    from gougeform.settings.sensitivity import Sensitivity


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform tolerance` takes."""
    common_arguments(parser)
    parser.add_argument(
        "--tolerance", action="append", default=[], metavar="NAME=VALUE", help="by how much a setting may be off"
    )


def run(arguments: argparse.Namespace) -> int:
    """Derivatives, worst case and likely error, table, CSV and chart."""
    from gougeform.settings.bench import bench_of
    from gougeform.settings.names import NAMES
    from gougeform.settings.sensitivity import OUTPUTS, read_tolerances, sensitivity, sentence

    recipe = opened(arguments)
    found = sensitivity(recipe, read_tolerances(bench_of(recipe), arguments.tolerance))
    columns = [f"{name}_{'mm' if name == 'overcut' else 'deg'}" for name in OUTPUTS]
    with files_in(out_folder(arguments, recipe)) as files:
        head = ["setting", "unit", "value", "tolerance", *(f"d_{name}_per_unit" for name in columns)]
        rows = [
            [name, NAMES[name].unit, found.value[k], found.tolerance[k], *found.slope[k].tolist()]
            for k, name in enumerate(found.names)
        ]
        files.csv("tolerance.csv", head, rows)
        title = f"{recipe.title or recipe.name}\nwhat each setting's tolerance does to the edge"
        files.chart("tolerance", lambda axes: _draw(axes, found), title)
    result = {
        "per_unit": {
            NAMES[name].column: dict(zip(columns, found.slope[k].tolist(), strict=True))
            for k, name in enumerate(found.names)
        },
        "tolerance": {NAMES[name].column: float(found.tolerance[k]) for k, name in enumerate(found.names)},
        "worst_case": dict(zip(columns, found.worst.tolist(), strict=True)),
        "root_sum_square": dict(zip(columns, found.likely.tolist(), strict=True)),
        "matters_most": {
            name: found.names[found.most(k)] if found.worst[k] > 0 else None for k, name in enumerate(OUTPUTS)
        },
        "in_a_sentence": sentence(found),
        "files": files.names,
    }
    return finish(arguments, recipe, result, lambda console: _show(console, found))


def _show(console: Console, found: Sensitivity) -> None:
    import numpy as np

    from gougeform.settings.names import NAMES
    from gougeform.settings.sensitivity import OUTPUTS, sentence
    from gougeform.tell.report import table

    console.print(sentence(found), markup=False)
    console.print()
    units = [NAMES[name].unit for name in found.names]
    names = [name.replace("_", " ") for name in found.names]
    cuts = bool(np.abs(found.slope[:, -1]).max() > 0 or found.outputs[-1] > 0)
    wings = [name.replace("wing", "wing ") for name in OUTPUTS[1:-1]]
    head = ("nose", *wings, *(("over-cut",) if cuts else ()))
    shown = len(head)
    rows = []
    for k, name in enumerate(names):
        slope = [f"{value:+.3f}" for value in found.slope[k, :shown]]
        rows.append((f"{name}, {amount(found.value[k], units[k])}", *slope))
    below = "Degrees for one mm, one degree or one whole share more; pocket or rod stay where they are. " + (
        "Over-cut in mm." if cuts else "None of them makes the path cut past its outline."
    )
    console.print(table("What one more of each setting does", ("", *head), rows, below))

    def cells(values: NDArray[np.float64]) -> list[str]:
        return [*(deg(value) for value in values[:5]), *([mm(values[5], 3)] if cuts else [])]

    rows = []
    for k, name in enumerate(names):
        rows.append((f"{name}, {amount(found.tolerance[k], units[k])}", *cells(found.share[k])))
    rows += [("worst case, all added", *cells(found.worst)), ("likely, root sum square", *cells(found.likely))]
    most: dict[str, list[str]] = {}
    for k in range(shown):
        if found.worst[k] > 5e-5:
            most.setdefault(names[found.most(k)], []).append(head[k])
    below = "Matters most: " + "; ".join(f"{name} for {', '.join(places)}" for name, places in most.items()) + "."
    console.print(table("What errors of this size do", ("", *head), rows, below if most else ""))


def _with_tolerance(found: Sensitivity, k: int) -> str:
    from gougeform.settings.names import NAMES

    unit = {"mm": " mm", "deg": "°"}.get(NAMES[found.names[k]].unit, "")
    return f"{found.names[k].replace('_', ' ')} ±{found.tolerance[k]:.3g}{unit}"


def _draw(axes: Axes, found: Sensitivity) -> None:
    import numpy as np

    from gougeform.settings.sensitivity import OUTPUTS

    order = np.argsort(found.share[:, 0] + found.share[:, OUTPUTS.index("wing50")])
    place = np.arange(len(order))
    for offset, output, color, label in ((0.2, 0, INK, "nose"), (-0.2, OUTPUTS.index("wing50"), WARM, "wing at 50 %")):
        axes.barh(place + offset, found.share[order, output], 0.38, color=color, label=label)
    axes.set_yticks(place, [_with_tolerance(found, int(k)) for k in order])
    axes.set_xlabel("change of the edge angle by the setting's tolerance, degrees")
    axes.grid(visible=False, axis="y")
    axes.legend(frameon=False, loc="lower right")
