"""The shapes of flutes, one kind a file; what a kind must bring is said by `gougeform.bar.flute.Flute`."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from gougeform.bar.flute import Flute
from gougeform.kinds import found

FLUTES = found(__name__, __path__, Flute, "flute")  # type: ignore[type-abstract]

if TYPE_CHECKING:
    AnyFlute: TypeAlias = Flute
else:
    AnyFlute = FLUTES.union
