"""Reach as a person waits for it: whole workpieces, the usual 60 places, both feeds, all reported, no picture."""

from __future__ import annotations

from bench.timing import Row, row, say, timed
from conftest import grind_tool
from gougeform.reach.answer import place_rows, summary
from gougeform.reach.body import build_body
from gougeform.reach.cove import COVE_ERROR_MM, tightest_cove
from gougeform.reach.result import PLACES, Terms, reach
from gougeform.reach.search import SEARCH_ERROR_DEG
from gougeform.work.files import load_work

WORKS = ("egg-cup", "coves", "bore", "baluster")


def whole_works(quick: bool) -> list[Row]:
    """A row a workpiece, the tightest cove, and a thousand tools from some of them."""
    say("reach")
    gouge = grind_tool("foot-relief")
    body, rounds = build_body(gouge), 1 if quick else 3
    places = 4 if quick else PLACES
    rows = []

    def told(name: str, count: int) -> None:
        found = reach(gouge, load_work(name), Terms(places=count), body=body)
        summary(found), place_rows(found)

    for name in WORKS:
        _, times = timed(lambda name=name: told(name, places), rounds)
        rows.append(row(f"reach, {name}", "ours", f"{places} places", times, error=SEARCH_ERROR_DEG, unit="deg"))
    _, times = timed(lambda: tightest_cove(body, 10.0), rounds)
    rows.append(row("reach, tightest cove", "ours", "five places a try", times, error=COVE_ERROR_MM))

    def one_tool() -> None:
        told_by = grind_tool("foot-relief")
        reach(told_by, load_work("egg-cup"), Terms(places=20), body=build_body(told_by))

    _, times = timed(one_tool, rounds)
    size = "1,000 tools x 20 places of the egg cup"
    many = type(times)(1000 * times.cpu_s, 1000 * times.clock_s, times.rounds)
    return [
        *rows,
        row("reach, many tools", "ours", size, many, extrapolated=True, note="one tool, ground, times 1,000"),
    ]
