"""Setup gauges to print: STL, 3MF and a picture of each, measured again on the written file.

KIND is one of
{kinds}
RECIPE is a file that ends in .toml, or the name of a library recipe.
"""

from __future__ import annotations

import argparse
from typing import Any

from gougeform.commands import number, numbers, recipe_argument
from gougeform.gauges.kinds import KINDS, OPTIONS
from gougeform.present.answer import Answer

FOLDER = "out/NAME/gauges"


def arguments(parser: argparse.ArgumentParser) -> None:
    """What `gougeform gauge` takes: every option of every kind."""
    kinds = {kind.name: kind.does for kind in KINDS.values()} | {"all": "every gauge this recipe can have, on the bed"}
    table = "\n".join(f"  {name:<12}{does}" for name, does in kinds.items())
    parser.description = (__doc__ or "").format(kinds=table)
    parser.add_argument("kind", metavar="KIND", choices=kinds, help="the kind of gauge, or all")
    recipe_argument(parser)
    for option in OPTIONS.values():
        takers = [kind.name for kind in KINDS.values() if option.key in {one.key for one in kind.options()}]
        usual = "x".join(f"{one:g}" for one in option.usual) if option.pair else option.usual
        said = f"{', '.join(takers)}: " if takers else ""
        more: dict[str, Any] = {"help": said + option.meaning.description, "default": argparse.SUPPRESS}
        if isinstance(usual, bool):
            more["action"] = "store_true"
        elif option.choices:
            more |= {"choices": option.choices}
        elif option.pair:
            more |= {"type": _pair, "metavar": "WxD"}
        else:
            more |= {"type": number, "metavar": option.unit.sign.strip().upper().replace("°", "DEG") or "FACTOR"}
        if option.several:
            more |= {"action": "append"}
            more["help"] += "; may be repeated"
        elif not isinstance(usual, bool):
            more["help"] += f" (default {usual:g})" if isinstance(usual, float) else f" (default {usual})"
        parser.add_argument(f"--{option.name}", **more)


def _pair(text: str) -> tuple[float, ...]:
    sides = numbers(text.lower(), "x")
    if len(sides) != 2:
        raise argparse.ArgumentTypeError(f"given {text[:40]}, allowed is width x depth in mm, like 220x220")
    return sides


def answer(given: argparse.Namespace) -> Answer:
    """The gauges."""
    from gougeform.gauges.answer import answer as gauges

    said = vars(given)
    return gauges(given.recipe, given.kind, {one.key: said[one.name] for one in OPTIONS.values() if one.name in said})
