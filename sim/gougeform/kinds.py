"""Kinds of a thing (outlines, flutes, jigs, paths): one class in one file each, found by listing their folder.

To add a kind, add a file. Its class inherits the folder's base class (`gougeform.bar.bar.Bar`,
`gougeform.bar.flute.Flute`, `gougeform.machine.jig.Jig`, `gougeform.machine.path.Path`), which says what a kind must
bring, and names itself in its tag: `shape: Literal["arc"] = "arc"`. Nothing else has to know of it.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Any, Generic, TypeVar, cast

from pydantic import PlainValidator

from gougeform.errors import InputError
from gougeform.part import Part, Table
from gougeform.read.complaints import shown, validated
from gougeform.read.library import nearest

K = TypeVar("K", bound=Part)


@dataclass(frozen=True)
class Kinds(Generic[K]):
    """The kinds of one section of a recipe.

    tag: the field that says which. classes: by that field's value, usual ones first. default: its value where it is
    left out, or None.
    """

    section: str
    tag: str
    classes: Mapping[str, type[K]]
    default: str | None = None

    def of(self, table: Table, where: str) -> type[K]:
        """The class that a table at the dotted place `where` must fit.

        Raises InputError where the tag is missing or has a value that does not exist.
        """
        value = table.get(self.tag, self.default)
        choices = ", ".join(f'"{choice}"' for choice in self.classes)
        place = f"{where}.{self.tag}" if where else self.tag
        if value is None:
            strange = [name for name in table if name not in self.fields]
            other = f"; {shown(strange[0])} is not a field of it" if strange else ""
            raise InputError(
                place,
                f"is missing, allowed is one of {choices}",
                f"add {self.tag} to say which {self.section} it is{other}",
            )
        if not isinstance(value, str) or value not in self.classes:
            close = nearest(value, list(self.classes)) if isinstance(value, str) else None
            raise InputError(
                place,
                f"given {shown(value)}, allowed is one of {choices}",
                f'did you mean "{close}"' if close else f"choose one of them for {self.tag}",
            )
        return self.classes[value]

    @cached_property
    def fields(self) -> dict[str, tuple[type[K], ...]]:
        """The fields that any of the kinds has, as they come, each with the kinds that have it."""
        models = dict.fromkeys(self.classes.values())
        names = {name: None for model in models for name in model.model_fields}
        return {name: tuple(model for model in models if name in model.model_fields) for name in names}

    def made(self, value: Any) -> K:
        """One of the kinds, as it is or made from a table by its tag. Raises InputError."""
        if isinstance(value, tuple(self.classes.values())):
            return cast(K, value)
        if isinstance(value, Mapping):
            return validated(self.of(dict(value), self.section), value, self.section)
        raise InputError(
            self.section, f"given {shown(value)}, allowed is a {self.section} or a table", f"give a {self.section}"
        )

    @property
    def union(self) -> Any:
        """Any of the kinds, for the annotation of a pydantic field: what pydantic calls a discriminated union.

        It is told apart here and not by pydantic, which would build all kinds to read one.
        """
        return Annotated[Any, PlainValidator(self.made)]

    @property
    def words(self) -> str:
        """The kinds' names for a sentence: "round, square or points"."""
        *first, last = self.classes
        return f"{', '.join(first)} or {last}"


def found(package: str, path: Iterable[str], base: type[K], section: str, default: str | None = None) -> Kinds[K]:
    """The kinds in a folder: package and path are its `__name__` and `__path__`, base what every kind inherits.

    Raises TypeError where a file of it has no kind, or two have one name.
    """
    classes: dict[str, type[K]] = {}
    for module in pkgutil.iter_modules(path):
        inside = importlib.import_module(f"{package}.{module.name}")
        own = [one for one in vars(inside).values() if isinstance(one, type) and one.__module__ == inside.__name__]
        kinds = [one for one in own if issubclass(one, base) and isinstance(one.model_fields[base.tag].default, str)]
        if not kinds:
            raise TypeError(f"{inside.__name__} has no {base.__name__} with a {base.tag} of its own")
        for one in kinds:
            name = one.model_fields[base.tag].default
            if name in classes:
                raise TypeError(f"{inside.__name__}: there are two kinds of {section} called {name}")
            classes[name] = one
    ranked = sorted(classes, key=lambda name: (getattr(classes[name], "rank", 50), name))
    return Kinds(section, base.tag, {name: classes[name] for name in ranked}, default)
