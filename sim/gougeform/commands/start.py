"""Write a first recipe of your own: every field with a comment that says where to lay the ruler.

  gougeform start mine.toml
  gougeform start mine.toml --bar square --jig rod --set bar.side_mm=9.5 --set jig.rod_diameter_mm=16

FILE.toml grinds as it stands, with usual numbers where you give none; open it in a text editor and put your own in.
--set takes any field of the file, and four readings that fields are worked out from: flute.width_mm (lip to lip),
bar.over_flat_mm, jig.foot_back_mm and jig.foot_down_mm. Two drawings beside it show where each is measured.
A file that is there already is never overwritten.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from gougeform.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console

    from gougeform.settings.sensitivity import Sensitivity
    from gougeform.starter.text import Starter
    from gougeform.starter.values import Kinds


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform start` takes."""
    from gougeform.starter.values import BARS, CLAMPS, FLUTES, JIGS, PATHS, WHEELS

    parser.add_argument("file", metavar="FILE.toml", help="the recipe to write; it must not be there yet")
    choices = {
        "bar": (BARS, "outside of the bar (default round)"),
        "flute": (FLUTES, "shape of the flute (default arc; parabola for a plain rolled bevel)"),
        "wheel": (WHEELS, "what grinds (default wheel)"),
        "jig": (JIGS, "what holds the bar (default foot)"),
        "clamp": (CLAMPS, "what the bar is pressed to (default below: a flat under it)"),
        "path": (PATHS, "grind to an outline, or roll at one setting (default traced; for a table steady)"),
    }
    for name, (allowed, text) in choices.items():
        parser.add_argument(f"--{name}", choices=allowed, default="", help=text)
    parser.add_argument("--title", metavar="TEXT", help="what you call the tool")
    parser.add_argument(
        "--set", action="append", default=[], metavar="NAME=VALUE", help="a reading of yours, in mm or degrees"
    )
    parser.add_argument("--no-drawing", action="store_true", help="do not draw where to measure")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else on standard output")


def run(arguments: argparse.Namespace) -> int:
    """Make the file and the drawings, grind it once to be sure, write them, and say what comes next."""
    from gougeform.settings.sensitivity import OUTPUTS, sensitivity, sentence
    from gougeform.settings.show import finish
    from gougeform.starter.text import next_steps, starter
    from gougeform.starter.values import Kinds
    from gougeform.tell.folder import refuse_taken
    from gougeform.tell.progress import step

    kinds = Kinds(
        arguments.bar or "round",
        arguments.flute,
        arguments.wheel or "wheel",
        arguments.jig or "foot",
        arguments.clamp,
        arguments.path,
    ).filled()
    place = _place(arguments.file)
    _printable(arguments.title or "", "--title")
    given = _readings(arguments.set, kinds)
    for path in (place, *(() if arguments.no_drawing else _drawings(place))):
        refuse_taken(path)  # before any work; looked at again when they are written
    with step("grinding it once"):
        made = starter(kinds, given, arguments.file, arguments.title)
        recipe = made.measures.gouge.recipe
        found = sensitivity(recipe)
    with step("writing"):
        files = _written(place, made, draw=not arguments.no_drawing)
    steps = next_steps(kinds, arguments.file)
    setting = made.measures.gouge.settings[0]
    result = {
        "nose_angle_deg": made.measures.nose_angle,
        "rim_distance_mm": setting.rim_distance,
        "centre_distance_mm": setting.centre_distance,
        "wing_angle_50_deg": made.measures.wing_angles[50],
        "per_unit": {
            column: {f"{name}_deg": float(found.slope[k, OUTPUTS.index(name)]) for name in ("nose", "wing50")}
            for column, k in _measured(found)
        },
        "in_a_sentence": sentence(found),
        "next": [command for command, _ in steps],
        "files": [str(path) for path in files],
    }
    return finish(arguments, recipe, result, lambda console: _show(console, made, found, steps, arguments.file))


def _place(file: str) -> Path:
    """Where the recipe goes. Raises InputError for a name that is no .toml file, and for one that is there already."""
    _printable(file, "FILE")
    place = Path(file)
    if place.suffix.lower() != ".toml" or not place.stem.strip():
        name = file.removesuffix(".txt").removesuffix(".toml").rstrip(".") or "mine"
        raise InputError("FILE", f"given {file[:80]}, which does not end in .toml", f"write {name[:80]}.toml")
    return place


def _printable(text: str, name: str) -> None:
    """Raise InputError for what would break a comment of the file, or cannot be written as UTF-8 at all."""
    if not text.isprintable():
        raise InputError(name, "has a line break or another sign that cannot be printed", "leave it out")


def _drawings(place: Path) -> tuple[Path, Path]:
    return place.with_name(f"{place.stem}-bar.png"), place.with_name(f"{place.stem}-jig.png")


def _readings(texts: list[str], kinds: Kinds) -> dict[str, float | str]:
    """NAME=VALUE as readings by "table.field". Raises InputError."""
    from gougeform.settings.names import number, pair
    from gougeform.starter.values import full_name

    given: dict[str, float | str] = {}
    for text in texts:
        name, value = pair(text, "--set", "--set bar.diameter_mm=9.5")
        full = full_name(name, kinds)
        if full in given:
            raise InputError("--set", f"{full} is given twice", "keep one of them")
        given[full] = value if full == "bar.steel" else number(value, "--set", full)
    return given


def _written(place: Path, made: Starter, *, draw: bool) -> list[Path]:
    """Write the recipe and the drawings, all or none; returns what was written. Raises InputError."""
    from gougeform.tell.folder import publish_new, stage, write

    names = [place, *(_drawings(place) if draw else ())]
    with stage(place.parent) as inner:
        write(inner / place.name, made.text)
        if draw:
            from gougeform.starter.sketch import draw_bar, draw_jig

            bar, jig = _drawings(inner / place.name)
            draw_bar(made.measures, bar)
            draw_jig(made.measures, jig)
        publish_new(inner, place.parent, [path.name for path in names])
    return names


def _measured(found: Sensitivity) -> list[tuple[str, int]]:
    """What a hand measures, by column name, with its place in the sensitivities; what is chosen is left out."""
    from gougeform.settings.names import NAMES

    chosen = ("distance", "wing_length", "fullness", "shoulder", "roll")
    return [(NAMES[name].column, k) for k, name in enumerate(found.names) if name not in chosen]


def _show(console: Console, made: Starter, found: Sensitivity, steps: list[tuple[str, str]], file: str) -> None:
    from gougeform.settings.names import NAMES
    from gougeform.settings.sensitivity import OUTPUTS
    from gougeform.tell.doubts import doubts
    from gougeform.tell.report import print_list, table

    console.print(f"Open {file} in a text editor and put your own readings in, from the top down.", markup=False)
    console.print()
    wing = OUTPUTS.index("wing50")
    order = sorted((k for _, k in _measured(found)), key=lambda k: -abs(found.slope[k, 0]))
    rows = []
    for k in order:
        one = NAMES[found.names[k]]
        unit = "1°" if one.unit == "deg" else "1 mm"
        rows.append((f"{one.words}, {unit} more", *(f"{round(found.slope[k, i], 2) + 0.0:+.2f}°" for i in (0, wing))))
    still = "" if "tilt" in found.names else "With pocket or rod left where it is. "
    below = f"{still}Take the most care over what stands at the top."
    console.print(table("What a slip in one reading does", ("", "nose", "half way up the wing"), rows, below))
    said = [*made.measures.notes, *(f"{doubt}." for doubt in doubts(made.measures.gouge.recipe))]
    print_list(console, "Notes", said)
    console.print("What next", style="bold")
    for command, what in steps:
        console.print(f"  {command}", markup=False, soft_wrap=True)
        console.print(f"      {what}", markup=False)
    console.print()
