"""The one comment over every field of a starter recipe: what it is, where the ruler goes, what is usual.

All of it stands on the field itself (see `gougeform.quantity.Quantity`); the usual ranges are common practice, from
memory: they are there to notice a slip, not to limit anything.
"""

from __future__ import annotations

from typing import Any

from gougeform.machine.clamp import DATUMS
from gougeform.part import Part
from gougeform.quantity import Quantity
from gougeform.recipe.sections import SECTIONS

_PATH = "How the tool is moved: traced (to an outline, any jig) or steady (rolled at one setting, rod or table)"


def described(section: str, name: str, model: type[Part]) -> str:
    """What a field is, as a sentence's start; for one that chooses, the choices."""
    kinds = SECTIONS.get(section)
    if name == SECTIONS["path"].tag:
        return _PATH
    if kinds is not None and name == kinds.tag:
        return f"Which {section} it is: {kinds.words}. Each has fields of its own"
    text = model.meaning(name).description
    return text[:1].upper() + text[1:]


def measured(name: str, model: type[Part], table: dict[str, Any]) -> str:
    """Where the ruler goes for a field of a table, a sentence without its full stop; "" where nothing is to be said."""
    if name == "clamp":
        return "; ".join(f"{word} is {datum.words}" for word, datum in DATUMS.items())
    if name == "hinge_drop_mm":
        return DATUMS[table["clamp"]].measured
    return model.meaning(name).how


def comment(section: str, name: str, model: type[Part], table: dict[str, Any]) -> str:
    """The one comment of a field of a table."""
    parts = [described(section, name, model)]
    if name not in (SECTIONS["path"].tag, *(kinds.tag for kinds in SECTIONS.values())):
        parts += [how] if (how := measured(name, model, table)) else []
    meaning = model.meaning(name)
    if isinstance(meaning, Quantity) and meaning.usual is not None:
        parts.append(f"Usual: {meaning.usual[0]:g} to {meaning.usual[1]:g}")
    return ". ".join(parts) + "."
