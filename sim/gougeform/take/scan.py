"""From a scan to a tool's numbers and its recipe: axis, section, grind, each number with its uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.measure.measures import Measures
from gougeform.recipe.model import Recipe
from gougeform.take.known import Known
from gougeform.take.machine import FittedGrind, fit_grind
from gougeform.take.mesh import ScannedMesh
from gougeform.take.prism import Prism, along_axis, sectioned
from gougeform.take.profile import profile_of
from gougeform.take.section import with_section

Floats = NDArray[np.float64]

WINGS = ("wing_angle_deg.25", "wing_angle_deg.50", "wing_angle_deg.75", "wing_angle_deg.95")
_MEASURED = ("nose_angle_deg", *WINGS, "bevel_length_mm", "hollow_depth_mm", "land_mm")
_SETTINGS = {"wheel.diameter_mm": "wheel.diameter_mm", "grind.0.wing_length_mm": "wing_length_mm"}
_FLAT_MM = 5e-3  # a bevel whose hollow is not known better than itself, or is less than this, tells no wheel


@dataclass(frozen=True, eq=False)
class Scan:
    """A scanned tool.

    placed: (n, 3) mm, its vertices in the tool frame, the nose at z = 0. prism: its bar. numbers: what was measured, by
    the recipe's and the result's keys (`bar.diameter_mm`, `flute.web_mm`, `nose_angle_deg`, `wing_angle_deg.50`,
    `wing_angle_deg.50.left`, `wing_length_mm`, `bevel_length_mm`, `hollow_depth_mm`, `land_mm`, `wheel.diameter_mm`).
    grind: the recipe that leaves its face. noise_mm: what single points are off by. notes: what a person should know.
    """

    placed: Floats
    prism: Prism
    numbers: dict[str, Known]
    grind: FittedGrind
    noise_mm: float
    notes: tuple[str, ...]

    @property
    def recipe(self) -> Recipe:
        """The tool as a recipe."""
        return self.grind.recipe


def take_scan(mesh: ScannedMesh, likes: Sequence[Recipe]) -> Scan:
    """Measure a scanned tool; likes: machines it may have been ground on, with lengths along the bar.

    Raises InputError where no bar, flute or ground face can be found in it.
    """
    try:
        p, prism = sectioned(along_axis(mesh), mesh)
        return _measured(p, prism, likes, mesh.name)
    except InputError as error:
        raise error.in_file(mesh.name) from None


def _measured(p: Floats, prism: Prism, likes: Sequence[Recipe], name: str) -> Scan:
    size = float(prism.bar[0])
    tolerance = max(4 * prism.noise, 0.02)
    out, into = prism.outside(p), prism.in_flute(p)
    face = p[(out < -tolerance) & (into < -tolerance) & (p[:, 2] > -2.2 * size)]
    if len(face) < 150:
        raise InputError("", f"only {len(face)} points lie on the ground face", "scan finer: 0.1 to 0.3 mm")
    nose, wing = _wing(p[np.abs(into) < tolerance])
    profile = profile_of(face, prism)
    angle = float(np.clip(profile.nose, 12.0, 85.0))
    grind = {
        "path": "traced",
        "nose_angle_deg": angle,
        "wing_length_mm": float(np.clip(wing, 0.2 * size, 4 * size)),
    }
    grinds: list[dict[str, Any]] = [grind]
    taken, called = prism.taken(), name or "scan"
    # A relief is tried wherever the middle shows one; where no machine leaves the face without one, one is looked for.
    if profile.land is not None and profile.relief is not None:
        land, acute = profile.land, min(profile.relief, angle - 1.0)
    else:
        land, acute = 0.25 * profile.bevel, angle - 8.0
    more = [*grinds, {"nose_angle_deg": max(acute, 5.0), "land_mm": float(np.clip(land, 0.3, 0.8 * profile.bevel))}]
    plain, relieved = ([with_section(like, taken, called, one) for like in likes] for one in (grinds, more))
    if profile.land is None:
        starts = [*plain, *relieved]
    else:
        starts = [one for pair in zip(plain, relieved, strict=True) for one in pair]
    found = fit_grind(face - [0.0, 0.0, nose], starts, prism.noise)
    numbers = prism.off | found.numbers(_told)
    for field, key in _SETTINGS.items():
        if field in found.names:
            k = found.names.index(field)
            numbers[key] = Known.of(float(found.x[k]), float(np.sqrt(found.covariance[k + 1, k + 1])))
    notes: list[str] = []
    hollow = numbers["hollow_depth_mm"]
    if hollow.off > 0.5 * abs(hollow.value) or hollow.value < _FLAT_MM:
        numbers.pop("wheel.diameter_mm", None)
        notes.append("The bevel is too flat, or the scan too rough, to tell the wheel's diameter.")
    for key in (WINGS[1], "nose_angle_deg"):
        a, b = (numbers[f"{key}.{side}"] for side in ("left", "right"))
        if abs(a.value - b.value) > max(np.hypot(a.off, b.off), 0.1):
            notes.append(f"Left and right differ in {key}: {a.value:.2f}° and {b.value:.2f}°.")
    if found.spread > 1.5 * prism.noise + 2e-3:
        notes.append(
            f"The face lies {found.spread:.3f} mm off what these machines leave, the bar {prism.noise:.3f} mm off a"
            " prism: its wings differ, or it was ground on another kind, by hand, or honed, and angles may be off by"
            " more than is said."
        )
    return Scan(p + np.array([0.0, 0.0, found.rise - nose]), prism, numbers, found, prism.noise, tuple(notes))


def _told(measures: Measures) -> dict[str, float]:
    """What is told of the face, by the result's keys; what is no number is left out."""
    values = {key: measures[key] for key in _MEASURED}
    return {key: float(value) for key, value in values.items() if value is not None and np.isfinite(value)}


def _wing(flute: Floats) -> tuple[float, float]:
    """Height of the nose and length of the wings, roughly: where points (n, 3) of the flute end at floor and lips."""
    if len(flute) < 100:
        raise InputError("", "too few points lie in the flute", "scan finer: 0.1 to 0.3 mm")
    wide = float(np.quantile(np.abs(flute[:, 0]), 0.99))
    x, z = np.abs(flute[:, 0]) / wide, flute[:, 2]
    ends = [float(np.sort(z[which])[-5:].mean()) for which in (x < 0.08, x > 0.93) if which.sum() >= 5]
    if len(ends) < 2:
        raise InputError("", "there is a hole at the nose or at the lips", "scan it again")
    return ends[0], ends[0] - ends[1]
