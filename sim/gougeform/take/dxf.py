"""DXF as pieces in mm: lines, arcs, circles, ellipses, splines, polylines with their bulges, and what is in blocks."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from itertools import islice
from typing import Any

import numpy as np

from gougeform.errors import InputError
from gougeform.take.piece import MOST_PIECES, Piece, circle_points, curve_points

_UNITS = {1: 25.4, 4: 1.0, 5: 10.0, 6: 1000.0}  # $INSUNITS: inches, mm, cm, m
_WITHIN = ("LWPOLYLINE", "POLYLINE", "INSERT")
_DEEPEST = 8  # blocks in blocks


def dxf_pieces(data: bytes, scale_mm: float | None) -> tuple[list[Piece], str]:
    """Pieces, and where their unit comes from. scale_mm: mm that one unit of the file is.

    Raises InputError for what is not DXF, or cut off, or has neither unit nor scale.
    """
    import ezdxf
    from ezdxf import recover
    from ezdxf.lldxf.const import DXFError

    # A file that was cut off has lost its last words; the library would take what is left.
    if not data.startswith(b"AutoCAD Binary DXF") and not re.search(rb"\n\s*0\s*\r?\n\s*EOF\s*$", data):
        raise InputError("", "is not whole DXF: its end is missing", "save the drawing again")
    try:
        document, audit = recover.read(io.BytesIO(data))
        found = list(islice(_flattened(document.modelspace()), MOST_PIECES + 1))
        pieces = [piece for one in found if (piece := _piece(one)) is not None]
    except (DXFError, OSError, ValueError, TypeError, AttributeError, IndexError, KeyError, ArithmeticError) as error:
        what = " ".join(str(error).split())[:60] or type(error).__name__
        raise InputError("", f"cannot be read as DXF: {what}", "save it as DXF again") from None
    if len(found) > MOST_PIECES:
        raise InputError("", f"has more than {MOST_PIECES} lines", "save the section alone")
    if audit.has_errors:
        raise InputError("", "is not whole DXF", "save the drawing again")
    if scale_mm is None and document.units not in _UNITS:
        raise InputError(
            "",
            "has no scale: this DXF says no unit ($INSUNITS)",
            "give `scale_mm`: how many mm one unit of the drawing is",
        )
    by = scale_mm if scale_mm is not None else _UNITS[document.units]
    unit = "the scale given" if scale_mm is not None else f"its unit {ezdxf.units.unit_name(document.units)}"
    return [piece.scaled(by) for piece in pieces], unit


def _flattened(entities: Any, depth: int = 0) -> Iterator[Any]:
    """Polylines as lines and arcs; blocks as what is in them."""
    for entity in entities:
        if depth < _DEEPEST and entity.dxftype() in _WITHIN:
            yield from _flattened(entity.virtual_entities(), depth + 1)
        else:
            yield entity


def _piece(entity: Any) -> Piece | None:
    """What is drawn; None for texts, sizes and the like."""
    kind, layer = entity.dxftype(), str(entity.dxf.layer)
    if kind == "LINE":
        return Piece("line", np.array([entity.dxf.start, entity.dxf.end], float)[:, :2], layer)
    if kind in ("CIRCLE", "ARC"):
        centre = entity.ocs().to_wcs(entity.dxf.center)
        first, last = (0.0, 360.0) if kind == "CIRCLE" else (entity.dxf.start_angle, entity.dxf.end_angle)
        begin, sweep = np.radians(first), np.radians((last - first) % 360 or 360.0)
        if entity.dxf.extrusion.z < 0:  # drawn from behind
            begin, sweep = np.pi - begin, -sweep
        return Piece("circular", circle_points(centre.x, centre.y, float(entity.dxf.radius), begin, sweep), layer)
    if kind == "ELLIPSE":
        ellipse = entity.construction_tool()
        first, span = ellipse.start_param, ellipse.param_span
        return Piece("curve", curve_points(lambda t: _xy(ellipse.vertices(first + span * t))), layer)
    if kind == "SPLINE":
        spline = entity.construction_tool()
        knots = spline.knots()
        first, span = knots[spline.order - 1], knots[-spline.order] - knots[spline.order - 1]
        return Piece("curve", curve_points(lambda t: _xy(spline.points(first + span * t))), layer)
    return None


def _xy(points: Any) -> Any:
    return np.array([[p.x, p.y] for p in points], float)
