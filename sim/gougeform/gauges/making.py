"""The one way to make gauges: planned, built, written, measured on the written file; what is not sound is refused."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gougeform.errors import InputError
from gougeform.gauges.build import Part3D, build
from gougeform.gauges.checks import Checked, inspect, read, section
from gougeform.gauges.gauge import LEAST_WALL_MM, TEXT_DEPTH_MM, Gauge
from gougeform.gauges.kind import GaugeKind
from gougeform.gauges.kinds import KINDS, OPTIONS
from gougeform.gauges.options import Printing
from gougeform.gauges.plate import lay_out
from gougeform.gauges.setup import Setup
from gougeform.gauges.writing import write_3mf, write_stl
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.present.files import captured
from gougeform.read.complaints import unknown_field
from gougeform.recipe.model import Recipe

ALL = "all"
"""Stands for every kind that a recipe can have."""

_RAYS = 150  # for the thinnest wall
_STEEPEST_DEG = 45.1
_OFF_MM = 0.02  # a tenth of what a printer holds (±0.2 mm: general guides to fused-filament printing)


@dataclass(frozen=True, eq=False)
class MadeGauge:
    """One gauge: what it is, its solid, what its file was found to be, and its files' bytes by name."""

    gauge: Gauge
    body: Part3D
    found: Checked
    files: dict[str, bytes]


@dataclass(frozen=True, eq=False)
class Gauges:
    """Gauges of one tool, each checked. without: kinds it cannot have, and why. plates: files of each, by its name."""

    setup: Setup
    made: tuple[MadeGauge, ...]
    without: dict[str, InputError] = field(default_factory=dict)
    plates: dict[str, dict[str, bytes]] = field(default_factory=dict)

    @property
    def files(self) -> dict[str, bytes]:
        """All files' bytes by name."""
        each = [*(one.files for one in self.made), *self.plates.values()]
        return {name: content for files in each for name, content in files.items()}


def make(
    recipe: Recipe,
    kind: str = ALL,
    options: Mapping[str, Any] | None = None,
    tell: Callable[[float, str], object] = lambda share, words: None,
) -> Gauges:
    """The gauges of one kind for a recipe, or all it can have, these laid out on plates too.

    options: by key (`gougeform.gauges.kinds.OPTIONS`), of the kind and of the printing. tell: how far it is, 0 to 1.
    Raises InputError where the recipe cannot be ground, an option does not exist or is not allowed, a gauge cannot
    exist, cannot be printed as it is, or does not fit the bed.
    """
    given = dict(options or {})
    for key in given:
        if key not in OPTIONS:
            raise unknown_field(key, key, list(OPTIONS), "a gauge")
    tell(0.0, "grinding the recipe")
    gouge = shape(recipe)
    measure(gouge)  # refuses what cannot be ground
    setup = Setup(gouge, Printing.of(given))
    gauges, without = planned(setup, kind, given)
    made = []
    for number, gauge in enumerate(gauges):
        tell(0.1 + 0.85 * number / len(gauges), f"building the {gauge.kind} gauge")
        made.append(_made(gauge, setup))
    return Gauges(setup, tuple(made), without, _plates(made, setup) if kind == ALL else {})


def planned(
    setup: Setup, kind: str = ALL, options: Mapping[str, Any] | None = None
) -> tuple[list[Gauge], dict[str, InputError]]:
    """Every gauge of a kind before it is a solid; of all kinds those that can exist, and why the others cannot.

    Raises InputError where one of the kind asked for cannot exist, an option is not for it, or a gauge is larger than
    the bed, which is not the recipe's doing.
    """
    if kind != ALL and kind not in KINDS:
        raise InputError("kind", f"given {kind[:40]}, allowed is one of {', '.join((*KINDS, ALL))}", "choose one")
    given, gauges, without = dict(options or {}), [], {}
    for name, model in KINDS.items() if kind == ALL else [(kind, KINDS[kind])]:
        own = {option.key for option in (*model.options(), *Printing.options())}
        strange = next((key for key in given if key not in own), None)
        if kind != ALL and strange is not None:
            hint = "leave it out, or ask for all kinds at once"
            raise InputError(OPTIONS[strange].name, f"has no meaning for the {kind} gauge", hint)
        found, refused = _each(model.of(given), setup)
        gauges += found
        for which, error in refused.items():
            if kind != ALL or error.field == "bed":
                raise error
            without[f"{name} {which}".rstrip()] = error
    return gauges, without


def _each(kind: GaugeKind, setup: Setup) -> tuple[list[Gauge], dict[str, InputError]]:
    """The gauges of a kind, and by their number (of one: "") why others cannot exist."""
    made, refused = [], {}
    try:
        makers = kind.gauges(setup)
    except InputError as error:
        return [], {"": _in_recipe(error, setup)}
    for number, maker in enumerate(makers, 1):
        try:
            made.append(maker())
        except InputError as error:
            refused["" if len(makers) == 1 else str(number)] = _in_recipe(error, setup)
    return made, refused


def _in_recipe(error: InputError, setup: Setup) -> InputError:
    """The error with the recipe's file where it is about the recipe, not about an option."""
    recipe = setup.gouge.recipe
    about_option = error.field in {option.name for option in OPTIONS.values()}
    return error if about_option else error.in_file(recipe.source or recipe.name)


def _made(gauge: Gauge, setup: Setup) -> MadeGauge:
    """Build a gauge, write both files, and measure the STL. Raises InputError where it cannot be printed as it is."""
    try:
        body = build(gauge, setup.printing)
    except ValueError as error:
        raise InputError(
            "chamfer",
            f"given {setup.printing.chamfer_mm:g}, for the {gauge.kind} gauge {error}",
            "ask for a smaller one, or 0",
        ) from error
    files = as_files(body.name, [body])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{body.name}.stl"
        path.write_bytes(files[path.name])
        (mesh,) = read(path).values()
    scale = setup.printing.scale
    bands = [(scale * (t.top - TEXT_DEPTH_MM - 0.01), scale * (t.top + TEXT_DEPTH_MM + 0.01)) for t in gauge.lettering]
    found = inspect(mesh, bands, _RAYS)
    faults = [
        *(["it is not closed"] if not found.closed else []),
        *([f"it falls into {found.bodies} pieces"] if found.bodies != 1 else []),
        *([f"{found.crossings} of its faces cut each other"] if found.crossings else []),
        *([f"a wall is only {found.wall_mm:.2f} mm"] if found.wall_mm < LEAST_WALL_MM * min(scale, 1.0) - 0.01 else []),
        *([f"a face overhangs by {found.overhang_deg:.0f} degrees"] if found.overhang_deg > _STEEPEST_DEG else []),
        *(["its volume changed when it was written"] if abs(found.volume - body.volume) > 1e-4 * body.volume else []),
        *[
            f"its {KINDS[gauge.kind]().spoken(name)} came out {off:+.2f} mm off"
            for name, off in misses(gauge, mesh, scale).items()
            if not abs(off) <= _OFF_MM
        ],
    ]
    if faults:
        raise InputError(
            "",
            f"the {gauge.kind} gauge cannot be printed as it is: {'; '.join(faults)}",
            "try another `text`, `fit` or `chamfer`, or leave this kind out",
            setup.gouge.recipe.source,
        )
    return MadeGauge(gauge, body, found, files)


def misses(gauge: Gauge, mesh: Any, scale: float) -> dict[str, float]:
    """By how much (mm) each dimension with a span is off on the mesh that was read back, before its scale."""
    from shapely.geometry import LineString

    left, low, *_ = gauge.outline.bounds
    plans: dict[float, Any] = {}
    off: dict[str, float] = {}
    for span in gauge.spans:
        if span.height not in plans:
            plans[span.height] = section(mesh, scale * span.height)
        cut = LineString([(scale * (x - left), scale * (y - low)) for x, y in (span.start, span.end)])
        inside = float(cut.intersection(plans[span.height]).length)
        off[span.dimension] = (float(cut.length) - inside if span.gap else inside) / scale - span.length
    return off


def as_files(name: str, bodies: Sequence[Part3D]) -> dict[str, bytes]:
    """NAME.stl and NAME.3mf of bodies, as they stand on a disk."""

    def write(folder: Path) -> None:
        write_stl(bodies, folder / f"{name}.stl")
        write_3mf(bodies, folder / f"{name}.3mf")

    return captured(write)


def _plates(made: Sequence[MadeGauge], setup: Setup) -> dict[str, dict[str, bytes]]:
    plates = lay_out([one.body for one in made], setup.printing.bed_mm)
    names = ["plate" if len(plates) == 1 else f"plate-{number}" for number in range(1, len(plates) + 1)]
    return {name: as_files(name, plate.bodies) for name, plate in zip(names, plates, strict=True)}
