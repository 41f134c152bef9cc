"""The measures of one tool as tables a person reads in a terminal, 80 columns wide, in plain text where it is piped.

rich is loaded when a report is printed, not before.
"""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Iterable, Sequence
from typing import IO, TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from gougeform.grind.gouge import Gouge
from gougeform.machine.jig import Jig
from gougeform.machine.rig import TableRig as TableJig
from gougeform.measure.measures import WING_PER_CENT, EdgePlace, Measures
from gougeform.tell.cautions import STRONG, cautions
from gougeform.tell.doubts import doubts

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

Floats = NDArray[np.float64]
Row = tuple[str, ...]

NOTHING = "–"
"""Stands where a number has no meaning: no bevel meets that plane, no relief there, no such setting."""

PLACE = "place (% along wing)"
"""Head of the places along the edge: per cent of a wing's length along the edge, not along the bar."""
BEHIND = "behind nose"

EDGE_WORDS = (
    "Per cent of the wing along the edge, which bends; behind nose: the same place measured along the bar (z_mm of"
    " edge.csv is that, negative). All else in the plane square to the edge. Bevel: straight from edge to heel."
    " Hollow: of the bevel next to the edge, below zero where it bulges out."
    f" {NOTHING} where that plane meets no heel or relief."
)

_JIGS = {"foot": "foot jig", "rod": "rod jig", "table": "table"}
_PIVOT = {"foot": "pocket", "rod": "rod"}
_COLUMNS = 80
_SAME = 0.005  # wings that differ less than the digits shown share their columns


def console_for(stream: IO[str]) -> Console:
    """A console on a stream: colour and the terminal's width only where a person watches, else plain text.

    Never below 80 columns, which would break numbers in two. Its prints raise BrokenPipeError where the reader is gone.
    """
    from rich.console import Console

    class Plain(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError  # not the library's exit code 1: `gougeform.command` knows what it means

    width = max(_COLUMNS, shutil.get_terminal_size().columns) if stream.isatty() else _COLUMNS
    return Plain(file=stream, highlight=False, soft_wrap=False, width=width)


def print_report(measures: Measures, stream: IO[str], mesh_mm: float | None = None) -> None:
    """Settings, angles along the edge, lengths, cheeks, steel removed, how exact all that is, notes and cautions.

    mesh_mm: how far the mesh that was written may be off the surface.
    """
    recipe = measures.gouge.recipe
    console = console_for(stream)
    console.print(recipe.title or recipe.name or "Ground tool", style="bold", markup=False)
    console.print()
    head, *rows = setting_rows(measures.gouge)
    console.print(table("Settings", head, rows))
    head, *rows = edge_rows(measures)
    console.print(table("Along the edge", head, rows, EDGE_WORDS))
    for words in extreme_lines(measures):
        console.print(words)
    console.print()
    console.print(table("Lengths and steel", ("", ""), size_rows(measures)))
    console.print(exactness(measures, mesh_mm))
    console.print()
    print_list(console, "Notes", [*measures.notes, *(f"{doubt}." for doubt in doubts(recipe))])
    print_list(console, "Before you grind", cautions(recipe))


def table(title: str, head: Sequence[str], rows: Iterable[Sequence[str]], below: str = "") -> Table:
    """A table whose first column is words and whose others are numbers, set right; `below` explains them."""
    from rich import box
    from rich.table import Table

    made = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        caption=below or None,
        caption_justify="left",
        caption_style="dim",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
        show_header=any(head),
    )
    for number, name in enumerate(head):
        made.add_column(name, justify="right" if number else "left", header_style="dim", overflow="fold")
    for row in rows:
        made.add_row(*row)
    return made


def print_list(console: Console, title: str, lines: Sequence[str]) -> None:
    """Sentences as a list with a title; nothing where there are none. Strong cautions stand out."""
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    if not lines:
        return
    console.print(title, style="bold")
    made = Table.grid(padding=(0, 1))
    for line in lines:
        strong = line.startswith(STRONG)
        made.add_row("!" if strong else "-", Text(line, style="bold red" if strong else ""))
    console.print(Padding(made, (0, 0, 1, 2)))


def setting_rows(gouge: Gouge) -> list[Row]:
    """How to set jig and machine, one column a grind; first the heads. A row is left out where it has no meaning."""
    grinds = gouge.recipe.grinds
    head = ("", *(_grind_name(number, len(grinds)) for number in range(len(grinds))))
    rows: list[Row] = [
        ("jig", *(_JIGS[grind.jig.kind] for grind in grinds)),
        (
            "wheel",
            *("belt" if g.wheel.diameter_mm is None else f"{g.wheel.diameter_mm:g} mm" for g in grinds),
        ),
        ("set for a nose angle of", *(_deg(angle) for angle in _set_angles(gouge))),
        ("projection, nose to clamp face", *(_field(g.jig, "projection_mm", _mm, "foot", "rod") for g in grinds)),
        ("nose to where fingers hold the bar", *(_field(g.jig, "projection_mm", _mm, "table") for g in grinds)),
        ("arm below the bar axis (cant)", *(_field(g.jig, "arm_cant_deg", _deg, "foot") for g in grinds)),
        ("hinge axis to bar axis (cant)", *(_field(g.jig, "hinge_cant_deg", _deg, "rod") for g in grinds)),
    ]
    settings = gouge.settings
    pivots = dict.fromkeys(_PIVOT[g.jig.kind] for g in grinds if g.jig.kind in _PIVOT)
    pivot = " or ".join(pivots)
    if pivot:
        rows += [
            (f"wheel's centre to {pivot}", *(_mm(s.centre_distance) for s in settings)),
            (f"wheel's rim to {pivot}{' centre' if 'rod' in pivots else ''}", *(_mm(s.rim_distance) for s in settings)),
        ]
    if "rod" in pivots:
        rows.append(("wheel's rim to rod's surface", *_to_rod_surface(gouge)))
    first = settings[0].rim_distance
    if first is not None and len(settings) > 1:
        rows.append(("from the first grind's place", NOTHING, *(_moved(s.rim_distance, first) for s in settings[1:])))
    if pivot:
        rows += [
            (f"{pivot} above wheel's centre", *(_field(g.jig, "height_mm", _mm, "foot", "rod") for g in grinds)),
            ("contact above the horizontal", *(_contact(s.contact) for s in settings)),
        ]
    rows.append(("land to leave at the nose", *(_mm(grind.land_mm) for grind in grinds)))
    return [head, *(row for row in rows if any(cell != NOTHING for cell in row[1:]))]


def edge_rows(measures: Measures) -> list[Row]:
    """Wedge angle, bevel, hollow, land and place along the bar, at the nose and along the wings; first the heads.

    Both wings have their own rows where they differ by more than the digits shown.
    """
    edge = measures.edge
    columns = [("edge angle", edge.wedge, _deg), ("bevel", edge.bevel, _mm), ("hollow", edge.hollow, _mm3)]
    if measures.land is not None:
        columns.append(("land", edge.land, _mm))
    columns.append((BEHIND, edge.point[2, edge.nose] - edge.point[2], _mm))
    names = (PLACE, *(name for name, _, _ in columns))
    rows: list[Row] = [names, ("nose", *(show(float(values[edge.nose])) for _, values, show in columns))]
    wings = {
        side: [[float(v) for v in _along(edge.arc, values, edge.wing(side))] for _, values, _ in columns]
        for side in (-1, 1)
    }
    apart = np.abs(np.array(wings[-1]) - np.array(wings[1]))
    sides = ((-1, " left"), (1, " right")) if np.nanmax(apart[0]) > _SAME else ((1, ""),)
    angle = {side: measures.wing_angle(side) for side, _ in sides}
    for i, per_cent in enumerate(WING_PER_CENT):
        for side, word in sides:
            others = [show(wings[side][j][i]) for j, (_, _, show) in enumerate(columns) if j]
            rows.append((f"{per_cent} %{word}", _deg(angle[side][per_cent]), *others))
    return rows


def extreme_lines(measures: Measures) -> tuple[str, str]:
    """Where the edge is sharpest and where bluntest, in words: five places of a table may miss both."""
    return _extreme("Sharpest:", measures.sharpest), _extreme("Bluntest:", measures.bluntest)


def _extreme(word: str, place: EdgePlace) -> str:
    if place.along == 0:
        return f"{word} {_deg(place.angle)} at the nose."
    side = {-1: "left ", 0: "", 1: "right "}[place.side]
    lip = f"at the {side}lip, " if place.lip else ""
    wing = f" on the {side}wing" if place.side and not place.lip else ""
    return (
        f"{word} {_deg(place.angle)} {lip}{place.along:.1f} mm from the nose along the edge"
        f" ({place.behind:.1f} mm behind it){wing}."
    )


def size_rows(measures: Measures) -> list[Row]:
    """Lengths of edge and wings, over-cut, cheeks, and what the grind costs in steel."""
    edge, recipe = measures.edge, measures.gouge.recipe
    left, right = edge.wing_length(-1), edge.wing_length(1)
    removed = measures.steel_removed
    rows = [
        ("wing length" + ("" if abs(left - right) < _SAME else " left, right"), _pair(left, right)),
        ("edge length, lip to lip", _mm(edge.length)),
        *((f"cheek width {behind} mm behind the nose", _mm(width)) for behind, width in measures.cheeks.items()),
        ("cut past the asked outline", _mm3(edge.overcut)),
        ("tool gets shorter by", _mm(measures.nose_loss)),
        ("steel removed", f"{removed:.1f} mm³ ({removed * recipe.bar.steel.density_g_cm3 / 1000:.2f} g)"),
    ]
    return [row for row in rows if row[1] != NOTHING]


def exactness(measures: Measures, mesh_mm: float | None = None) -> str:
    """One sentence: how far the numbers may be off, rounded up to two digits."""
    off = measures.stated_error
    words = (
        f"Exact to {_up(off['angles_deg'])}° and {_up(off['lengths_mm'])} mm, steel removed to"
        f" {_up(off['steel_removed_mm3'])} mm³"
    )
    mesh = "" if mesh_mm is None else f"; mesh within {_up(mesh_mm)} mm"
    return f"{words}{mesh}. That is the arithmetic: no jig is set so exactly."


def _up(value: float) -> str:
    """A positive number rounded up to two significant digits, with no exponent."""
    digits = 1 - math.floor(math.log10(value))
    shown = f"{math.ceil(round(value * 10**digits, 6)) / 10**digits:.{max(digits, 0)}f}"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def _grind_name(number: int, count: int) -> str:
    if number == 0:
        return "grind" if count == 1 else "first grind"
    return "relief" if count == 2 else f"relief {number}"


def _set_angles(gouge: Gouge) -> list[float]:
    """The nose angle (deg) each grind's own setting makes, in closed form."""
    angles = []
    for jig, one in zip(gouge.jigs, gouge.ground.passes, strict=True):
        rad = jig.nose_angle if isinstance(jig, TableJig) else jig.pivot.nose_angle(jig.rim, one.wheel.curvature)
        angles.append(float(np.degrees(rad)))
    return angles


def _field(jig: Jig, name: str, show: Callable[[float], str], *kinds: str) -> str:
    return show(getattr(jig, name)) if jig.kind in kinds else NOTHING


def _to_rod_surface(gouge: Gouge) -> list[str]:
    cells = []
    for grind, setting in zip(gouge.recipe.grinds, gouge.settings, strict=True):
        rod = grind.jig.kind == "rod" and setting.rim_distance is not None
        cells.append(_mm(setting.rim_distance - grind.jig.rod_diameter_mm / 2) if rod else NOTHING)  # type: ignore[union-attr,operator]
    return cells


def _moved(rim: float | None, first: float) -> str:
    if rim is None:
        return NOTHING
    return f"{abs(rim - first):.2f} mm {'nearer' if rim < first else 'farther'}"


def _contact(angle: float | None) -> str:
    return NOTHING if angle is None else f"{np.degrees(angle):.1f}°"


def _along(arc: Floats, values: Floats, wing: slice) -> Floats:
    """Values at the per cents of one wing's arc length; NaN next to stations that have none."""
    far = np.abs(arc[wing] - arc[wing][0])
    return np.interp(far[-1] * np.array(WING_PER_CENT) / 100, far, values[wing])


def _pair(left: float, right: float) -> str:
    return _mm(right) if abs(left - right) < _SAME else f"{left:.2f}, {right:.2f} mm"


def _shown(value: float | None, digits: int, unit: str) -> str:
    if value is None or not np.isfinite(value):
        return NOTHING
    return f"{round(value, digits) + 0.0:.{digits}f}{unit}"


def _deg(value: float | None) -> str:
    return _shown(value, 2, "°")


def _mm(value: float | None) -> str:
    return _shown(value, 2, " mm")


def _mm3(value: float | None) -> str:
    return _shown(value, 3, " mm")
