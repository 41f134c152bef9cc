"""The jigs, one kind a file; what a kind must bring is said by `gougeform.machine.jig.Jig`."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from gougeform.kinds import found
from gougeform.machine.jig import Jig

JIGS = found(__name__, __path__, Jig, "jig")  # type: ignore[type-abstract]

if TYPE_CHECKING:
    AnyJig: TypeAlias = Jig
else:
    AnyJig = JIGS.union
