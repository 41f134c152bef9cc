"""The jigs, one kind a file; what a kind must bring is said by `gougeform.machine.jig.Jig`."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from gougeform.kinds import found
from gougeform.machine.jig import Jig

JIGS = found(__name__, __path__, Jig, "jig")  # type: ignore[type-abstract]

if TYPE_CHECKING:
    # Until no other room asks for kinds any more this names them for the type checker; then the base class will do.
    from gougeform.machine.jigs.foot import FootJig
    from gougeform.machine.jigs.rod import RodJig
    from gougeform.machine.jigs.table import TableJig

    AnyJig: TypeAlias = FootJig | RodJig | TableJig
else:
    AnyJig = JIGS.union
