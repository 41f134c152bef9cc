"""An answer for programs: one JSON object of its result, and its blocks as plain values for a page."""

from __future__ import annotations

import json
import math
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from gougeform.present.answer import Answer, Block, Cell
from gougeform.present.cautions import STRONG, cautions, in_short
from gougeform.quantity import unit_of


def whole(answer: Answer, folder: Path, files: Sequence[str], earlier: Sequence[str] = ()) -> dict[str, Any]:
    """The JSON object of an answer whose files are in `folder`: its result's own keys, then what every answer has.

    files: what was written, as it shall be called. earlier: what runs before have left there.
    """
    own = {"title": answer.heading} | ({"verdict": answer.verdict} if answer.verdict else {}) | dict(answer.result)
    common: dict[str, Any] = {"notes": answer.notes}
    if answer.next:
        common["next"] = [shlex.join(one.words(folder)) for one in answer.next]
    if answer.recipe:
        common["cautions"] = cautions(answer.recipe)
    if answer.files and answer.files.beside:
        common["from_earlier_runs"] = earlier
    own |= {key: value for key, value in common.items() if key not in own} | {"files": files}
    plain: dict[str, Any] = finite(own)
    return plain


def page(answer: Answer) -> dict[str, Any]:
    """The answer as plain values, blocks with every cell's text, value and unit: for a page, which writes no files."""
    plain: dict[str, Any] = finite(
        {
            "title": answer.heading,
            "verdict": answer.verdict,
            "blocks": [_block(block) for block in answer.blocks],
            "notes": answer.notes,
            "next": [asdict(one) for one in answer.next],
            "cautions": [{"text": text, "strong": text.startswith(STRONG)} for text in in_short(answer.recipe)],
            "result": answer.result,
        }
    )
    return plain


def _block(block: Block) -> dict[str, Any]:
    return asdict(block) | {"rows": [[_cell(cell) for cell in row] for row in block.rows]}


def _cell(cell: Cell) -> dict[str, Any]:
    if isinstance(cell, str):
        return {"text": cell}
    return {"text": str(cell), "value": cell.value, "key": cell.key, "unit": unit_of(cell.key).sign}


def json_text(value: Any) -> str:
    """A plain value as JSON, with null for what is no number."""
    return json.dumps(finite(value), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def finite(value: Any) -> Any:
    """The same with plain numbers, keys as words, and None for numbers that JSON cannot hold.

    >>> finite({1: (2, float("nan"))})
    {'1': [2, None]}
    """
    if isinstance(value, Mapping):
        return {str(key): finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [finite(item) for item in value]
    if isinstance(value, bool | str | int) or value is None:
        return value
    number = float(value)
    return number if math.isfinite(number) else None
