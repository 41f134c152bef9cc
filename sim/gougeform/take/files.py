"""A file that a person has from elsewhere, read whole or refused: its ending, its size, its scale."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from gougeform.errors import InputError


def file_bytes(path: str | Path, endings: Sequence[str], most_bytes: int, what: str) -> bytes:
    """What stands in a file whose name ends in one of `endings` (".svg", …).

    Raises InputError for another ending, a file that cannot be read, is empty, or is larger than `most_bytes`.
    """
    file = Path(path)
    name = str(path)
    if file.suffix.lower() not in endings:
        allowed = ", ".join(endings[:-1]) + " and " + endings[-1]
        raise InputError(
            "", f"ends in {file.suffix or 'nothing'}, allowed are {allowed}", "save it as one of them", name
        )
    try:
        with file.open("rb") as opened:
            data = opened.read(most_bytes + 1)
    except (OSError, ValueError) as error:
        words = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError("", f"cannot be read: {words.lower()}", "check the name", name) from None
    if not data.strip():
        raise InputError("", "is empty", f"save the {what} again", name)
    if len(data) > most_bytes:
        raise InputError(
            "", f"has more than {most_bytes // 1_000_000} MB", f"save less: the {what} of one tool's head", name
        )
    return data


def checked_scale(scale_mm: float | None) -> None:
    """Raise InputError for a scale that is no length."""
    if scale_mm is not None and not (np.isfinite(scale_mm) and 0 < scale_mm <= 1e6):
        raise InputError(
            "scale_mm", f"given {scale_mm:g}, allowed is above 0", "say how many mm one unit of the file is"
        )
