"""Ask one question of many tools: a table of all of them, with figures and sensitivities.

STUDY is a file that ends in .toml, or the name of a study in the library. It names a base recipe, the fields that
vary and the outputs. A run that was stopped or killed goes on where it was when the same command is given again.
"""

from __future__ import annotations

import argparse

from gougeform.commands import whole
from gougeform.errors import InputError
from gougeform.present.answer import Answer

FOLDER = "out/NAME"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform study` takes."""
    add = parser.add_argument
    add("study", metavar="STUDY", nargs="?", help="a .toml file, or the name of a library study")
    add("--outputs", action="store_true", help="list everything a study can compute, and do nothing else")
    add("--plot", action="store_true", help="draw response curves, heat maps, fronts and sensitivities too")
    add("--workers", metavar="N", type=whole, help="processes on this machine (default: one for each core)")
    add("--cluster", metavar="ADDRESS", help="run on the dask.distributed scheduler at this address instead")
    add("--restart", action="store_true", help="throw away rows of an earlier run in the same folder")


def answer(given: argparse.Namespace) -> Answer:
    """The study's table, or what it can hold."""
    from gougeform.study.answer import answer as study
    from gougeform.study.answer import outputs

    if given.outputs:
        return outputs()
    if given.study is None:
        raise InputError("study", "is missing", "name a study file, or say `outputs` to see what one can ask for")
    chosen = {name: getattr(given, name) for name in ("workers", "cluster", "restart")}
    return study(given.study, given.out, **chosen, plot=given.plot and not given.no_picture)
