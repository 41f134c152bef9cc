"""The outlines of bars, one kind a file; what a kind must bring is said by `gougeform.bar.bar.Bar`."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from gougeform.bar.bar import Bar
from gougeform.kinds import found

BARS = found(__name__, __path__, Bar, "bar")  # type: ignore[type-abstract]

if TYPE_CHECKING:
    # Until no other room asks for kinds any more this names them for the type checker; then the base class will do.
    from gougeform.bar.outlines.points import PointsBar
    from gougeform.bar.outlines.round import RoundBar
    from gougeform.bar.outlines.square import SquareBar

    AnyBar: TypeAlias = RoundBar | SquareBar | PointsBar
else:
    AnyBar = BARS.union
