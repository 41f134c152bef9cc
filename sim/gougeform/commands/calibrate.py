"""Fit a jig's hidden lengths to a few measured pairs, and save the jig for your own library.

  gougeform calibrate RECIPE pairs.csv --unknown arm_length --unknown cant --save my-foot-jig

pairs.csv: a line of column names, then one line a pair. Columns: rim_distance_mm (or straight_distance_mm to the rod's
near surface, or centre_distance_mm), nose_deg; optional projection_mm, wheel_diameter_mm, wing50_deg, cant_deg, recipe.
Unknowns: arm_length, cant, hinge_back, hinge_drop, shoe (rod jig), clamp. Start values are the recipe's.
--save writes jigs/NAME.toml in the folder that the environment variable GOUGEFORM_LIBRARY names, or --library does.
"""

from __future__ import annotations

import argparse

from gougeform.commands import number, recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform calibrate` takes."""
    recipe_argument(parser)
    add = parser.add_argument
    add("pairs", metavar="PAIRS.csv", help="measured pairs: settings and the angle read on the tool")
    add("--unknown", action="append", default=[], metavar="NAME", help="a length or cant to fit")
    add(
        "--reading",
        type=number,
        default=0.5,
        metavar="DEG",
        help="how exact an angle is read: one standard deviation (%(default)s)",
    )
    add("--save", metavar="NAME", help="save the jig under this name in your own library")
    add("--library", metavar="FOLDER", help="your own library, where GOUGEFORM_LIBRARY does not say")
    add("--replace", action="store_true", help="overwrite a saved jig of that name")


def answer(given: argparse.Namespace) -> Answer:
    """The jig's hidden lengths."""
    from gougeform.settings.answers.calibrate import answer as calibrate

    recipe, saved = given.recipe, {name: getattr(given, name) for name in ("save", "library", "replace")}
    return calibrate(recipe, given.pairs, given.unknown, given.reading, **saved)
