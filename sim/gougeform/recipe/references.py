"""Fills in references: names of library files, paths, and `from`, until only plain values are left.

What comes out is a plain table that says everything itself, and for each of its fields the file it was read
from, so that a fault is reported in the file where it can be mended.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from gougeform.errors import InputError
from gougeform.machine.jig import DISTANCES
from gougeform.part import Table
from gougeform.read.complaints import shown
from gougeform.read.library import find, is_path, unknown_name
from gougeform.read.toml import read_toml
from gougeform.recipe.sections import INSIDE, LIBRARY_OF, SECTIONS

_DEEPEST = 20


@dataclass(frozen=True)
class Place:
    """Where a table was read: file for messages, folder for relative paths, and the files that led to it."""

    file: str
    folder: Path
    chain: tuple[Path, ...] = ()


@dataclass(frozen=True)
class Filled:
    """A table without references; files maps a dotted place in it to its file, "" to the table's own."""

    table: Table
    files: dict[str, str] = field(default_factory=dict)


def fill(value: object, section: str, where: str, place: Place) -> Filled:
    """The plain table for a table, a `from` table, or a reference.

    section is a key of LIBRARY_OF, where the dotted place for messages.
    Raises InputError for an unknown name, a file that cannot be read, a loop, or what is no table or text.
    """
    if isinstance(value, str):
        return _fill_file(value, section, where, place)
    if not isinstance(value, dict):
        raise InputError(
            where,
            f"given {shown(value)}, allowed is a table, or a name or path in quotation marks",
            f'write a [{where}] table or {where} = "name"',
            place.file,
        )
    own = dict(value)
    base = Filled({})
    if "from" in own:
        source = own.pop("from")
        if not isinstance(source, str):
            raise InputError(
                f"{where}.from",
                f"given {shown(source)}, allowed is a name or path in quotation marks",
                f'write from = "name of a {section}"',
                place.file,
            )
        base = _fill_file(source, section, f"{where}.from", place)
    files = {"": place.file}
    for name in own:
        files[name] = place.file
        if name in INSIDE.get(section, ()) and name in LIBRARY_OF:
            filled = fill(own[name], name, f"{where}.{name}", place)
            own[name] = filled.table
            files.update(under(name, filled.files))
    table = overlaid(base.table, own, section)
    kept = {key: file for key, file in base.files.items() if key and key.split(".")[0] in table}
    replaced = {key for key in kept if key.split(".")[0] in own}
    return Filled(table, {key: file for key, file in kept.items() if key not in replaced} | files)


def under(name: str, files: dict[str, str]) -> dict[str, str]:
    """The files of a filled table, as seen from the table that has it under that name."""
    return {f"{name}.{key}" if key else name: file for key, file in files.items()}


def file_of(files: dict[str, str], place: str) -> str:
    """The file a dotted place was read from: its own, or that of the nearest table around it."""
    while place and place not in files:
        place = place.rpartition(".")[0]
    return files.get(place, "")


def overlaid(base: Table, over: Table, section: str) -> Table:
    """`base` with the fields of `over`; fields of base that those replace in meaning are left out.

    A distance replaces the other two. Another outline, shape, kind or path leaves out what the new one does
    not have. Another clamp leaves out vee_deg.
    """
    kept = dict(base)
    if section in ("jig", "grind") and any(name in over for name in DISTANCES):
        kept = {name: value for name, value in kept.items() if name not in DISTANCES}
    if over.get("clamp", "vee") != "vee":
        kept.pop("vee_deg", None)
    for kind in ("jig", "path") if section == "grind" else (section,):
        if kind in SECTIONS:
            kept = _without_other_variant(kept, over, kind)
    return kept | over


def _without_other_variant(base: Table, over: Table, section: str) -> Table:
    kinds = SECTIONS[section]
    new = over.get(kinds.tag)
    if not isinstance(new, str) or new not in kinds.classes or new == base.get(kinds.tag, kinds.default):
        return base
    gone = kinds.fields.keys() - kinds.classes[new].model_fields.keys()
    if section == "wheel" and new == "belt":
        gone = {"diameter_mm", *INSIDE["wheel"]}
    return {name: value for name, value in base.items() if name not in gone}


def locate(reference: str, kind: str, where: str, place: Place) -> Path:
    """The file a reference means; kind is a library sub-folder. Raises InputError for an unknown name."""
    if is_path(reference):
        try:
            return place.folder / Path(reference).expanduser()
        except RuntimeError as error:  # ~ of a user who does not exist
            raise InputError(
                where,
                f"given {shown(reference)}: {str(error).rstrip('.')}",
                "write the whole path",
                place.file,
            ) from error
    path = find(kind, reference)
    if path is None:
        raise unknown_name(kind, reference, where, place.file)
    return path


def entered(path: Path, where: str, place: Place) -> Place:
    """The place inside a file that a reference at `place` leads to. Raises InputError for a loop."""
    try:
        real = path.resolve()
    except (OSError, RuntimeError, ValueError) as error:  # a link to itself, a zero byte, a name too long
        raise InputError(where, f"{shown(str(path))} is no usable path", "check the path", place.file) from error
    if real in place.chain:
        loop = " → ".join(step.name for step in (*place.chain[place.chain.index(real) :], real))
        raise InputError(where, f"the files refer to each other in a loop: {loop}", "remove one of them", place.file)
    if len(place.chain) >= _DEEPEST:
        raise InputError(
            where,
            f"more than {_DEEPEST} files refer to each other in a row",
            "write it out earlier",
            place.file,
        )
    return Place(str(path), path.parent, (*place.chain, real))


def _fill_file(reference: str, section: str, where: str, place: Place) -> Filled:
    path = locate(reference, LIBRARY_OF[section], where, place)
    inside = entered(path, where, place)
    try:
        table = read_toml(path)
    except InputError as error:
        # The person may not know that file: the recipe's field leads to it.
        raise InputError(where, error.problem, error.hint, error.file) from error
    title = table.pop("title", "")
    if not isinstance(title, str):
        raise InputError("title", f"given {shown(title)}, allowed is a text", "write it in quotation marks", str(path))
    if section == "steel":
        table.setdefault("name", path.stem)
    return fill(table, section, where.removesuffix(".from"), inside)
