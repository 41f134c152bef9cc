"""The shapes of flutes, one kind a file; what a kind must bring is said by `gougeform.bar.flute.Flute`."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from gougeform.bar.flute import Flute
from gougeform.kinds import found

FLUTES = found(__name__, __path__, Flute, "flute")  # type: ignore[type-abstract]

if TYPE_CHECKING:
    # Until no other room asks for kinds any more this names them for the type checker; then the base class will do.
    from gougeform.bar.flutes.arc import ArcFlute
    from gougeform.bar.flutes.ellipse import EllipseFlute
    from gougeform.bar.flutes.parabola import ParabolaFlute
    from gougeform.bar.flutes.points import PointsFlute
    from gougeform.bar.flutes.vee import VeeFlute

    AnyFlute: TypeAlias = ArcFlute | EllipseFlute | ParabolaFlute | VeeFlute | PointsFlute
else:
    AnyFlute = FLUTES.union
