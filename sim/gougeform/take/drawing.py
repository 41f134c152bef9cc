"""Drawings and points: SVG, DXF and CSV read to chains in mm, and bar and flute told apart in them.

A drawing says its unit (SVG: width and height in mm, cm or inches; DXF: $INSUNITS; CSV: mm), or the person gives a
scale; nothing is guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.take.dxf import dxf_pieces
from gougeform.take.files import checked_scale, file_bytes
from gougeform.take.piece import MOST_PIECES, TOGETHER_MM, DrawnLine, Piece, joined
from gougeform.take.svg import svg_pieces

Floats = NDArray[np.float64]

MOST_BYTES = 20_000_000
_SIZES = (1.0, 400.0)  # mm: no bar of a gouge is smaller or larger
_HOLLOW = 0.04  # of its hull's area: a closed line that lacks more than this has its flute cut into it


@dataclass(frozen=True, eq=False)
class Drawing:
    """All chains of a file, mm, y up. unit: where its lengths come from, in words. name: of the file."""

    chains: tuple[DrawnLine, ...]
    unit: str
    name: str = ""

    def told_apart(self) -> tuple[Floats, Floats]:
        """Points (n, 2) mm in order along the bar's outline, and along its flute.

        The bar is the closed line of the largest area, the flute the longest open one. Where there is no open line, the
        closed one is the steel's section, and the flute what is cut into it. Raises InputError.
        """
        closed = [chain for chain in self.chains if chain.closed]
        opened = [chain for chain in self.chains if not chain.closed]
        if not closed:
            raise InputError("", "has no closed outline of the bar", "close the bar's outline, end to end", self.name)
        bar = max(closed, key=lambda chain: chain.area).dense()
        if opened:
            return bar, max(opened, key=lambda chain: chain.length).dense()
        return self._cut(bar)

    def _cut(self, ring: Floats) -> tuple[Floats, Floats]:
        """The section of the steel as its outside and its flute."""
        from shapely.geometry import Polygon

        whole = Polygon(ring)
        if not whole.is_valid:
            raise InputError("", "its closed outline crosses itself", "draw the outline once around the bar", self.name)
        hull = whole.convex_hull
        if whole.area > (1 - _HOLLOW) * hull.area:
            raise InputError(
                "",
                "has no line for the flute",
                "draw the flute from lip to lip as an open line, or cut it into the outline",
                self.name,
            )
        mouths = hull.difference(whole)
        mouth = max(getattr(mouths, "geoms", [mouths]), key=lambda one: one.area)
        # The lips are where the hull bridges the mouth: both ends of its longest side that is no line of the section.
        corner = np.asarray(mouth.exterior.coords)
        middle = (corner[:-1] + corner[1:]) / 2
        from shapely import distance, points

        free = distance(points(middle), whole.exterior) > 1e-6
        long = np.hypot(*np.diff(corner, axis=0).T) * free
        k = int(long.argmax())
        first, last = (int(np.hypot(*(ring - end).T).argmin()) for end in (corner[k], corner[k + 1]))
        first, last = min(first, last), max(first, last)
        one, other = ring[first : last + 1], np.vstack([ring[last:], ring[: first + 1]])
        inside = [float(distance(points(part), hull.exterior).max()) for part in (one, other)]
        return (other, one) if inside[0] > inside[1] else (one, other)


def read_drawing(path: str | Path, scale_mm: float | None = None) -> Drawing:
    """An SVG, DXF or CSV file. scale_mm: mm that one unit of the file is, where it says none or says it wrongly.

    Raises InputError for a file that is empty, huge, cut off, of another kind, without unit and scale, or whose size is
    no bar's.
    """
    checked_scale(scale_mm)
    readers = {".svg": svg_pieces, ".dxf": dxf_pieces, ".csv": csv_pieces}
    data = file_bytes(path, list(readers), MOST_BYTES, "drawing")
    try:
        pieces, unit = readers[Path(path).suffix.lower()](data, scale_mm)
        # What closes a line that is closed already has no length.
        pieces = [piece for piece in pieces if not np.ptp(piece.points, axis=0).max() < TOGETHER_MM]
        if not pieces:
            raise InputError("", "has no line in it", "draw the outline and the flute as lines, arcs or curves")
        chains = tuple(joined(pieces))
        _check_size(chains, unit)
    except InputError as error:
        raise error.in_file(str(path)) from None
    return Drawing(chains, unit, str(path))


def _check_size(chains: tuple[DrawnLine, ...], unit: str) -> None:
    every = np.vstack([chain.points for chain in chains])
    if not np.isfinite(every).all():
        raise InputError("", "has places that are not numbers", "save the drawing again")
    size = float(np.ptp(every, axis=0).max())
    if not _SIZES[0] <= size <= _SIZES[1]:
        raise InputError(
            "",
            f"is {size:.4g} mm across, taken from {unit}; a bar's section is {_SIZES[0]:g} to {_SIZES[1]:g} mm",
            "check the drawing's unit, or give `scale_mm`: 25.4 for inches, 1000 for metres",
        )


def csv_pieces(data: bytes, scale_mm: float | None) -> tuple[list[Piece], str]:
    """Two columns x and y; a blank line, or a third column that changes, begins another line.

    A line whose last point repeats its first is closed. Raises InputError naming the line of the file.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("", "is not a text of points", "save it as CSV in UTF-8") from None
    lines: list[tuple[str, list[tuple[float, float]]]] = []
    broken = True
    for number, row in enumerate(text.splitlines(), 1):
        row = row.strip()
        if not row or row.startswith("#"):
            broken = True
            continue
        cells = [cell.strip() for cell in re.split(r"[;\t]" if re.search(r"[;\t]", row) else ",", row)]
        try:
            x, y = (float(cell.replace(",", ".")) for cell in cells[:2])
        except ValueError:
            if broken and not any(re.match(r"[\d.+-]", cell) for cell in cells[:2]):
                continue  # the heads of the columns
            raise InputError(
                f"line {number}", f"given {row[:40]!r}, allowed are two numbers", "write x and y, in mm"
            ) from None
        if not (np.isfinite(x) and np.isfinite(y)):
            raise InputError(f"line {number}", f"given {row[:40]!r}, allowed are finite numbers", "measure it again")
        name = cells[2] if len(cells) > 2 else ""
        if broken or name != lines[-1][0]:
            lines.append((name, []))
            broken = False
        lines[-1][1].append((x, y))
        if len(lines[-1][1]) > MOST_PIECES:
            raise InputError("", f"has more than {MOST_PIECES} points in one line", "keep every tenth")
    if any(len(points) == 1 for _, points in lines):
        raise InputError("", "has a single point between blank lines", "give each line's points together")
    pieces = [Piece("points", np.array(points) * (scale_mm or 1.0), str(i)) for i, (_, points) in enumerate(lines)]
    return pieces, "the scale given" if scale_mm else "CSV in mm"
