"""The settings a person can turn, by plain name: what field of a recipe each is, its unit, and how far it goes.

The distance is always the one from the wheel's rim to the pocket or the rod's centre, however the recipe gives it.
"""

from __future__ import annotations

from dataclasses import dataclass

from gougeform.errors import InputError
from gougeform.quantity import Quantity, unit_of
from gougeform.read.complaints import shown
from gougeform.read.library import nearest
from gougeform.recipe.model import Recipe
from gougeform.recipe.sections import SECTIONS


@dataclass(frozen=True)
class Name:
    """One setting: its plain name, and the recipe's field by kind of jig, path or wheel.

    table: where the field stands, "jig", "path" or "wheel". unit: "mm", "deg" or "" for a share.
    """

    name: str
    table: str
    fields: dict[str, str]
    unit: str
    quantity: Quantity

    @property
    def bounds(self) -> tuple[float, float]:
        """How far the setting is looked for when a person gives no bounds."""
        assert self.quantity.search is not None
        low, high = self.quantity.search
        return float(low), float(high)

    @property
    def words(self) -> str:
        """For a sentence."""
        return self.quantity.called

    def field(self, kind: str) -> str:
        """The field's name for a kind of jig or path; "" where there is none."""
        return self.fields.get(kind, "")

    def step(self, recipe: Recipe) -> float:
        """What it can be set to by hand, in its own unit: a step of the recipe's ruler or protractor."""
        return {"mm": recipe.ruler_mm, "deg": recipe.protractor_deg}.get(self.unit, self.quantity.step)

    @property
    def column(self) -> str:
        """Name with its unit, for files."""
        return f"{self.name}_{self.unit}" if self.unit else self.name


_ORDER = (
    "distance", "projection", "cant", "tilt", "arm_length", "hinge_back", "hinge_drop", "shoe", "wing_length",
    "fullness", "shoulder", "roll", "wheel",
)  # fmt: skip
"""In which they are told; others come behind."""


def _names() -> dict[str, Name]:
    """Every field that a person turns, found on the kinds of jigs and paths and on the wheel."""
    found: dict[str, Name] = {}
    for table in ("jig", "path", "wheel"):
        for kind, model in SECTIONS[table].classes.items():
            for field, quantity in model.quantities().items():
                if not quantity.setting or (table, kind) == ("wheel", "belt"):
                    continue
                new = Name(quantity.setting, table, {}, unit_of(field).ending.removeprefix("_"), quantity)
                found.setdefault(quantity.setting, new).fields[kind] = field
    return {name: found[name] for name in sorted(found, key=[*_ORDER, *found].index)}


NAMES = _names()
_BY_FIELD = {field: one for one in NAMES.values() for field in one.fields.values()}
_BY_FIELD |= {"centre_distance_mm": NAMES["distance"]}


def setting_name(text: str, field: str) -> Name:
    """The setting with that plain name or recipe field. Raises InputError naming the question's parameter `field`."""
    word = text.strip().lower().replace("-", "_")
    word = word.rsplit(".", 1)[-1]
    found = NAMES.get(word) or _BY_FIELD.get(word)
    if found is None:
        close = nearest(word, [*NAMES, *_BY_FIELD])
        start = f"did you mean {close}? " if close else ""
        raise InputError(field, f"given {shown(text)}, which is no setting", f"{start}Allowed are {', '.join(NAMES)}")
    return found
