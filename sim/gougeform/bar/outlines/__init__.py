"""The outlines of bars, one kind a file; what a kind must bring is said by `gougeform.bar.bar.Bar`."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from gougeform.bar.bar import Bar
from gougeform.kinds import found

BARS = found(__name__, __path__, Bar, "bar")  # type: ignore[type-abstract]

if TYPE_CHECKING:
    AnyBar: TypeAlias = Bar
else:
    AnyBar = BARS.union
