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
    from matplotlib.axes import Axes
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
        files.chart("tolerance", lambda axes: _draw(axes, found))
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
    from gougeform.report import table
    from gougeform.settings.names import NAMES
    from gougeform.settings.sensitivity import OUTPUTS, sentence

    console.print(sentence(found), markup=False)
    console.print()
    names = [name.replace("_", " ") for name in found.names]
    head = ("one unit more of", "is now", "nose", "wing 25", "50", "75", "95 %", "over-cut")
    rows = []
    for k, name in enumerate(found.names):
        unit = NAMES[name].unit
        slope = [f"{value:+.3f}" for value in found.slope[k]]
        rows.append((f"{names[k]} ({unit or 'share'})", amount(found.value[k], unit), *slope))
    below = "Degrees (over-cut: mm) for one mm, one degree or one whole share more; pocket or rod stay where they are."
    console.print(table("What each setting does", head, rows, below))
    rows = []
    for k, name in enumerate(found.names):
        off = amount(found.tolerance[k], NAMES[name].unit)
        rows.append((names[k], off, *(deg(value) for value in found.share[k][:-1]), mm(found.share[k][-1], 3)))
    for words, values in (("all adding up (worst case)", found.worst), ("likely (root sum square)", found.likely)):
        rows.append((words, "", *(deg(value) for value in values[:-1]), mm(values[-1], 3)))
    most = [found.names[found.most(k)].replace("_", " ") if found.worst[k] > 5e-5 else "–" for k in range(len(OUTPUTS))]
    rows.append(("matters most", "", *most))
    console.print(table("What errors of this size do", ("", "off by", *head[2:]), rows))


def _draw(axes: Axes, found: Sensitivity) -> None:
    import numpy as np

    from gougeform.settings.sensitivity import OUTPUTS

    order = np.argsort(found.share[:, 0] + found.share[:, OUTPUTS.index("wing50")])
    place = np.arange(len(order))
    for offset, output, color, label in ((0.2, 0, INK, "nose"), (-0.2, OUTPUTS.index("wing50"), WARM, "wing at 50 %")):
        axes.barh(place + offset, found.share[order, output], 0.38, color=color, label=label)
    axes.set_yticks(place, [found.names[k].replace("_", " ") for k in order])
    axes.set_xlabel("change of the edge angle by the setting's tolerance, degrees")
    axes.grid(visible=False, axis="y")
    axes.legend(frameon=False, loc="lower right")
