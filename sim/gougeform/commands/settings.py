"""Find the settings that give the edge you want.

  gougeform settings RECIPE --want nose=35 --want wing50=44
  gougeform settings RECIPE --want nose=35 --want wing50=47 --free distance --stops cant=30,35,40,45

Wants: nose, wingNN (NN per cent of the wing's length along the edge, as wing50), wing_length, land. Degrees and mm.
Free settings: distance, projection, cant, tilt (table), roll (steady), arm_length, wing_length, fullness, shoulder …
With none named, as many are free as angles are wanted, the distance first.
"""

from __future__ import annotations

import argparse
import shlex
from typing import TYPE_CHECKING, Any

from gougeform.settings.show import amount, common_arguments, deg, files_in, finish, mm, opened, out_folder

if TYPE_CHECKING:
    from rich.console import Console

    from gougeform.settings.problem import Answer, Problem
    from gougeform.settings.ruler import Confirmed


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform settings` takes."""
    common_arguments(parser)
    parser.add_argument("--want", action="append", default=[], metavar="NAME=VALUE", help="what the edge should be")
    parser.add_argument(
        "--free", action="append", default=[], metavar="NAME[=FROM:TO]", help="a setting that may change"
    )
    parser.add_argument(
        "--stops", action="append", default=[], metavar="NAME=A,B,…", help="a setting that has only these notches"
    )


def run(arguments: argparse.Namespace) -> int:
    """Solve, round to a ruler, measure both, print and write the recipe with the settings."""
    from gougeform.recipe.write import to_toml
    from gougeform.settings.bench import bench_of
    from gougeform.settings.problem import Problem
    from gougeform.settings.ruler import confirmed, corrected, ruled
    from gougeform.settings.solve import solve
    from gougeform.settings.wants import read_frees, read_wants

    recipe = opened(arguments)
    wants = read_wants(arguments.want)
    problem = Problem(recipe, wants, read_frees(bench_of(recipe), arguments.free, arguments.stops, wants))
    answer = solve(problem)
    pairs = []
    for solution in answer.solutions:
        exact = corrected(problem, solution)
        pairs.append((exact, confirmed(problem, ruled(problem, exact.values))))
    pairs.sort(key=lambda pair: bool(pair[0].problem))
    with files_in(out_folder(arguments, recipe)) as files:
        for number, (_, ruler) in enumerate(pairs, start=1):
            files.text("settings.toml" if number == 1 else f"settings-{number}.toml", to_toml(ruler.recipe))
    further = further_search(arguments, problem, answer)
    grind = ["gougeform", "grind", files.names[0]]
    result = {
        "exact": answer.exact,
        "family": answer.family,
        "wants": {f"{want.name}_{want.unit}": want.value for want in wants},
        "free": [free.name.name for free in problem.frees],
        "solutions": [{**_result(problem, exact), "with_a_ruler": _result(problem, ruler)} for exact, ruler in pairs],
        "cannot_be_met": [str(unmet) for unmet in answer.unmet],
        "next": [shlex.join(words) for words in (further, grind) if words],
        "files": files.names,
    }

    def show(console: Console) -> None:
        _show(console, problem, answer, pairs)
        if further:
            console.print("To come nearer, look further:")
            console.print("\n".join(pasteable(further)), markup=False, soft_wrap=True)
        elif not answer.exact:
            console.print("Every setting of this jig is free already: another jig or wheel, or other wants.")
        console.print("Next, the tool with these settings (the ruler's):" if answer.exact else "The nearest tool:")
        console.print("\n".join(pasteable(grind)), markup=False, soft_wrap=True)
        console.print()

    return finish(arguments, pairs[0][1].recipe, result, show)


def further_search(arguments: argparse.Namespace, problem: Problem, answer: Answer) -> list[str]:
    """The command that may come nearer to wants that are not met, as words; none where all are, or nothing is left."""
    from gougeform.settings.further import further

    options = [] if answer.exact else further(problem, answer.solutions[0])
    if not options:
        return []
    wants = [word for want in arguments.want for word in ("--want", want)]
    return ["gougeform", "settings", arguments.recipe, *wants, *options]


def pasteable(words: list[str]) -> list[str]:
    """A command as lines of at most 76 signs, joined by the backslashes that a shell reads over."""
    lines = ["   "]
    for word in map(shlex.quote, words):
        if len(lines[-1]) + len(word) > 74 and lines[-1].strip():
            lines[-1] += " \\"
            lines.append("     ")
        lines[-1] += f" {word}"
    return lines


_CLAMPED = ("projection", "cant", "tilt")
"""What a person sets by hand on every tool, and must know also where it stays as it was."""


def _result(problem: Problem, found: Confirmed) -> dict[str, Any]:
    from gougeform.settings.names import NAMES
    from gougeform.settings.ruler import machine

    edge: dict[str, Any] = {}
    if found.reading is not None:
        edge = {"nose_deg": found.reading.nose}
        edge |= {f"wing{per_cent:g}_deg": value for per_cent, value in found.reading.wings.items()}
        edge["wing_length_mm"] = found.reading.wing_length
    return {
        "settings": {NAMES[name].column: value for name, value in found.values.items()},
        **machine(found.bench, found.setting),
        "edge": edge,
        "misses": found.misses(problem.wants),
        "overcut_mm": found.overcut,
        "problem": found.problem,
    }


def _show(console: Console, problem: Problem, answer: Answer, pairs: list[tuple[Confirmed, Confirmed]]) -> None:
    from gougeform.tell.report import print_list, table

    if answer.exact and answer.family:
        head = "More settings are free than are needed: this is the exact solution nearest to the recipe's settings."
    elif answer.exact:
        count = len(pairs)
        head = "One exact solution." if count == 1 else f"{count} exact solutions, the nearest to the recipe first."
    else:
        head = "NOT MET: no setting within the bounds gives all that is asked; this is the nearest (least squares)."
    console.print(head, markup=False)
    print_list(console, "What cannot be met", [str(unmet) for unmet in answer.unmet])
    for number, (exact, ruler) in enumerate(pairs, start=1):
        console.print()
        title = "Settings" if len(pairs) == 1 else f"Settings, solution {number}"
        columns = ("", "solved", "with a ruler")
        console.print(table(title, columns, _setting_rows(exact, ruler)))
        console.print(table("The edge it gives", ("", "asked", *columns[1:]), _edge_rows(problem, exact, ruler)))
        problems = {f"Cannot be ground {words}: {found.problem}." for words, found in
                    (("as solved", exact), ("with a ruler", ruler)) if found.problem}  # fmt: skip
        print_list(console, "Stop", sorted(problems))


def _setting_rows(exact: Confirmed, ruler: Confirmed) -> list[tuple[str, ...]]:
    from gougeform.settings.names import NAMES
    from gougeform.settings.ruler import machine, straight_words

    rows: list[tuple[str, ...]] = []
    jig = exact.bench.jig
    for name in dict.fromkeys([*exact.values, *(one for one in _CLAMPED if one in exact.bench.names)]):
        if name != "distance":
            unit, turned = NAMES[name].unit, name in exact.values
            both_values = (bench.value(name) for bench in (exact.bench, ruler.bench))
            words = name.replace("_", " ") + ("" if turned else ", as it was")
            rows.append((words, *(amount(value, unit) for value in both_values)))
    if jig.kind != "table":
        pivot = "pocket" if jig.kind == "foot" else "rod"
        rows.append((f"{pivot} above wheel's centre, as it was", mm(jig.height_mm), mm(jig.height_mm)))
    both = machine(exact.bench, exact.setting), machine(ruler.bench, ruler.setting)
    pivot = "pocket" if jig.kind == "foot" else "rod centre"
    for key, words, show in (
        ("centre_distance_mm", f"wheel's centre to {pivot}", mm),
        ("rim_distance_mm", f"rim to {pivot}", mm),
        # To a pocket it is the same distance; to a rod one measures to its surface.
        *((("straight_distance_mm", straight_words(exact.bench), mm),) if jig.kind == "rod" else ()),
        ("level_distance_mm", "level, from below the wheel's centre", mm),
        ("contact_deg", "contact on the wheel, above the horizontal", deg),
    ):
        if both[0][key] is not None:
            rows.append((words, show(both[0][key]), show(both[1][key])))
    return rows


def _edge_rows(problem: Problem, exact: Confirmed, ruler: Confirmed) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for want in problem.wants:
        if want.name == "land":
            rows.append(("land to leave", mm(want.value), mm(want.value), mm(want.value)))
            continue
        got = [None if f.reading is None else f.reading.value(want.name) for f in (exact, ruler)]
        rows.append((want.name.replace("_", " "), *(amount(value, want.unit, 3) for value in (want.value, *got))))
    if "nose" not in {want.name for want in problem.wants}:
        got = [None if found.reading is None else found.reading.nose for found in (exact, ruler)]
        rows.append(("nose", "–", *(deg(value, 3) for value in got)))
    rows.append(("cut past the outline", "–", mm(exact.overcut, 3), mm(ruler.overcut, 3)))
    return rows
