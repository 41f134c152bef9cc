"""SVG as pieces in mm: every shape of the picture with its transforms, circles as circles."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.take.piece import MOST_PIECES, Piece, circle_points, curve_points

Floats = NDArray[np.float64]

_UNITS = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6}  # CSS


def svg_pieces(data: bytes, scale_mm: float | None) -> tuple[list[Piece], str]:
    """Pieces, and where their unit comes from. scale_mm: mm that one unit of the viewBox is.

    Raises InputError for what is not SVG, defines entities, or has neither unit nor scale.
    """
    if re.search(rb"<!ENTITY", data, re.IGNORECASE):
        raise InputError("", "defines entities of its own, which no drawing needs", "save it as plain SVG")
    from xml.etree.ElementTree import ParseError, fromstring

    try:
        root = fromstring(data)
    except (ParseError, ValueError) as error:
        raise InputError("", f"is not whole SVG: {str(error)[:60]}", "save the drawing again") from None
    if root.tag.rpartition("}")[2] != "svg":
        raise InputError("", "is not an SVG drawing", "save it as plain SVG")
    size = re.fullmatch(r"\s*([\d.eE+-]+)\s*([a-z]*)\s*", root.get("width", ""))
    unit = size[2] if size else ""
    if unit not in _UNITS and scale_mm is None:
        raise InputError(
            "",
            "has no scale: this SVG has no width in mm, cm or in",
            "give `scale_mm`: how many mm one unit of the drawing is",
        )
    from svgelements import SVG, Path, Shape

    try:
        document = SVG.parse(io.BytesIO(data), reify=True, ppi=96)
        shapes = [abs(Path(one)) for one in document.elements(conditional=lambda one: isinstance(one, Shape))]
        # The library's pixels are rounded in the seventh digit; what the drawing says of its own width is not.
        if scale_mm is not None:
            by = scale_mm * _units_per_pixel(root.get("viewBox", ""), document)
        else:
            by = float(size[1]) * _UNITS[unit] / float(document.width)  # type: ignore[index]
        pieces = [
            piece.scaled(by)
            for number, shape in enumerate(shapes)
            for piece in map(lambda segment, layer=str(number): _piece(segment, layer), shape)  # type: ignore[misc]
            if piece is not None
        ]
    except (ValueError, TypeError, AttributeError, ZeroDivisionError, IndexError, KeyError, RecursionError) as error:
        what = str(error)[:60] or type(error).__name__
        raise InputError("", f"cannot be read as SVG: {what}", "save it as plain SVG") from None
    if len(pieces) > MOST_PIECES:
        raise InputError("", f"has more than {MOST_PIECES} lines", "save the section alone")
    return pieces, f"its width in {unit}" if scale_mm is None else "the scale given"


def _units_per_pixel(box: str, document: Any) -> float:
    """What its viewBox counts over the library's pixels; 1 without a viewBox."""
    sides = [float(word) for word in re.split(r"[\s,]+", box.strip()) if word]
    width = float(document.width) if document.width else 0.0
    return sides[2] / width if len(sides) == 4 and width > 0 else 1.0


def _piece(segment: Any, layer: str) -> Piece | None:
    from svgelements import Arc, Close, Line, Move

    if isinstance(segment, Move) or segment.start is None or segment.end is None:
        return None
    ends = _xy([segment.start, segment.end])
    if isinstance(segment, Line | Close):
        return Piece("line", ends, layer)
    if isinstance(segment, Arc) and abs(abs(segment.rx) - abs(segment.ry)) < 1e-9 * abs(segment.rx):
        (cx, cy), r = _xy([segment.center])[0], abs(float(segment.rx))
        first = float(np.arctan2(ends[0, 1] - cy, ends[0, 0] - cx))
        points = circle_points(cx, cy, r, first, -float(segment.sweep))
        points[[0, -1]] = ends
        return Piece("circular", points, layer)
    return Piece("curve", curve_points(lambda t: _xy([segment.point(float(v)) for v in t])), layer)


def _xy(points: Sequence[Any]) -> Floats:
    """SVG's y goes down."""
    return np.array([[float(p.x), -float(p.y)] for p in points])
