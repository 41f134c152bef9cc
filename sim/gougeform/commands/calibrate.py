"""Fit a jig's hidden lengths to a few measured pairs, and save the jig for your own library.

  gougeform calibrate RECIPE pairs.csv --unknown arm_length --unknown cant --save my-foot-jig

pairs.csv: a line of column names, then one line a pair. Columns: rim_distance_mm (or straight_distance_mm to the rod's
near surface, or centre_distance_mm), nose_deg; optional projection_mm, wheel_diameter_mm, wing50_deg, cant_deg, recipe.
Unknowns: arm_length, cant, hinge_back, hinge_drop, shoe (rod jig), clamp. Start values are the recipe's.
--save writes jigs/NAME.toml in the folder that the environment variable GOUGEFORM_LIBRARY names, or --library does.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gougeform.settings.show import amount, common_arguments, deg, files_in, finish, opened, out_folder

if TYPE_CHECKING:
    from rich.console import Console

    from gougeform.settings.calibrate import Fit
    from gougeform.settings.pairs import Pair


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform calibrate` takes."""
    common_arguments(parser)
    parser.add_argument("pairs", metavar="PAIRS.csv", help="measured pairs: settings and the angle read on the tool")
    parser.add_argument("--unknown", action="append", default=[], metavar="NAME", help="a length or cant to fit")
    parser.add_argument(
        "--reading", type=float, metavar="DEG", help="how exact an angle is read: one standard deviation (0.5)"
    )
    parser.add_argument("--save", metavar="NAME", help="save the jig under this name in your own library")
    parser.add_argument("--library", metavar="FOLDER", help="your own library, where GOUGEFORM_LIBRARY does not say")
    parser.add_argument("--replace", action="store_true", help="overwrite a saved jig of that name")


def run(arguments: argparse.Namespace) -> int:
    """Read the pairs, fit, print with uncertainties, and write the jig file."""
    import numpy as np

    from gougeform.errors import InputError
    from gougeform.read.writing import toml_text
    from gougeform.settings.calibrate import READING_DEG, calibrate, jig_table
    from gougeform.settings.pairs import read_pairs

    recipe = opened(arguments)
    reading = READING_DEG if arguments.reading is None else arguments.reading
    if not (np.isfinite(reading) and 1e-6 <= reading <= 20):
        raise InputError("--reading", f"given {reading:g}, allowed is from 1e-6 to 20 degrees", "change it")
    place = _save_place(arguments)
    pairs = read_pairs(arguments.pairs, recipe)
    fit = calibrate(pairs, _unknowns(arguments.unknown), reading)
    _refuse_useless(fit)
    text = toml_text(jig_table(fit, _title(fit, len(pairs))))
    written = []
    if place is not None:
        with files_in(place.parent) as files:
            files.text(place.name, text)
        written = files.names
    with files_in(out_folder(arguments, recipe)) as files:
        files.text("jig.toml", text)
        files.csv("calibration.csv", ["line", "reading", "read_deg", "fitted_deg"], _readings(pairs, fit))
    result = {
        "unknowns": _unknown_table(fit),
        "clamp": fit.clamp,
        "clamp_misfit_deg": fit.clamps,
        "scatter_deg": fit.scatter,
        "cannot_tell_apart": [list(group) for group in fit.blind],
        "further_pair": fit.advice,
        "notes": list(fit.notes),
        "files": [*written, *files.names],
    }
    return finish(arguments, recipe, result, lambda console: _show(console, pairs, fit, reading))


def _refuse_useless(fit: Fit) -> None:
    import numpy as np

    from gougeform.errors import InputError
    from gougeform.settings.names import NAMES

    told = []
    for name, value, sure in zip(fit.names, fit.value, fit.sure, strict=True):
        if name in fit.useless:
            unit = NAMES[name].unit
            within = f"± {amount(float(sure), unit)}" if np.isfinite(sure) else "(not told)"
            told.append(f"{name.replace('_', ' ')} {amount(float(value), unit)} {within}")
    if told:
        raise InputError(
            "--unknown",
            f"these pairs tell nothing of it: {', '.join(told)}; nothing is written",
            fit.advice.rstrip(".") or "add pairs at other projections or wheels, or fit fewer unknowns",
        )


def _unknowns(texts: list[str]) -> list[str]:
    from gougeform.settings.names import setting_name

    names = []
    for text in texts:
        word = text.strip().lower()
        names.append("clamp" if word == "clamp" else setting_name(word, "--unknown").name)
    return names


def _save_place(arguments: argparse.Namespace) -> Path | None:
    from gougeform.errors import InputError
    from gougeform.read.library import OWN_LIBRARY

    if arguments.save is None:
        if arguments.library or arguments.replace:
            raise InputError("--save", "is missing: nothing says under which name to save", "add --save NAME")
        return None
    name = arguments.save.removesuffix(".toml")
    if not name or not all(letter.isalnum() or letter in "-_." for letter in name) or name.startswith("."):
        raise InputError(
            "--save", f'given "{arguments.save[:60]}", allowed are letters, digits, - _ and .', "choose another"
        )
    folder = arguments.library or os.environ.get(OWN_LIBRARY, "")
    if not folder:
        raise InputError(
            "--save",
            "nothing says where your own library is",
            f"set {OWN_LIBRARY} to a folder, or give --library FOLDER",
        )
    place = Path(folder).expanduser() / "jigs" / f"{name}.toml"
    if place.exists() and not arguments.replace:
        raise InputError(
            "--save", f"there is a jig {name} already", "choose another name, or add --replace", str(place)
        )
    return place


def _title(fit: Fit, count: int) -> str:
    kind = {"foot": "Foot jig", "rod": "Rod jig"}[fit.bench.jig.kind]
    what = ", ".join(name.replace("_", " ") for name in fit.names) or "clamp"
    return f"{kind}, {what} fitted to {count} measured pairs"


def _readings(pairs: list[Pair], fit: Fit) -> list[tuple[int, str, float, float]]:
    rows = []
    k = 0
    for pair in pairs:
        for name, value in pair.read.items():
            rows.append((pair.line, name, value, value + float(fit.residual[k])))
            k += 1
    return rows


def _unknown_table(fit: Fit) -> dict[str, Any]:
    from gougeform.settings.names import NAMES

    return {
        NAMES[name].column: {
            "value": float(fit.value[k]),
            "plus_or_minus": float(fit.sure[k]),
            "standard_deviation": float(fit.sd[k]),
            "before": float(fit.start[k]),
        }
        for k, name in enumerate(fit.names)
    }


def _show(console: Console, pairs: list[Pair], fit: Fit, reading: float) -> None:
    import numpy as np

    from gougeform.settings.names import NAMES
    from gougeform.tell.report import print_list, table

    rows = []
    for k, name in enumerate(fit.names):
        unit = NAMES[name].unit
        sure = f"± {amount(fit.sure[k], unit)}" if np.isfinite(fit.sure[k]) else "not told"
        rows.append((name.replace("_", " "), amount(fit.start[k], unit), amount(fit.value[k], unit), sure))
    below = f"In 99 of 100 calibrations all lie within these, with readings good to {reading:g}° (standard deviation)."
    console.print(table("The jig", ("", "before", "fitted", "within"), rows, below))
    if len(fit.clamps) > 1:
        misfits = [(name, deg(value, 3)) for name, value in sorted(fit.clamps.items(), key=lambda item: item[1])]
        console.print(table("What the bar is held against", ("", "misfit"), misfits))
    readings = [(f"line {line}, {name}", deg(read), deg(fitted)) for line, name, read, fitted in _readings(pairs, fit)]
    console.print(table("Readings", ("", "read", "fitted"), readings))
    told = [
        f"These pairs cannot tell {' and '.join(name.replace('_', ' ') for name in group)} apart; what is given is the"
        " jig nearest to the one before."
        for group in fit.blind
    ]
    print_list(console, "Notes", [*told, *([fit.advice] if fit.advice else []), *fit.notes])
