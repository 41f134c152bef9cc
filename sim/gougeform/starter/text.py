"""The starter recipe as a file: every field with its comment, what the program worked out from it, and what is next.

The text is read back and ground before anybody gets it, so a starter that does not grind is never written.
"""

from __future__ import annotations

import shlex
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from gougeform.bar.section import build_section
from gougeform.errors import InputError
from gougeform.machine.jig import DISTANCES, Jig
from gougeform.measure.measures import Measures
from gougeform.mesh.solid import build_solid
from gougeform.present.answer import Next
from gougeform.read.toml import parse_toml
from gougeform.read.writing import toml_text
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.starter.fields import comment
from gougeform.starter.nearest import nearest_outline
from gougeform.starter.values import Choices, Table, model, tables
from gougeform.tool.grind import measured

_WIDE = 100
_COARSE_MM = 0.05  # the mesh is built only to see that it can be
_POINTS_A_LINE = 5

_NOUNS = {"bar": "bar", "flute": "flute", "wheel": "wheel", "jig": "jig", "grind": "grind"}

_RULES = (
    "Everything after a # is for you; the program does not read it. Change the numbers to what you measure, from the"
    " top down. Leave the names and the = as they are.",
    "Lengths in mm (1 inch is 25.4), angles in degrees. A number has a point and no unit: 9.5, not 9,5 and not 9.5 mm."
    ' A word stands in quotation marks: "hss".',
    "Save as plain text (UTF-8), with a name that ends in .toml and not in .toml.txt.",
)
_HIDDEN = (
    "The lengths inside the jig are the hardest to get at. Take them as well as you can, within 2 mm; `gougeform"
    " calibrate` then fits them to a few noses that were really ground (see the end of this file)."
)
_ROUND_THE_BAR = (
    "Your own readings in order round the bar, x sideways from the middle of the flute, y up from the bar's middle. Set"
    " the bar upright on squared paper, draw round it with a sharp pencil, mark the middle of the flute, and read off a"
    " point every few millimetres, closer where it bends most; or turn it by equal angles under a calliper. With smooth"
    " = true it runs in arcs through the points, and where it turns sharply at one point that stays a corner. A run"
    " says how far it may be off between them."
)
_OFF_THE_WHEEL = (
    "The speed check needs the next two. Write what stands on your motor and your wheel after the = and take the # off."
)


@dataclass(frozen=True, eq=False)
class Starter:
    """A starter recipe. text: the file; recipe: what it says.

    measures: of that tool; where it cannot be ground, of the one with the nearest outline that can, and None where none
    near it can. problem: why it cannot, "" where it can. nearest: what of the nearest outline differs.
    """

    text: str
    recipe: Recipe
    measures: Measures | None
    problem: str = ""
    nearest: Mapping[str, float] = field(default_factory=dict)


def starter(kinds: Choices, given: Mapping[str, float | str], file: str, title: str | None = None) -> Starter:
    """The starter recipe for these kinds with a person's readings by "table.field"; file is what it will be called.

    A tool that cannot be ground as asked is written all the same, with the nearest outline that can as a comment.
    Raises InputError where the readings fit no recipe.
    """
    kinds = kinds.filled()
    made = tables(kinds, given)
    title = title or usual_title(kinds)
    # In memory first: the comments tell what follows from the numbers.
    try:
        recipe = from_table({"title": title} | _without_grind(made) | {"grind": [made["grind"]]})
        build_section(recipe.bar, recipe.flute)
    except InputError as error:
        raise replace(error, file="") from None
    problem, nearest, measures = "", {}, None
    try:
        measures = measured(recipe)
        build_solid(measures.gouge, _COARSE_MM)
    except InputError as error:
        problem = f"{error.problem}. {error.hint[:1].upper()}{error.hint[1:]}".rstrip(". ")
        found = nearest_outline(recipe)
        measures, nearest = found or (None, {})
    text = _text(kinds, made, Starter("", recipe, measures, problem, nearest), title, file)
    back = from_table(parse_toml(text.encode(), file))
    assert back == recipe, "the file says what was asked"
    return Starter(text, recipe, measures, problem, nearest)


def usual_title(kinds: Choices) -> str:
    """What the tool is called until a person calls it something."""
    return f"My gouge: {kinds.bar} bar, {kinds.flute} flute, {kinds.wheel}, {kinds.of_jig.noun.removeprefix('a ')}"


def _without_grind(made: dict[str, Table]) -> dict[str, Table]:
    return {name: table for name, table in made.items() if name != "grind"}


def _text(kinds: Choices, made: dict[str, Table], one: Starter, title: str, file: str) -> str:
    lines = [
        *_remark("A first recipe, to be filled in with your own readings."),
        *(line for rule in _RULES for line in _remark(rule)),
        *_remark(_stands(one)),
        "",
        *_remark("What you call the tool; it stands over every table and on the card."),
        toml_text({"title": title}).strip(),
    ]
    for section, table in made.items():
        lines += ["", *_rule(section), *_before(section, kinds, one.recipe)]
        lines.append("[[grind]]" if section == "grind" else f"[{section}]")
        for name, value in table.items():
            words = comment(section, name, model(section, table), table)
            lines += [*_remark(words), *_line(name, value), ""]
        lines.pop()
        lines += _after(section, table, one)
    return "\n".join([*lines, "", *_next(kinds, file)]) + "\n"


def _stands(one: Starter) -> str:
    if not one.problem:
        assert one.measures is not None
        nose = one.measures.nose_angle
        return f"As it stands it grinds a nose of {nose:.1f}°, but the numbers are usual ones and not yours."
    return f"AS IT STANDS IT CANNOT BE GROUND: {one.problem}. See under [[grind]]."


def _rule(section: str) -> list[str]:
    head = f"# ---- The {_NOUNS[section]} "
    return [head + "-" * (_WIDE - len(head))]


def _remark(words: str) -> list[str]:
    return textwrap.wrap(words, _WIDE, initial_indent="# ", subsequent_indent="# ", break_on_hyphens=False)


def _line(name: str, value: Any) -> list[str]:
    if name != "points_mm":
        return [toml_text({name: value}).strip()]
    pairs = [f"[{x!r}, {y!r}]" for x, y in value]
    rows = [", ".join(pairs[k : k + _POINTS_A_LINE]) for k in range(0, len(pairs), _POINTS_A_LINE)]
    return ["points_mm = [", *(f"    {row}," for row in rows), "]"]


def _before(section: str, kinds: Choices, recipe: Recipe) -> list[str]:
    """What is said above a table."""
    if section == "bar" and kinds.bar == "flatted":
        return _remark(
            "A round bar with a flat along its underside is given by points. `gougeform start` works them out from two"
            f" readings: {_options(bar='flatted', set={'bar.diameter_mm': 10, 'bar.over_flat_mm': 9.4})} (from the flat"
            " to the top)."
        )
    if section == "bar" and kinds.bar == "points":
        return _remark(_ROUND_THE_BAR)
    if section == "flute" and kinds.flute == "points":
        return _remark(
            "Your own readings, from lip to lip: x sideways from the middle, y up from the floor, which is [0, 0]."
            " Both sides alike; the outermost points a little outside the bar."
        )
    if section == "flute":
        cut = build_section(recipe.bar, recipe.flute)
        lips, floor = cut.lip(1) - cut.lip(-1), cut.y_floor
        return _remark(
            f"Check: with these numbers the flute is {lips[0]:.2f} mm wide from lip to lip, and its floor lies"
            f" {cut.lip(1)[1] - floor:.2f} mm below the line between the lips. `gougeform start` works the shape out"
            f" from two readings: {_options(set={'flute.width_mm': '…'})} (lip to lip)"
            f" {_options(set={'flute.web_mm': '…'})}"
        )
    if section == "jig" and kinds.of_jig.hidden():
        return _remark(_HIDDEN) + _readings(recipe.grinds[0].jig)
    if section == "grind":
        return _remark(kinds.of_path.remark)
    return []


def _options(**given: Any) -> str:
    """What a person adds to `gougeform start`."""
    return " ".join(Next("start", (), given).words(Path())[2:])


def _readings(jig: Jig) -> list[str]:
    """What may be read in the place of hidden lengths."""
    if jig.readings is None:
        return []
    return _remark(f"{jig.remark()} {_options(set={f'jig.{name}': '…' for name in jig.readings.how})}")


def _after(section: str, table: Table, one: Starter) -> list[str]:
    """Fields that may stand instead or besides, ready to have their # taken off."""
    lines: list[str] = []
    measures = one.measures
    if section == "grind" and one.problem:
        lines += ["", *_remark(f"As it stands this cannot be ground: {one.problem}.")]
        if one.nearest:
            lines += _remark("The nearest outline that can: put these in the place of what stands above.")
            lines += [f"# {name} = {value:g}" for name, value in one.nearest.items()]
    if section == "wheel":
        # No number stands here: an invented rating would pass the speed check of a wheel nobody has looked at.
        asked = ("rpm", "rated_m_s") if table["kind"] == "wheel" else ("rated_m_s",)
        spare = [name for name in asked if name not in table]
        if len(spare) == 2:
            lines += ["", *_remark(_OFF_THE_WHEEL)]
        for name in spare:
            lines += [
                "",
                *_remark(comment(section, name, model(section, table), table)),
                f"# {name} =",
            ]
    if section == "jig" and measures is not None and measures.gouge.jigs[0].pivot is not None:
        setting = measures.gouge.settings[0]
        worked = {
            "nose_angle_deg": measures.nose_angle,
            "rim_distance_mm": setting.rim_distance,
            "centre_distance_mm": setting.centre_distance,
        }
        spare = [name for name in DISTANCES if name not in table and worked[name] is not None]
        last = next(name for name in reversed(table) if name in DISTANCES)
        lines += ["", *_remark(f"Instead of {last} you may give one of these, which say the same. Never two at once.")]
        for name in spare:
            lines += _remark(comment(section, name, model(section, table), table))
            lines.append(f"# {name} = {worked[name]:.2f}")
    if section == "grind" and measures is not None and one.recipe.grinds[0].path.outlined:
        nose, bevel = measures.nose_angle, float(measures.edge.bevel[measures.edge.nose])
        lines += [
            "",
            *_remark("A second bevel that takes the heel off: take the # off the next three lines."),
            "# [[grind]]",
        ]
        lines += [f"# nose_angle_deg = {max(nose - 8, nose / 2):.1f}", f"# land_mm = {bevel / 4:.1f}"]
    return lines


def next_steps(kinds: Choices, file: str) -> list[Next]:
    """The commands that come next, and what each is for."""
    steps = [
        Next("grind", [file], why="the edge these numbers make; compare nose and wings with your tool"),
        Next("tolerance", [file], why="which of the lengths matters most, in degrees for one mm"),
        Next("card", [file], why="one page with all settings, to keep by the grinder"),
    ]
    if fit := kinds.of_jig.fit:
        what = "what the jig hides, fitted to noses you ground (one unknown first)"
        steps.insert(2, Next("calibrate", [file, "pairs.csv"], {"unknown": fit}, what))
    return steps


def _next(kinds: Choices, file: str) -> list[str]:
    lines = ["# ---- What next " + "-" * (_WIDE - 17)]
    for one in next_steps(kinds, file):
        lines += [f"#   {shlex.join(one.words(Path()))}", f"#       {one.why}"]
    if kinds.of_jig.hidden():
        lines += [
            *_remark(
                "pairs.csv is a table of noses that were really ground, one line each: how far the jig stood and the"
                " angle of the steel. Three different distances are good, five are better:"
            ),
            "#   rim_distance_mm,nose_deg",
            "#   104.0,32.5",
            *_remark(
                "A protractor's blade lies on edge and heel and bridges the hollow, so it reads too much: take off"
                " bevel length / wheel diameter × 57.3°."
            ),
        ]
    return lines
