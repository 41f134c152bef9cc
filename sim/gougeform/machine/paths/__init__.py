"""The ways to move the tool, one kind a file; what a kind must bring is said by `gougeform.machine.path.Path`."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from gougeform.kinds import found
from gougeform.machine.path import Path

PATHS = found(__name__, __path__, Path, "path", default="traced")  # type: ignore[type-abstract]

if TYPE_CHECKING:
    AnyPath: TypeAlias = Path
else:
    AnyPath = PATHS.union
