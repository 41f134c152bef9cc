"""Lays gauges out on printer beds: as few plates as a simple packing by rows finds, every one within the bed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gougeform.errors import InputError
from gougeform.gauges.build import Part3D

GAP_MM = 4.0
MARGIN_MM = 3.0


@dataclass(frozen=True, eq=False)
class Plate:
    """Bodies in their places on one bed; used: (2,) mm that they cover, margin included."""

    bodies: tuple[Part3D, ...]
    used: tuple[float, float]


def lay_out(bodies: Sequence[Part3D], bed: tuple[float, float]) -> list[Plate]:
    """Put bodies on beds of that size (mm), each the way it is printed, turned by 90° where that helps.

    Raises InputError for a body that is larger than the bed.
    """
    room = (bed[0] - 2 * MARGIN_MM, bed[1] - 2 * MARGIN_MM)
    flat = [_lying(body, room) for body in bodies]
    plates: list[list[Part3D]] = []
    # Deepest first, row by row: rows of equals waste little.
    waiting = sorted(flat, key=lambda body: (-_size(body)[1], -_size(body)[0]))
    while waiting:
        placed: list[Part3D] = []
        y = 0.0
        while waiting:
            x, deep, row = 0.0, 0.0, []
            for body in list(waiting):
                w, d = _size(body)
                if x + w <= room[0] + 1e-9 and y + max(d, deep) <= room[1] + 1e-9:
                    row.append(body.moved(MARGIN_MM + x, MARGIN_MM + y))
                    waiting.remove(body)
                    x, deep = x + w + GAP_MM, max(deep, d)
            if not row:
                break
            placed += row
            y += deep + GAP_MM
        plates.append(placed)
    return [Plate(tuple(placed), _used(placed)) for placed in plates]


def _size(body: Part3D) -> tuple[float, float]:
    low, high = body.vertices.min(0), body.vertices.max(0)
    return float(high[0] - low[0]), float(high[1] - low[1])


def _lying(body: Part3D, room: tuple[float, float]) -> Part3D:
    """The body with its corner at the origin, long side along x if that fits."""
    w, d = _size(body)
    ways = [quarter for quarter in (False, True) if _fits((d, w) if quarter else (w, d), room)]
    if not ways:
        raise InputError(
            "bed",
            f"{body.name} is {w:.0f} x {d:.0f} mm, the bed {room[0] + 2 * MARGIN_MM:g} x {room[1] + 2 * MARGIN_MM:g} mm"
            f" with a margin of {MARGIN_MM:g} mm",
            "use a larger bed, or print the other kinds one by one",
        )
    quarter = min(ways, key=lambda q: (w, d)[0 if q else 1])
    turned = body.moved(0.0, 0.0, quarter)
    low = turned.vertices.min(0)
    return turned.moved(-float(low[0]), -float(low[1]))


def _fits(size: tuple[float, float], room: tuple[float, float]) -> bool:
    return size[0] <= room[0] + 1e-9 and size[1] <= room[1] + 1e-9


def _used(placed: Sequence[Part3D]) -> tuple[float, float]:
    high = [body.vertices.max(0) for body in placed]
    return max(float(h[0]) for h in high) + MARGIN_MM, max(float(h[1]) for h in high) + MARGIN_MM
