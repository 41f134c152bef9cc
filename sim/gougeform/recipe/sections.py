"""The sections of a recipe: which have kinds, which may name a file of the library, which tables stand in others."""

from __future__ import annotations

from gougeform.bar.flutes import FLUTES
from gougeform.bar.outlines import BARS
from gougeform.kinds import Kinds
from gougeform.machine.jigs import JIGS
from gougeform.machine.paths import PATHS
from gougeform.machine.wheel import WHEELS

SECTIONS: dict[str, Kinds] = {"bar": BARS, "flute": FLUTES, "wheel": WHEELS, "jig": JIGS, "path": PATHS}
"""Tables with kinds; a path's fields stand in a [[grind]]."""

LIBRARY_OF = {
    "bar": "bars",
    "flute": "flutes",
    "wheel": "wheels",
    "jig": "jigs",
    "grind": "grinds",
    "steel": "steels",
    "handle": "handles",
    "older": "recipes",
}
"""The library sub-folder for each kind of table."""

INSIDE = {"bar": ("steel",), "grind": ("wheel",), "wheel": ("guard", "rest")}
"""Tables that stand in others."""
