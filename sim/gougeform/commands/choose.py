"""Which bar, which flute and which grind for this work? A short list with its reasons, and the recipes to grind by.

Tries tools (bar, flute, nose, wings, fullness, relief) on the jig and wheel you name, and keeps those that reach the
most and are stiff, fine, plain to set and lean. Without --bars: every bar of the library. A list of your own is CSV,
one bar a line: bar, flute, price. Ctrl-C stops and tells what is known by then; the same question goes on from there.
Writes to out/choose-WORK/.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from gougeform.commands import number, whole
from gougeform.present.answer import Answer

FOLDER = "out/choose-WORK"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform choose` takes."""
    add = parser.add_argument
    add("--work", metavar="WORK", nargs="+", action="extend", required=True, help="workpieces: names, .toml or .csv")
    add("--bars", metavar="BAR", nargs="+", default=(), help="library bars, or a .csv list: bar, flute, price")
    add("--flutes", metavar="KIND", nargs="+", default=("detail", "deep"), help="of the library: detail spindle deep")
    add("--jig", metavar="JIG", default="foot-65", help="the jig of the library (%(default)s)")
    add("--wheel", metavar="WHEEL", default="wheel-200", help="the wheel of the library (%(default)s)")
    add("--limit", metavar="N", type=whole, default=5, help="tools to name (%(default)s)")
    most = "largest clearance angle that counts as reached, degrees (%(default)g)"
    add("--clearance", metavar="DEG", type=number, default=10.0, help=most)
    add(
        "--gap", metavar="MM", type=number, default=5.0, help="from the wood's largest radius to the rest (%(default)g)"
    )
    add("--rest", metavar="MM", type=number, help="the rest's distance from the lathe's axis, instead of the gap")
    add("--tries", metavar="N", type=whole, default=240, help="tools to try (%(default)s)")
    robust = "those named must reach as much with every setting off by a step of the ruler"
    add("--robust", action="store_true", help=robust)
    add("--restart", action="store_true", help="forget what was tried before")


def answer(given: argparse.Namespace) -> Answer:
    """The short list."""
    from gougeform.choose.answer import answer as choose
    from gougeform.choose.question import Choice, stock_of
    from gougeform.reach.result import Terms, check_terms
    from gougeform.work.files import load_work

    terms = Terms(limit_deg=given.clearance, gap_mm=given.gap, rest_mm=given.rest)
    check_terms(terms)
    works = {Path(name).stem: load_work(name) for name in given.work}
    stock = stock_of(given.bars, given.flutes)
    question = Choice(works, stock, given.jig, given.wheel, terms, tries=given.tries, robust=given.robust)
    more = {"folder": given.out, "workers": os.cpu_count() or 1, "restart": given.restart}
    return choose(question, limit=given.limit, **more)
