"""Setup gauges to print: STL, 3MF and a picture of each, measured again on the written file.

KIND is one of
  projection  how far the nose stands ahead of the clamp face: a lane and a stop under the nose
  spacer      rim of the wheel to pocket or rod, between two seats
  angle       notches for nose angles, the recipe's own framed
  outline     the edge from above as a cut-out, both wings
  wheel       arcs of several diameters, to read how far a wheel is worn
  relief      how far pocket or rod move from the first to the second setting
  tag         a label to keep with them
  all         every gauge this recipe can have, laid out on the bed
RECIPE is a file that ends in .toml, or the name of a library recipe.
"""

from __future__ import annotations

import argparse
from typing import Any

from gougeform.commands import number, numbers, recipe_argument
from gougeform.present.answer import Answer

FOLDER = "out/NAME/gauges"
KINDS = ("projection", "spacer", "angle", "outline", "wheel", "relief", "tag")


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform gauge` takes."""
    add = parser.add_argument
    add("kind", metavar="KIND", choices=(*KINDS, "all"), help="the kind of gauge, or all")
    recipe_argument(parser)
    again: dict[str, Any] = {"action": "append", "default": [], "type": number}
    add("--wheel", metavar="MM", help="wheel diameter for spacers and wheel gauge; may be repeated", **again)
    add("--projection", metavar="MM", help="projection of the stop; may be repeated", **again)
    add("--angle", metavar="DEG", help="notch of the angle gauge; may be repeated", **again)
    add("--reads", choices=("edge", "chord"), default="edge", help="what notches are labelled with (default edge)")
    foot = "diameter of the foot's end in its pocket (default %(default)g)"
    add("--foot", metavar="MM", type=number, default=8.0, help=foot)
    slide = "how pocket or rod move for a relief (default radial)"
    add("--slide", choices=("radial", "level"), default="radial", help=slide)
    for name, usual, metavar, text in (
        ("fit", 0.2, "MM", "gap on faces that go round a part"),
        ("scale", 1.0, "FACTOR", "factor on all lengths, against shrinkage"),
        ("chamfer", 0.4, "MM", "chamfer at the bed"),
        ("text", 4.0, "MM", "height of capital letters"),
    ):
        add(f"--{name}", metavar=metavar, type=number, default=usual, help=f"{text} (default %(default)g)")
    add("--raised", action="store_true", help="raised text instead of sunk")
    bed = "width and depth of the printer's bed in mm (default 220x220)"
    add("--bed", metavar="WxD", type=_bed, default=(220.0, 220.0), help=bed)


def _bed(text: str) -> tuple[float, ...]:
    sides = numbers(text.lower(), "x")
    if len(sides) != 2:
        raise argparse.ArgumentTypeError(f"given {text[:40]}, allowed is width x depth in mm, like 220x220")
    return sides


def answer(given: argparse.Namespace) -> Answer:
    """The gauges."""
    from gougeform.gauges.answer import answer as gauges
    from gougeform.gauges.gauge import Printing
    from gougeform.gauges.setup import Wishes

    wishes = Wishes(
        tuple(given.wheel), tuple(given.projection), tuple(given.angle), given.reads, given.foot, given.slide
    )
    printing = Printing(given.fit, given.scale, given.chamfer, given.text, given.raised, given.bed)
    return gauges(given.recipe, given.kind, wishes, printing)
