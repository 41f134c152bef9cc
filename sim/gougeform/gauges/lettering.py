"""Text as plane shapes, from the font outlines that matplotlib brings along.

Sizes are cap heights in mm: 4 means that a capital letter is 4 mm tall. The font is a bold sans serif, drawn in a
little so that strokes stay two lines of a 0.4 mm nozzle wide and a line holds more words.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from shapely import affinity, get_parts, set_precision
from shapely.geometry import MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

NARROW = 0.92
"""Width of the letters as a share of the font's own."""
LEADING = 1.6
"""Distance of base lines in cap heights."""
_UNIT = 200.0  # size at which outlines are read; curves are made into lines that fine
_CAP = 0.7295  # cap height of the font per size
_DETAIL = 0.03  # mm: outlines are simplified by no more than that
_GRID = 1e-3  # mm: corners stand on this grid, so that none are nearly the same


@lru_cache(maxsize=1)
def _font() -> Any:
    import matplotlib
    from matplotlib.font_manager import FontProperties

    return FontProperties(fname=str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf"))


@lru_cache(maxsize=512)
def line_shape(text: str, cap_mm: float) -> BaseGeometry:
    """One line of text as polygons: starts at x = 0, stands on y = 0; empty for blank text.

    Raises ValueError for a character the font has no outline for.
    """
    scale = cap_mm / (_UNIT * _CAP)
    x, parts = 0.0, []
    for character in text:
        shape, advance = _glyph(character)
        small = affinity.scale(shape, NARROW * scale, scale, origin=(0, 0)).simplify(_DETAIL)
        parts += [affinity.translate(p, x) for p in get_parts(small) if not p.is_empty]
        x += NARROW * scale * advance
    return set_precision(MultiPolygon(parts), _GRID) if parts else Polygon()


@lru_cache(maxsize=256)
def _glyph(character: str) -> tuple[BaseGeometry, float]:
    """A character's outline at size _UNIT, and how far the next one stands from it."""
    from matplotlib.font_manager import get_font
    from matplotlib.ft2font import LoadFlags
    from matplotlib.textpath import TextPath

    if not _known(character):
        raise ValueError(f"no outline for {character!r}")
    font = get_font(_font().get_file())
    font.set_size(_UNIT, 72)
    advance = font.load_char(ord(character), flags=LoadFlags.NO_HINTING).linearHoriAdvance / 65536
    if not character.strip():
        return Polygon(), advance
    if character == "°":  # the font's own ring is thinner than a nozzle
        middle = Point(advance / 2, (_CAP - 0.17) * _UNIT)
        return middle.buffer(0.17 * _UNIT).difference(middle.buffer(0.072 * _UNIT)), advance
    rings = TextPath((0, 0), character, size=_UNIT, prop=_font()).to_polygons()
    # A ring inside another one is a counter: it takes away what the larger one gave.
    shape: BaseGeometry = Polygon()
    for ring in sorted((Polygon(r) for r in map(np.asarray, rings) if len(r) > 3), key=lambda r: -r.area):
        shape = shape.symmetric_difference(ring.buffer(0))
    return shape, advance


def _known(character: str) -> bool:
    from matplotlib.font_manager import get_font

    return get_font(_font().get_file()).get_char_index(ord(character)) != 0


def printable(text: str) -> str:
    """The text without characters the font has no outline for; each becomes a question mark."""
    return "".join(c if _known(c) else "?" for c in text)


def width(text: str, cap_mm: float) -> float:
    """Width of a line in mm, with the little room that letters keep at both sides.

    Raises ValueError for a character the font has no outline for.
    """
    return NARROW * cap_mm / (_UNIT * _CAP) * sum(_glyph(character)[1] for character in text)


def size(lines: Sequence[str], cap_mm: float) -> tuple[float, float]:
    """Width and height (mm) of lines set below each other, with the tails of letters."""
    wide = max((width(line, cap_mm) for line in lines), default=0.0)
    return wide, (cap_mm * (LEADING * (len(lines) - 1) + 1) if lines else 0.0)


def wrapped(parts: Sequence[str], cap_mm: float, room: float) -> list[str]:
    """Parts put on lines as few as possible, each at most `room` mm wide; a part too long is broken at its blanks.

    A single word that is wider than `room` stays whole: the caller makes room for it (`size`).
    """
    lines: list[str] = []
    for part in parts:
        joined = f"{lines[-1]}  {part}" if lines else part
        if lines and width(joined, cap_mm) <= room:
            lines[-1] = joined
        elif width(part, cap_mm) <= room:
            lines.append(part)
        else:
            lines += _broken(part, cap_mm, room)
    return lines


def _broken(part: str, cap_mm: float, room: float) -> list[str]:
    words = part.split(" ")
    lines = [words[0]]
    for word in words[1:]:
        if width(f"{lines[-1]} {word}", cap_mm) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def block(lines: Sequence[str], cap_mm: float, middle: tuple[float, float], turned: bool = False) -> BaseGeometry:
    """Lines centred on a point, read along x, or down along y where `turned`."""
    _, height = size(lines, cap_mm)
    made = []
    for number, line in enumerate(lines):
        shape = line_shape(line, cap_mm)
        if shape.is_empty:
            continue
        left, _, right, _ = shape.bounds
        y = height / 2 - cap_mm - number * LEADING * cap_mm
        made.append(affinity.translate(shape, -(left + right) / 2, y))
    whole = unary_union(made) if made else MultiPolygon()
    if turned:
        whole = affinity.rotate(whole, -90, origin=(0, 0))
    return affinity.translate(whole, *middle)
