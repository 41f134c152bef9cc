"""The numbers of one tool under flat names with units: at once what the edge gives, later what needs volumes.

They are the very numbers of `gougeform grind --json`.
"""

from __future__ import annotations

from typing import Any

from gougeform.measure.measures import CHEEK_AT_MM, WING_PER_CENT, Measures, setting_table

ROWS: tuple[tuple[str, str, str, int], ...] = (
    ("nose_angle_deg", "nose", "°", 2),
    *((f"wing_angle_deg.{p}", f"wing {p} %", "°", 2) for p in WING_PER_CENT),
    ("wing_length_mm.left", "left wing", "mm", 2),
    ("wing_length_mm.right", "right wing", "mm", 2),
    ("edge_length_mm", "whole edge", "mm", 2),
    ("bevel_length_mm", "bevel", "mm", 2),
    ("hollow_depth_mm", "hollow", "mm", 3),
    ("land_mm", "land", "mm", 2),
    *((f"cheek_width_mm.{d}", f"cheek at {d} mm", "mm", 2) for d in CHEEK_AT_MM),
    ("rim_distance_mm", "rim to pivot", "mm", 2),
    ("centre_distance_mm", "centre to pivot", "mm", 2),
    ("contact_deg", "contact up by", "°", 2),
    ("overcut_mm", "over-cut", "mm", 3),
    ("nose_loss_mm", "nose loss", "mm", 2),
    ("steel_removed_mm3", "steel removed", "mm³", 1),
    ("steel_removed_g", "steel removed", "g", 3),
)
"""Field, label, unit and digits of each row of the table, in its order."""

LATE = ("cheek_width_mm.", "nose_loss_mm", "steel_removed_")
"""How the names begin of those that take a moment."""


def edge_numbers(measures: Measures) -> dict[str, float | None]:
    """What the edge and the settings give, within some hundredths of a second."""
    edge, k = measures.edge, measures.edge.nose
    out: dict[str, Any] = {
        "nose_angle_deg": measures.nose_angle,
        "wing_angle_deg": {str(p): value for p, value in measures.wing_angles.items()},
        "wing_length_mm": {"left": edge.wing_length(-1), "right": edge.wing_length(1)},
        "edge_length_mm": edge.length,
        "bevel_length_mm": float(edge.bevel[k]),
        "hollow_depth_mm": edge.nose_hollow,
        "land_mm": measures.land,
        **setting_table(measures.gouge.settings[0]),
        "overcut_mm": edge.overcut,
    }
    return flat(out)


def late_numbers(measures: Measures) -> dict[str, float | None]:
    """Cheek widths, nose loss and steel removed: they need many rays."""
    removed = measures.steel_removed
    return flat(
        {
            "cheek_width_mm": {str(d): value for d, value in measures.cheeks.items()},
            "nose_loss_mm": measures.nose_loss,
            "steel_removed_mm3": removed,
            "steel_removed_g": removed * measures.gouge.recipe.bar.steel.density_g_cm3 / 1000,
        }
    )


def flat(result: dict[str, Any]) -> dict[str, float | None]:
    """The numbers of a result with dots for tables in tables; not-a-numbers become None, all else is left out."""
    out: dict[str, float | None] = {}
    for name, value in result.items():
        if isinstance(value, dict):
            out |= {f"{name}.{inner}": number for inner, number in flat(value).items()}
        elif value is None:
            out[name] = None
        elif isinstance(value, int | float) and not isinstance(value, bool):
            out[name] = float(value) if value == value and abs(value) != float("inf") else None
    return out
