"""The settings a person can turn, by plain name: what field of a recipe each is, its unit, and how far it goes.

The distance is always the one from the wheel's rim to the pocket or the rod's centre, however the recipe gives it.
"""

from __future__ import annotations

from dataclasses import dataclass

from gougeform.errors import InputError
from gougeform.read.complaints import shown
from gougeform.read.library import nearest

RULER_MM = 0.5
"""What a person can set with a ruler, mm."""
PROTRACTOR_DEG = 0.5
"""What a person can set with a protractor, degrees."""


@dataclass(frozen=True)
class Name:
    """One setting: its plain name, the recipe's field by kind of jig ("" where the jig has none), and bounds.

    table: where the field stands, "jig", "path" or "wheel". unit: "mm", "deg" or "" for a share. low, high: how far
    the setting is looked for when a person gives no bounds. step: what it can be set to by hand. words: for a sentence.
    """

    name: str
    table: str
    fields: dict[str, str]
    unit: str
    low: float
    high: float
    step: float
    words: str

    def field(self, kind: str) -> str:
        """The field's name for a kind of jig or path; "" where there is none."""
        return self.fields.get(kind, "")

    @property
    def column(self) -> str:
        """Name with its unit, for files."""
        return f"{self.name}_{self.unit}" if self.unit else self.name


def _both(name: str, kinds: str = "foot rod") -> dict[str, str]:
    return dict.fromkeys(kinds.split(), name)


_ALL = (
    Name("distance", "jig", _both("rim_distance_mm"), "mm", 1.0, 600.0, RULER_MM, "the distance from rim to pivot"),
    Name("projection", "jig", _both("projection_mm", "foot rod table"), "mm", 30.0, 130.0, RULER_MM, "the projection"),
    Name(
        "cant",
        "jig",
        {"foot": "arm_cant_deg", "rod": "hinge_cant_deg"},
        "deg",
        -10.0,
        80.0,
        PROTRACTOR_DEG,
        "the cant",
    ),
    Name("tilt", "jig", {"table": "nose_angle_deg"}, "deg", 10.0, 90.0, PROTRACTOR_DEG, "the table's tilt"),
    Name("arm_length", "jig", {"foot": "arm_length_mm"}, "mm", 20.0, 250.0, RULER_MM, "the arm's length"),
    Name("hinge_back", "jig", _both("hinge_back_mm"), "mm", 0.0, 80.0, RULER_MM, "how far back the hinge lies"),
    Name("hinge_drop", "jig", _both("hinge_drop_mm"), "mm", -30.0, 60.0, RULER_MM, "how far down the hinge lies"),
    Name("shoe", "jig", {"rod": "shoe_mm"}, "mm", 5.0, 120.0, RULER_MM, "the shoe's height"),
    Name("wing_length", "path", {"traced": "wing_length_mm"}, "mm", 1.0, 40.0, RULER_MM, "the wing length"),
    Name("fullness", "path", {"traced": "fullness"}, "", 0.05, 0.95, 0.01, "the outline's fullness"),
    Name("shoulder", "path", {"traced": "shoulder"}, "", 0.2, 1.0, 0.01, "the outline's shoulder"),
    Name("roll", "path", {"steady": "roll_max_deg"}, "deg", 10.0, 180.0, PROTRACTOR_DEG, "the roll"),
    Name("wheel", "wheel", {"wheel": "diameter_mm"}, "mm", 50.0, 600.0, RULER_MM, "the wheel's diameter"),
)
NAMES = {one.name: one for one in _ALL}
_BY_FIELD = {field: one for one in _ALL for field in one.fields.values() if field != "nose_angle_deg"}
_BY_FIELD |= {"centre_distance_mm": NAMES["distance"], "nose_angle_deg": NAMES["tilt"]}


def setting_name(text: str, option: str) -> Name:
    """The setting with that plain name or recipe field. Raises InputError naming `option`."""
    word = text.strip().lower().replace("-", "_")
    word = word.rsplit(".", 1)[-1]
    found = NAMES.get(word) or _BY_FIELD.get(word)
    if found is None:
        close = nearest(word, [*NAMES, *_BY_FIELD])
        start = f"did you mean {close}? " if close else ""
        raise InputError(option, f"given {shown(text)}, which is no setting", f"{start}Allowed are {', '.join(NAMES)}")
    return found


def number(text: str, option: str, what: str) -> float:
    """A finite number a person typed. Raises InputError naming `option`."""
    try:
        value = float(text.strip())
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9:
        raise InputError(option, f"given {shown(text)} for {what}, allowed is a number", "write it like 12.5")
    return value


def pair(text: str, option: str, example: str) -> tuple[str, str]:
    """The two halves of NAME=VALUE. Raises InputError naming `option`."""
    name, sign, value = text.partition("=")
    if not sign or not name.strip() or not value.strip():
        raise InputError(option, f"given {shown(text)}, allowed is NAME=VALUE", f"write it like {example}")
    return name.strip(), value.strip()
