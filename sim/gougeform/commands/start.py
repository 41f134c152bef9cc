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

from gougeform.commands import Named
from gougeform.present.answer import Answer


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform start` takes."""
    from gougeform.starter.values import BARS, CLAMPS, FLUTES, JIGS, PATHS, WHEELS

    add = parser.add_argument
    add("file", metavar="FILE.toml", help="the recipe to write; it must not be there yet")
    for name, usual, allowed, text in (
        ("bar", "round", BARS, "outside of the bar (default round)"),
        ("flute", "", FLUTES, "shape of the flute (default arc; parabola for a plain rolled bevel)"),
        ("wheel", "wheel", WHEELS, "what grinds (default wheel)"),
        ("jig", "foot", JIGS, "what holds the bar (default foot)"),
        ("clamp", "", CLAMPS, "what the bar is pressed to (default below: a flat under it)"),
        ("path", "", PATHS, "grind to an outline, or roll at one setting (default traced; for a table steady)"),
    ):
        add(f"--{name}", choices=allowed, default=usual, help=text)
    add("--title", metavar="TEXT", help="what you call the tool")
    add("--set", action=Named, value=str, metavar="NAME=VALUE", help="a reading of yours, in mm or degrees")
    add("--no-drawing", dest="no_picture", action="store_true", help="do not draw where to measure")


def answer(given: argparse.Namespace) -> Answer:
    """The recipe to fill in."""
    from gougeform.starter.answer import answer as start
    from gougeform.starter.values import Choices

    kinds = Choices(given.bar, given.flute, given.wheel, given.jig, given.clamp, given.path)
    return start(given.file, kinds, given.set, given.title)
