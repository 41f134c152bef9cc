"""Which tool is this? A scan as a recipe, with every number's uncertainty, and how far both are apart."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge, shape
from gougeform.measure.quantities import COLUMNS
from gougeform.present.answer import Answer, Block, Cell, Files, Maker, Next, Number, WrittenFile
from gougeform.present.files import chart, text
from gougeform.present.progress import step
from gougeform.recipe.model import Recipe
from gougeform.recipe.write import to_toml
from gougeform.take.answers.telling import COVERED, label, shown_with
from gougeform.take.known import tables
from gougeform.take.machine import off_ground
from gougeform.take.mesh import read_mesh
from gougeform.take.scan import Scan, take_scan
from gougeform.take.section import off_flute

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]

_SHOWN = 30_000  # points of a picture
_FULL_MM = 0.1  # difference at which the picture's colours are full
_SIDES = ("left", "right")
_REACH = 2.5  # bar sizes of the tool that are drawn and compared


def answer(file: str | Path, likes: Sequence[Recipe], scale_mm: float | None = None) -> Answer:
    """Bar, flute and grind of an STL, PLY or OBJ file; likes: the machines it may have been ground on.

    scale_mm: mm that one unit of the file is; without it the numbers are mm. Raises InputError.
    """
    with step("reading the scan"):
        mesh = read_mesh(file, scale_mm)
    with step("measuring it"):
        scan = take_scan(mesh, likes)
        gouge = shape(scan.recipe)
    places, off, part = _apart(scan, gouge)
    rows: list[list[Cell]] = []
    apart: dict[str, Any] = {}
    for k, name in enumerate(("ground face", "flute", "outline")):
        d = off[part == k]
        if len(d):
            rms, most = float(np.sqrt(np.mean(d**2))), float(np.quantile(np.abs(d), 0.95))
            rows.append([name, str(len(d)), Number(float(d.mean()), "mean_mm", 3), Number(rms, "rms_mm", 3)])
            rows[-1].append(Number(most, "most_mm", 3))
            apart[name] = {"count": len(d), "mean_mm": float(d.mean()), "rms_mm": rms, "within_95_mm": most}
    notes = [
        f"Single points of the bar are {scan.noise_mm:.3f} mm off a prism.",
        "The jig of the recipe is one that leaves this face, found from those of the machines it was compared with;"
        " the jig it was really ground on can have other lengths. Put yours in, and ask `gougeform match`.",
        *scan.notes,
    ]
    return Answer(
        scan.recipe.title,
        [
            _numbers(scan),
            Block(
                "The scan against the recipe's tool",
                rows,
                ("", "points", "mean", "rms", "95 of 100 within"),
                below="Above zero where the scan has more steel.",
            ),
        ],
        notes=notes,
        result={"numbers": tables(scan.numbers), "noise_mm": scan.noise_mm, "off": apart},
        files=Files(
            {"recipe.toml": text(to_toml(scan.recipe)), **_picture(places, off, Path(file).name)}, record="result.json"
        ),
        next=[Next("grind", [WrittenFile("recipe.toml")], why="to see all that is measured of it")],
        recipe=scan.recipe,
    )


def _numbers(scan: Scan) -> Block:
    rows: list[list[Cell]] = []
    for key, known in scan.numbers.items():
        if key.endswith(_SIDES):
            continue
        name = COLUMNS[key].label if key in COLUMNS else label(scan.recipe, key)
        name = scan.recipe.grinds[0].path.meaning(key).label if name == key else name
        own = [scan.numbers.get(f"{key}.{side}") for side in _SIDES]
        unit_key = next(word for word in reversed(key.split(".")) if not word.isdigit())
        cells: list[Cell] = [name, *shown_with(known, unit_key)]
        cells += ["" if one is None else shown_with(one, unit_key)[0] for one in own]
        rows.append(cells)
    return Block("The tool", rows, ("", "", "", "left", "right"), below=COVERED)


def _apart(scan: Scan, gouge: Gouge) -> tuple[Floats, Floats, NDArray[np.int8]]:
    """Points (n, 3) mm of the head, how far (n,) mm out of the recipe's tool, and which part: face, flute, outline."""
    p = scan.placed[scan.placed[:, 2] > -_REACH * float(np.ptp(scan.placed[:, 0]))]
    p = p[np.random.default_rng(0).permutation(len(p))[:_SHOWN]]
    section = gouge.section
    outline, flute = section.outline.nearest(p[:, :2])[0], off_flute(section, p[:, :2])
    each = np.stack([off_ground(gouge, p), flute, outline])
    part = np.abs(each).argmin(0).astype(np.int8)
    return p, each[part, np.arange(len(p))], part


def _picture(p: Floats, off: Floats, name: str) -> dict[str, Maker]:
    def draw(*axes: Axes) -> None:
        for one, (across, up, toward, words) in zip(
            axes, ((2, 0, 1, "from above"), (2, 1, 0, "from the right")), strict=True
        ):
            order = np.argsort(p[:, toward])
            dots = one.scatter(
                p[order, across],
                p[order, up],
                c=off[order],
                s=2,
                cmap="coolwarm",
                vmin=-_FULL_MM,
                vmax=_FULL_MM,
                rasterized=True,
            )
            one.set_aspect("equal", "datalim")
            one.set_ylabel(f"{words}, mm")
            one.figure.colorbar(dots, ax=one, label="scan outside the recipe, mm")
        axes[-1].set_xlabel("along the bar, mm; the nose at 0")

    return chart("difference", draw, f"{name}\nthe scan against the recipe's tool", panels=2, size=(8.5, 7.5))
