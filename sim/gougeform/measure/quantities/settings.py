"""How the machine is set."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from gougeform.grind.gouge import Setting
from gougeform.measure.measured import PAGE, Detail, Measured

if TYPE_CHECKING:
    from gougeform.measure.measures import Measures


def setting_table(setting: Setting) -> dict[str, float | None]:
    """A setting with units in its names, as results give it."""
    contact = None if setting.contact is None else np.degrees(setting.contact)
    values = {
        "centre_distance_mm": setting.centre_distance,
        "rim_distance_mm": setting.rim_distance,
        "contact_deg": contact,
    }
    return {name: None if value is None else round(float(value), 10) + 0.0 for name, value in values.items()}


def _first(name: str) -> Callable[[Measures], float]:
    def take(measures: Measures) -> float:
        value = setting_table(measures.gouge.settings[0])[name]
        return math.nan if value is None else value

    return take


def _reliefs(measures: Measures) -> list[dict[str, float | None]] | None:
    return None if measures.land is None else [setting_table(one) for one in measures.gouge.settings[1:]]


def _one(name: str, label: str, what: str, error: str = "lengths_mm") -> Measured:
    return Measured(name, label, _first(name), what, "settings", error, told=PAGE)


MEASURED = (
    _one("centre_distance_mm", "centre to pivot", "wheel's centre to pocket or rod"),
    _one("rim_distance_mm", "rim to pivot", "wheel's rim to pocket or rod"),
    _one("contact_deg", "contact up by", "where on the wheel the nose is ground, above the horizontal", "angles_deg"),
    Detail("relief", _reliefs),
)
