"""How exact each setting must be: what a little more of it does to the edge, and what all errors together may do.

Derivatives are central differences of the quick evaluator, whose numbers are good to 1e-12 degrees, so that they agree
with differences of the whole simulation to 1e-6. The jig's pocket or rod stays where it is while another setting
changes; when the wheel wears it stays at the same place, so its distance to the centre is what is held.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gougeform.errors import InputError
from gougeform.grind.ground import Ground, Pass
from gougeform.recipe.model import Recipe
from gougeform.settings.bench import Bench, bench_of
from gougeform.settings.names import NAMES, setting_name
from gougeform.settings.trial import Tracer

Floats = NDArray[np.float64]

PER_CENT = (25.0, 50.0, 75.0, 95.0)
ANGLES = ("nose", *(f"wing{p:g}" for p in PER_CENT))
OUTPUTS = (*ANGLES, "overcut")
TOLERANCE = {"mm": 0.5, "deg": 0.5, "": 0.02}
"""What a setting is taken to be off by where a person does not say: 0.5 mm, 0.5 degrees, 0.02 of a share."""

_STEP = {"mm": 1e-3, "deg": 1e-3, "": 1e-5}
_CUT_STATIONS = 129


@dataclass(frozen=True)
class Sensitivity:
    """Derivatives of OUTPUTS by each setting: slope (settings, outputs), deg or mm (over-cut) per mm, deg or share.

    tolerance: (settings,) by how much each setting may be off, in its own unit. value: its value now.
    """

    names: tuple[str, ...]
    value: Floats
    tolerance: Floats
    slope: Floats
    outputs: Floats

    @property
    def share(self) -> Floats:
        """(settings, outputs): what each setting's tolerance does alone, deg or mm."""
        return np.abs(self.slope) * self.tolerance[:, None]

    @property
    def worst(self) -> Floats:
        """(outputs,): all tolerances adding up."""
        return self.share.sum(0)

    @property
    def likely(self) -> Floats:
        """(outputs,): root of the sum of squares, for errors that know nothing of each other."""
        return np.sqrt((self.share**2).sum(0))

    def most(self, output: int) -> int:
        """Which setting does most to an output."""
        return int(self.share[:, output].argmax())


def read_tolerances(bench: Bench, given: Mapping[str, float]) -> dict[str, float]:
    """Tolerances by setting from those by name or field, {"projection": 1}. Raises InputError."""
    found = {}
    for name, size in given.items():
        one = setting_name(name, "tolerance")
        if one.name not in bench.names:
            raise InputError("tolerance", f"{bench.noun} has no {one.name}", f"allowed are {', '.join(bench.names)}")
        if not 0 <= size <= 100:
            raise InputError(
                f"tolerance {one.name}", f"given {size:g}, allowed is from 0 to 100", "0 leaves a setting out"
            )
        found[one.name] = size
    return found


def sensitivity(
    recipe: Recipe, tolerances: Mapping[str, float] | None = None, grind: int = 0, names: Sequence[str] = ()
) -> Sensitivity:
    """Derivatives of one grind by some settings (all by default), with tolerances (usual ones where none is given)."""
    bench = bench_of(recipe, grind)
    names = tuple(names or bench.names)
    given = tolerances or {}
    every = _Evaluator()
    base = every.at(bench)
    slopes = []
    for name in names:
        step = _STEP[NAMES[name].unit]
        up, down = (every.at(_moved(bench, name, way * step)) for way in (1, -1))
        slopes.append((up - down) / (2 * step))
    return Sensitivity(
        names,
        np.array([bench.value(name) for name in names]),
        np.array([given.get(name, TOLERANCE[NAMES[name].unit]) for name in names]),
        np.array(slopes),
        base,
    )


def _moved(bench: Bench, name: str, by: float) -> Bench:
    value = bench.value(name) + by
    return bench.on_wheel(value) if name == "wheel" else bench.set({name: value})


class _Evaluator:
    """The outputs at a bench, deg and mm."""

    def __init__(self) -> None:
        self._tracer = Tracer()

    def at(self, bench: Bench) -> Floats:
        """(outputs,). Raises InputError where there is no edge."""
        reading = self._tracer.read(bench, PER_CENT)
        angles = [reading.value(name) for name in ANGLES]
        past = bench.path.outlined and self._tracer.cuts_past(bench)
        return np.array([*angles, overcut(bench) if past else 0.0])


def overcut(bench: Bench) -> float:
    """How far (mm) a traced path cuts past its outline, along both wings or, if they are alike, one."""
    one = Pass(bench.path.sweep(bench.section, bench.built, bench.solid), bench.solid)
    outline = one.path.outline
    assert outline is not None
    t = np.linspace(0.0 if bench.contact == 0 else -1.0, 1.0, _CUT_STATIONS)
    asked = outline.at(t)[0]
    cut = Ground((one,)).heights(asked[:2].T)
    past = asked[2] - cut.z
    return max(float(past[np.isfinite(past)].max()), 0.0)


def sentence(found: Sensitivity) -> str:
    """One plain sentence for students: what matters most, and how sure the edge is."""
    nose, wing = 0, OUTPUTS.index("wing50")
    settable = [k for k, size in enumerate(found.tolerance) if size > 0]
    if not settable:
        return "No setting is taken to be off, so nothing changes."
    k, w = found.most(nose), found.most(wing)
    first, second = NAMES[found.names[k]], NAMES[found.names[w]]
    way = "blunter" if found.slope[k, nose] > 0 else "more acute"
    unit = {"mm": " mm", "deg": "°", "": ""}[first.unit]
    wings = (
        "which matters most for the middle of the wings too"
        if k == w
        else f"while the middle of the wings hangs most on {second.words}"
    )
    return (
        f"Measure {first.words} most carefully: {found.tolerance[k]:g}{unit} more makes the nose"
        f" {found.share[k, nose]:.2f}° {way}, {wings}; with all settings off by what is listed, expect the nose within"
        f" {found.likely[nose]:.1f}°, and never more than {found.worst[nose]:.1f}° off."
    )
