"""Which hidden lengths has my jig? Fitted to a few measured pairs, and saved as a jig of one's own library."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from gougeform.errors import InputError
from gougeform.present.answer import Answer, Block, Cell, Files, Number
from gougeform.present.files import table, text
from gougeform.read.library import OWN_LIBRARY
from gougeform.read.writing import toml_text
from gougeform.recipe.model import Recipe
from gougeform.settings.calibrate import READING_DEG, Fit, calibrate, jig_table
from gougeform.settings.names import NAMES, setting_name
from gougeform.settings.pairs import NosePair, read_pairs


def answer(
    recipe: Recipe,
    pairs: str,
    unknown: Sequence[str],
    reading: float = READING_DEG,
    *,
    save: str | None = None,
    library: str | None = None,
    replace: bool = False,
) -> Answer:
    """Fit the unknowns to the pairs of a CSV file, with uncertainties.

    reading: how exact an angle is read, one standard deviation in deg. save: name of the jig in one's own library, the
    folder `library` or the one that the environment names. replace: also over a jig of that name. Raises InputError.
    """
    if not 1e-6 <= reading <= 20:
        raise InputError("reading", f"given {reading:g}, allowed is from 1e-6 to 20 degrees", "change it")
    place = saved_place(save, library, replace)
    measured = read_pairs(pairs, recipe)
    names = ["clamp" if name.strip().lower() == "clamp" else setting_name(name, "unknown").name for name in unknown]
    fit = calibrate(measured, names, reading)
    _refuse_useless(fit)
    jig = text(toml_text(jig_table(fit, _title(fit, len(measured)))))
    lines, read, angles, fitted = zip(*_readings(measured, fit), strict=True)
    columns = {"line": lines, "reading": read, "read_deg": angles, "fitted_deg": fitted}
    blind = [
        f"These pairs cannot tell {' and '.join(name.replace('_', ' ') for name in group)} apart; what is given is the"
        " jig nearest to the one before."
        for group in fit.blind
    ]
    return Answer(
        blocks=_blocks(measured, fit, reading),
        notes=[*blind, *filter(None, [fit.advice]), *fit.notes],
        result={
            "unknowns": {
                NAMES[name].column: {
                    "value": fit.value[k],
                    "plus_or_minus": fit.sure[k],
                    "standard_deviation": fit.sd[k],
                    "before": fit.start[k],
                }
                for k, name in enumerate(fit.names)
            },
            "clamp": fit.clamp,
            "clamp_misfit_deg": fit.clamps,
            "scatter_deg": fit.scatter,
            "cannot_tell_apart": fit.blind,
            "further_pair": fit.advice,
            "notes": fit.notes,
        },
        files=Files(
            {
                **({} if place is None else {str(place.absolute()): jig}),
                "jig.toml": jig,
                "calibration.csv": table(columns),
            },
        ),
        recipe=recipe,
    )


def saved_place(save: str | None, library: str | None, replace: bool) -> Path | None:
    """The file a jig is saved to, None for none. Raises InputError where there can be none, or one is there."""
    if save is None:
        if library or replace:
            raise InputError("save", "is missing: nothing says under which name to save", "add `save` NAME")
        return None
    name = save.removesuffix(".toml")
    if not name or not all(letter.isalnum() or letter in "-_." for letter in name) or name.startswith("."):
        raise InputError("save", f'given "{save[:60]}", allowed are letters, digits, - _ and .', "choose another")
    folder = library or os.environ.get(OWN_LIBRARY, "")
    if not folder:
        hint = f"set {OWN_LIBRARY} to a folder, or give `library` FOLDER"
        raise InputError("save", "nothing says where your own library is", hint)
    place = Path(folder).expanduser() / "jigs" / f"{name}.toml"
    if place.exists() and not replace:
        raise InputError("save", f"there is a jig {name} already: {place}", "choose another name, or add `replace`")
    return place


def _valued(name: str, value: float) -> Number:
    return Number(float(value), NAMES[name].column)


def _sure(name: str, sure: float, otherwise: str) -> str:
    return f"± {_valued(name, sure)}" if np.isfinite(sure) else otherwise


def _refuse_useless(fit: Fit) -> None:
    told = [
        f"{name.replace('_', ' ')} {_valued(name, value)} {_sure(name, sure, '(not told)')}"
        for name, value, sure in zip(fit.names, fit.value, fit.sure, strict=True)
        if name in fit.useless
    ]
    if told:
        raise InputError(
            "unknown",
            f"these pairs tell nothing of it: {', '.join(told)}; nothing is written",
            fit.advice.rstrip(".") or "add pairs at other projections or wheels, or fit fewer unknowns",
        )


def _title(fit: Fit, count: int) -> str:
    kind = fit.bench.jig.noun.removeprefix("a ").capitalize()
    what = ", ".join(name.replace("_", " ") for name in fit.names) or "clamp"
    return f"{kind}, {what} fitted to {count} measured pairs"


def _readings(pairs: Sequence[NosePair], fit: Fit) -> list[tuple[int, str, float, float]]:
    every = [(pair.line, name, value) for pair in pairs for name, value in pair.read.items()]
    return [(*one, one[2] + float(off)) for one, off in zip(every, fit.residual, strict=True)]


def _blocks(pairs: Sequence[NosePair], fit: Fit, reading: float) -> list[Block]:
    jig: list[list[Cell]] = [
        [n.replace("_", " "), _valued(n, fit.start[k]), _valued(n, fit.value[k]), _sure(n, fit.sure[k], "not told")]
        for k, n in enumerate(fit.names)
    ]
    below = f"In 99 of 100 calibrations all lie within these, with readings good to {reading:g}° (standard deviation)."
    clamps = [(name, Number(off, "off_deg", 3)) for name, off in sorted(fit.clamps.items(), key=lambda item: item[1])]
    readings = [
        (f"line {line}, {name}", Number(read, "read_deg"), Number(fitted, "fitted_deg"))
        for line, name, read, fitted in _readings(pairs, fit)
    ]
    return [
        Block("The jig", jig, ("", "before", "fitted", "within"), below=below),
        *([Block("What the bar is held against", clamps, ("", "misfit"))] if len(clamps) > 1 else []),
        Block("Readings", readings, ("", "read", "fitted")),
    ]
