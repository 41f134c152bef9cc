"""The marker-pen routine as a table and as pictures: where the ink is gone, and what to move for it."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from gougeform.errors import InputError
from gougeform.present.answer import Block, Cell
from gougeform.present.files import Maker, chart
from gougeform.present.palette import INK, SOFT
from gougeform.quantity import DEG, NOTHING, shown, unit_of
from gougeform.settings.ink import LIGHT_MM, TURN, Remedy, gone
from gougeform.settings.match import Match
from gougeform.settings.names import NAMES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEAST = 0.005  # mm or deg: less is not told


def ink_block(remedies: Sequence[Remedy]) -> Block:
    """A row for each picture of ink: the one move that mends most of it, and the two that mend it and nothing else."""
    rows: list[Sequence[Cell]] = [(one.symptom.words, _words(one.first), _words(one.exact)) for one in remedies]
    below = (
        "Ink the bevel, unplug the machine, roll the tool on the wheel turned by hand, and look. Moves are for"
        f" {LIGHT_MM:g} mm of light at the other end of the bevel; half the light, half the move. The bar is turned in"
        " its clamp so that the wing whose heel lost its ink comes away from the wheel."
    )
    return Block("Marker pen", rows, ("where the ink is gone", "first move", "to mend just that"), below=below)


def _words(moves: dict[str, float]) -> str:
    return ", ".join(_move(name, by) for name, by in moves.items() if abs(by) > _LEAST) or NOTHING


def _move(name: str, by: float) -> str:
    if name == TURN:
        return f"bar turned {shown(by, DEG, 1)}"
    more, less = NAMES[name].quantity.ways
    return f"{name} {shown(abs(by), unit_of(NAMES[name].column), 1)} {more if by > 0 else less}"


def ink_numbers(remedies: Sequence[Remedy]) -> list[dict[str, Any]]:
    """The same with units in the names, for LIGHT_MM of light."""

    def named(moves: dict[str, float]) -> dict[str, float]:
        return {f"{TURN}_deg" if name == TURN else NAMES[name].column: by for name, by in moves.items()}

    return [
        {"ink_gone": one.symptom.words, "light_mm": LIGHT_MM, "first": named(one.first), "exact": named(one.exact)}
        for one in remedies
    ]


def ink_chart(found: Match, remedies: Sequence[Remedy]) -> dict[str, Maker]:
    """Both bevels unrolled, one picture for each row of the table: pale where the ink is gone."""
    title = (
        f"{found.recipe.title or found.recipe.name}\nmarker pen: the setting off by {LIGHT_MM:g} mm of light;"
        " white: ink gone, dark: ink left"
    )
    pictures = []
    for one in remedies:
        with contextlib.suppress(InputError):  # so far off the jig could not follow this edge: nothing to draw
            if one.first or one.exact:
                pictures.append((one, gone(found.bevel, found.best.bench, one)))
    if not pictures:
        return {}

    def draw(*panels: Axes) -> None:
        for axes, (one, bare) in zip(panels, pictures, strict=True):
            _ink(axes, found, one, bare)
        panels[-1].set_xlabel("place along the edge: per cent of each wing, 0 at the nose")

    return chart("ink", draw, title, panels=len(pictures), size=(7.5, 0.9 + 1.25 * len(pictures)))


def _ink(axes: Axes, found: Match, one: Remedy, bare: Any) -> None:
    bevel = found.bevel
    place = np.broadcast_to(bevel.place[:, None], bevel.reach.shape)
    there = np.where(bevel.first, np.where(bare, 0.0, 1.0), np.nan)
    axes.set_facecolor("#e4e8ec")
    axes.pcolormesh(place, bevel.reach, there, cmap=_inks(), vmin=0.0, vmax=1.0, shading="gouraud", rasterized=True)
    axes.plot(bevel.place, bevel.reach[:, 0], color=INK, linewidth=1.4)
    axes.invert_yaxis()
    axes.grid(visible=False)
    axes.set_ylabel("edge to\nheel, mm", fontsize=7)
    axes.set_title(f"{one.symptom.words}", fontsize=8, loc="left", color=INK)


def _inks() -> Any:
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("ink", ["#ffffff", SOFT, "#2b3a67"])
