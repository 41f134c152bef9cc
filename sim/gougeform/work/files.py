"""Workpieces from files: TOML with pieces or points, CSV with measured points, or a name in the library."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from gougeform.errors import InputError
from gougeform.read.complaints import shown, unknown_field, validated
from gougeform.read.library import find, is_path, nearest, unknown_name
from gougeform.read.rows import read_text, rows
from gougeform.read.toml import read_toml
from gougeform.work.build import Chain, chain_of_pieces, chain_of_points, fixture_solid, meridian_of
from gougeform.work.meridian import Meridian
from gougeform.work.pieces import SHAPES, AnyPiece, Fixture, Frame

_MOST_PIECES, _MOST_FIXTURES = 500, 20
_X, _RADIUS, _DIAMETER = "x_mm", "radius_mm", "diameter_mm"
_COLUMNS = {"x": _X, "radius": _RADIUS, "rho": _RADIUS, "diameter": _DIAMETER}
"""Names a column of measured points may have, in any case and with or without _mm."""


def load_work(name: str | Path) -> Meridian:
    """A workpiece: a .toml or .csv file, or a name in the library's `work`.

    Raises InputError with file and field.
    """
    text = str(name)
    if text.lower().endswith(".csv"):
        return _from_csv(Path(text))
    if isinstance(name, str) and not is_path(name):
        path = find("work", name)
        if path is None:
            raise unknown_name("work", name, "", "")
    else:
        path = Path(name)
    try:
        return from_table(read_toml(path))
    except InputError as error:
        raise error.in_file(str(path)) from error.__cause__


def from_table(table: dict[str, Any]) -> Meridian:
    """A workpiece from a table as tomllib gives it. Raises InputError."""
    frame_table = {key: value for key, value in table.items() if key not in ("piece", "fixture")}
    for key in frame_table:
        if key not in Frame.model_fields:
            raise unknown_field(key, key, [*Frame.model_fields, "piece", "fixture"], Frame.noun)
    for key in ("points_mm", "start_mm"):
        if key in frame_table:
            _check_places(frame_table[key], key)
    try:
        frame = validated(Frame, frame_table, "")
    except InputError as error:
        raise InputError(error.field.removeprefix("."), error.problem, error.hint) from None
    solids = _fixtures(table.get("fixture"))
    left = frame.opens == "left"
    if frame.points_mm is not None:
        if "piece" in table or frame.start_mm is not None:
            raise InputError("points_mm", "is given together with start_mm or pieces", "keep one of the two ways")
        points = np.array(frame.points_mm, float) * ([-1.0, 1.0] if left else [1.0, 1.0])
        chain = chain_of_points(points, float(np.radians(frame.corner_deg)))
        return _finished(chain, frame, solids)
    if frame.start_mm is None:
        raise InputError(
            "start_mm",
            "is missing, allowed is a pair [x, rho] of numbers in mm",
            "add start_mm, where the first [[piece]] begins, or give points_mm",
        )
    pieces = _pieces(table.get("piece"))
    if left:
        pieces = [_turned_over(piece) for piece in pieces]
    x, rho = frame.start_mm
    return _finished(chain_of_pieces((-x if left else x, rho), pieces), frame, solids)


def _finished(chain: Chain, frame: Frame, fixtures: list[Fixture]) -> Meridian:
    """The meridian with what holds the wood. One that opens to the left was built the other way round."""
    found = meridian_of(chain, frame.kind, frame.title)
    found = found.mirrored() if frame.opens == "left" else found
    return replace(found, obstacles=tuple(fixture_solid(one) for one in fixtures))


def _turned_over(piece: AnyPiece) -> AnyPiece:
    end = getattr(piece, "to_mm", None)
    return piece if end is None else piece.model_copy(update={"to_mm": (-end[0], end[1])})


def _fixtures(raw: object) -> list[Fixture]:
    if raw is None:
        return []
    if not isinstance(raw, list) or len(raw) > _MOST_FIXTURES or not all(isinstance(one, dict) for one in raw):
        raise InputError(
            "fixture",
            f"given {shown(raw)}, allowed are up to {_MOST_FIXTURES} tables",
            "write [[fixture]] tables with from_mm, to_mm and diameter_mm",
        )
    return [validated(Fixture, table, f"fixture.{i}") for i, table in enumerate(raw)]


def _check_places(value: object, key: str) -> None:
    pairs = value if key == "points_mm" else [value]
    if not isinstance(pairs, list):
        raise InputError(key, f"given {shown(value)}, allowed is a list of pairs [x, rho]", f"change {key}")
    for i, pair in enumerate(pairs):
        if not (
            isinstance(pair, list)
            and len(pair) == 2
            and all(isinstance(v, int | float) and not isinstance(v, bool) for v in pair)
            and abs(pair[0]) <= 5000
            and 0 <= pair[1] <= 2000
        ):
            raise InputError(
                f"{key}.{i}" if key == "points_mm" else key,
                f"given {shown(pair)}, allowed is a pair [x, rho], x from -5000 to 5000 and rho from 0 to 2000 mm",
                "give x along the lathe and rho, the distance from its axis",
            )


def _pieces(raw: object) -> list[AnyPiece]:
    if not isinstance(raw, list) or not raw or len(raw) > _MOST_PIECES or not all(isinstance(p, dict) for p in raw):
        raise InputError(
            "piece",
            "is missing" if raw is None else f"given {shown(raw)}, allowed are 1 to {_MOST_PIECES} tables",
            "write [[piece]] tables with shape = " + ", ".join(f'"{s}"' for s in SHAPES),
        )
    out = []
    for i, table in enumerate(raw):
        field, shape = f"piece.{i}", table.get("shape")
        if not isinstance(shape, str) or shape not in SHAPES:
            close = nearest(shape, list(SHAPES)) if isinstance(shape, str) else None
            raise InputError(
                f"{field}.shape",
                "is missing" if shape is None else f"given {shown(shape)}",
                (f'did you mean "{close}"? ' if close else "") + "Allowed are " + ", ".join(SHAPES),
            )
        if "to_mm" in table:
            _check_places(table["to_mm"], "to_mm")
        out.append(validated(SHAPES[shape], table, field))
    return out  # type: ignore[return-value]


def _columns(cells: list[str], where: str, file: str) -> tuple[int, int, float]:
    """Which columns hold x and the distance from the axis, and the factor that makes it a radius.

    Raises InputError for a name that says neither: a diameter taken for a radius would double the wood in silence.
    """
    found: list[str] = []
    for cell in cells:
        word = cell.lower().replace(" ", "_").removesuffix("_mm")
        if word not in _COLUMNS:
            raise InputError(
                where, f"given {shown(cell)}, allowed is {_X} with {_RADIUS} or {_DIAMETER}", "rename that column", file
            )
        found.append(_COLUMNS[word])
    if sorted(found) not in ([_RADIUS, _X], [_DIAMETER, _X]):
        raise InputError(
            where,
            f"given {' and '.join(found)}, allowed is {_X} with {_RADIUS} or {_DIAMETER}",
            "name two columns, each once",
            file,
        )
    out = found.index(_RADIUS if _RADIUS in found else _DIAMETER)
    return found.index(_X), out, 1.0 if found[out] == _RADIUS else 0.5


def _from_csv(path: Path) -> Meridian:
    """A profile from measured points: x along the lathe, and the radius or diameter there, mm.

    The first line names the columns; without names they are x and radius. Raises InputError with file and line.
    """
    file = str(path)
    text = read_text(path)
    points: list[tuple[float, float]] = []
    sample = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")
    mark = next((m for m in (";", "\t", ",") if m in sample), None)
    named: tuple[int, int, float] | None = None
    x_at, out_at, factor = 0, 1, 1.0
    for number, row in enumerate(rows(text, file, mark or " "), start=1):
        cells = [cell.strip() for cell in row if cell.strip()]
        if not cells or cells[0].startswith("#"):
            continue
        if mark == ";":  # then a comma is a decimal comma
            cells = [cell.replace(",", ".") for cell in cells]
        if not points and named is None and any(re.match(r"[^\W\d]", cell) for cell in cells):
            named = _columns(cells, f"line {number}", file)
            x_at, out_at, factor = named
            continue
        try:
            if named is not None and len(cells) != 2:
                raise ValueError
            x, rho = float(cells[x_at]), factor * float(cells[out_at])
            if not (abs(x) <= 5000 and 0 <= rho <= 2000):
                raise ValueError
        except (ValueError, IndexError):
            second = "its diameter" if factor == 0.5 else "radius from its axis"
            raise InputError(
                f"line {number}",
                f"given {shown(' '.join(row))}, allowed are two numbers: x along the lathe, {second}",
                "correct that line",
                file,
            ) from None
        points.append((x, rho))
    if not 3 <= len(points) <= 5000:
        raise InputError("", f"has {len(points)} points, allowed are 3 to 5000", "give one point a line", file)
    p = np.array(points, float)
    kind = "spindle" if (np.diff(p[:, 0]) >= 0).all() else "hollow"
    try:
        return meridian_of(chain_of_points(p, float(np.radians(30.0)), "points"), kind, path.stem)
    except InputError as error:
        raise error.in_file(file) from error.__cause__
