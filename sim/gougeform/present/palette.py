"""One colour for each meaning, the same in every picture of the program.

Any two of them, and the paper, lie at least 20 apart (CIE 1976 ΔE) for people who see all colours and, as simulated,
for protanopes and deuteranopes; `tests/test_palette.py` holds them to it. They were found by a search from what the
thing looks like. Light and shade darken a colour in a picture; lines and words show it as it is.
"""

from __future__ import annotations

PAPER, INK, QUIET = "#f7f4ee", "#1c2126", "#5d636a"
"""The ground all pictures stand on, what is written on it, and what is said in passing."""

WARM, COOL, SOFT = "#b5532b", "#2f6d8a", "#9aa5b1"
"""Lines of a chart beside those in ink; they are told apart by their dashes too."""

GRID = "#e2ddd2"
"""Lines of a grid on that ground, which show where a number is and are not looked at."""

COLOURS = {
    "steel": "#9eb2b5",
    "flute": "#c1d7ff",
    "first bevel": "#fec73c",
    "relief 1": "#1b7b77",
    "relief 2": "#0b297b",
    "relief 3": "#9ba856",
    "edge": "#0c042d",
    "edge of the second tool": "#0541e7",
    "crease": "#233811",
    "heel line": "#090b00",
    "wheel": "#d0c19e",
    "jig": "#285b83",
    "wood": "#fff0a4",
    "handle": "#856d4d",
    "rest": "#2c3743",
    "touches": "#f02e0a",
    "contact line": "#ff39f0",
}
"""Meaning → "#rrggbb"."""


def colour(meaning: str) -> str:
    """The colour of a meaning as "#rrggbb"; "ink", "quiet" and "paper" too. Raises KeyError for another word."""
    return {"ink": INK, "quiet": QUIET, "paper": PAPER}.get(meaning) or COLOURS[meaning]


def of_grind(number: int) -> str:
    """The meaning of what a grind made: 0 is the first bevel; after the third relief their colours come again."""
    return "first bevel" if number == 0 else f"relief {(number - 1) % 3 + 1}"


def words(meanings: list[str]) -> list[str]:
    """What a legend calls each meaning: an only bevel and an only relief need no number."""
    grinds = [one for one in meanings if one == "first bevel" or one.startswith("relief")]
    short = {grinds[0]: "bevel"} if len(grinds) == 1 else {"relief 1": "relief"} if len(grinds) == 2 else {}
    return [short.get(one, one) for one in meanings]
