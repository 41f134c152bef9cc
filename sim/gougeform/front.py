"""gougeform for people who write Python: build or load a tool, grind it, ask it. Lengths in mm, angles in degrees.

>>> import gougeform as gf
>>> tool = gf.Tool(
...     bar=gf.RoundBar(diameter_mm=10.0, length_mm=150.0),
...     flute=gf.ArcFlute(radius_mm=4.0, web_mm=6.5, length_mm=60.0),
...     wheel=gf.Wheel(diameter_mm=200.0, width_mm=40.0),
...     jig=gf.load("finial-round-10-fingernail-foot").recipe.jig,
...     grind=[gf.Grind(nose_angle_deg=35.0, wing_length_mm=10.0)],
... )
>>> ground = tool.grind()
>>> round(ground.measures.nose_angle, 3)
35.0
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gougeform.errors import InputError
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.recipe.reading import load as read
from gougeform.recipe.write import to_toml

if TYPE_CHECKING:
    import meshio
    import pandas
    import pyvista
    import trimesh

    from gougeform.grind.gouge import Gouge
    from gougeform.measure.measures import Measures
    from gougeform.mesh.solid import Solid
    from gougeform.present.answer import Answer
    from gougeform.reach.result import Reach, Terms
    from gougeform.settings.ruler import ByHand
    from gougeform.work.meridian import Meridian

__all__ = ["GroundTool", "Mesh", "Tool", "choose", "compare", "load", "measured", "solution", "sweep"]


class Tool:
    """A bar with its flute, a wheel, a jig, and how it is ground.

    >>> import gougeform as gf
    >>> mine = gf.load("finial-round-10-fingernail-foot")
    >>> mine.with_({"jig.projection_mm": 70.0}).recipe.jig.projection_mm
    70.0
    >>> mine
    <Tool 'Finials: detail gouge from round 10 mm bar, fingernail grind, foot jig'>
    """

    def __init__(self, recipe: Recipe | None = None, **parts: Any) -> None:
        """Take a whole recipe, or its parts by name: bar, flute, wheel, jig, grind, title, older, handle.

        Parts are made by their classes (gougeform.RoundBar, …), or plain tables or names of the library like those in
        a recipe's file. Raises InputError for parts that do not fit together, as a file would.
        """
        if recipe is not None and parts:
            raise InputError(next(iter(parts)), "given beside a whole recipe", "use with_() to change a recipe")
        self.recipe = recipe if recipe is not None else from_table(_plain(parts))

    def __repr__(self) -> str:
        return f"<Tool {self.recipe.title or self.recipe.name or self.recipe.bar.noun!r}>"

    def __eq__(self, other: object) -> bool:
        return self.recipe == other.recipe if isinstance(other, Tool) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.recipe)

    def with_(self, changes: Mapping[str, Any]) -> Tool:
        """Set fields by their dotted names: {"jig.projection_mm": 70, "grind.0.wing_length_mm": 9}.

        One of the three distances replaces the others; None removes. Raises InputError.
        """
        return Tool(changed(self.recipe, dict(changes)))

    @property
    def toml(self) -> str:
        """The recipe as TOML that needs no library and reads back equal."""
        return to_toml(self.recipe)

    def save(self, path: str | Path) -> None:
        """Write the recipe to a file, whole or not at all. Raises InputError where it cannot be written."""
        from gougeform.mesh.formats import replaced

        with replaced(path) as beside:
            beside.write_text(self.toml, encoding="utf-8")

    def grind(self) -> GroundTool:
        """Grind it. Raises InputError where a person could not.

        >>> import gougeform as gf
        >>> gf.load("finial-round-10-relief-foot").grind()
        <GroundTool nose 35.00°, wing 10.00 mm, 2 grinds>
        """
        from gougeform.grind.gouge import shape
        from gougeform.measure.measures import measure

        return GroundTool(measure(shape(self.recipe)))

    def solve(
        self,
        *,
        free: Mapping[str, tuple[float, float] | None] | None = None,
        stops: Mapping[str, Sequence[float]] | None = None,
        **wants: float,
    ) -> Answer:
        """Find settings for a wanted edge: nose, wing50 and so on in degrees, wing_length and land in mm.

        free: settings that may change, with bounds or None; as many as needed where none is named. stops: settings that
        have notches only. `solution(answer)` is the tool it found. Raises InputError.

        >>> import gougeform as gf
        >>> answer = gf.load("finial-round-10-fingernail-foot").solve(nose=33.0)
        >>> answer.verdict
        'One exact solution.'
        """
        from gougeform.settings.answers.solve import answer

        return answer(self.recipe, wants, free, stops)

    def by_hand(self) -> ByHand:
        """Round the jig's settings to what ruler and protractor can set, the edge nearest to the exact one.

        The recipe says the steps (`ruler_mm`, `protractor_deg`). Raises InputError where no such setting can be ground.
        """
        from gougeform.settings.ruler import by_hand

        return by_hand(self.recipe)

    def transfer(self, *, wheel: str | float | None = None, jig: str | None = None, keep: bool = False) -> Answer:
        """Carry the edge over to another wheel (name, file or diameter in mm) or jig (name or file).

        keep: nothing but the distance may change. Raises InputError.

        >>> import gougeform as gf
        >>> there = gf.load("finial-round-10-fingernail-foot").transfer(wheel=150.0)
        >>> gf.solution(there).recipe.wheel.diameter_mm
        150.0
        """
        from gougeform.settings.answers.transfer import answer

        to = {name: value for name, value in (("wheel", wheel), ("jig", jig)) if value is not None}
        return answer(self.recipe, to, keep=keep)

    def reach(self, work: str | Path | Meridian, terms: Terms | None = None) -> Reach:
        """Stand it in a workpiece: a name of the library, a TOML or CSV file, or a meridian made in Python.

        Raises InputError where the tool cannot be ground or the work not be read.
        """
        from gougeform.grind.gouge import shape
        from gougeform.reach.result import reach

        return reach(shape(self.recipe), _work(work), terms)


@dataclass(frozen=True, eq=False)
class GroundTool:
    """A ground tool with its measures; what takes time is made when first asked for.

    >>> import gougeform as gf
    >>> ground = gf.load("finial-round-10-fingernail-foot").grind()
    >>> round(ground["nose_angle_deg"], 2), round(ground["wing_angle_deg.50"], 2)
    (35.0, 48.7)
    """

    measures: Measures

    def __repr__(self) -> str:
        from gougeform.quantity import DEG, MM, shown

        grinds = len(self.gouge.recipe.grinds)
        wing = shown(self.measures.edge.wing_length(1), MM)
        nose = shown(self.measures.nose_angle, DEG)
        return f"<GroundTool nose {nose}, wing {wing}, {grinds} grind{'s' if grinds > 1 else ''}>"

    def __getitem__(self, name: str) -> float | None:
        """Any measured number by its flat name, `cheek_past_edge_mm.10`. Raises KeyError for one that is none."""
        from gougeform.measure.quantities import COLUMNS

        return COLUMNS[name].value(self.measures)

    @property
    def gouge(self) -> Gouge:
        """The surfaces themselves: what the measures are taken from."""
        return self.measures.gouge

    @property
    def result(self) -> dict[str, Any]:
        """The JSON object of `gougeform grind --json`: plain numbers, units in their names."""
        from gougeform.measure.measures import result

        return result(self.measures, [])

    @property
    def edge(self) -> pandas.DataFrame:
        """The whole edge from left lip to right lip, a row a station."""
        from gougeform.study.front import edge_frame

        return edge_frame(self.measures)

    def mesh(self, tolerance_mm: float = 0.01) -> Mesh:
        """Make the closed mesh of the whole tool, its facets within the tolerance. Raises InputError.

        >>> import gougeform as gf
        >>> mesh = gf.load("finial-round-10-fingernail-foot").grind().mesh(0.05)
        >>> mesh.to_trimesh().is_watertight
        True
        """
        from gougeform.mesh.solid import build_solid

        return Mesh(build_solid(self.gouge, tolerance_mm))


@dataclass(frozen=True, eq=False)
class Mesh:
    """A closed mesh of the tool in mm, for the library of your choice."""

    solid: Solid

    def __repr__(self) -> str:
        return f"<Mesh {len(self.solid.faces)} triangles, within {self.solid.tolerance:.2g} mm>"

    @cached_property
    def volume_mm3(self) -> float:
        """Volume of the whole tool."""
        return self.solid.volume

    def to_trimesh(self) -> trimesh.Trimesh:
        """Make a trimesh; its units say millimetres."""
        import trimesh

        made = trimesh.Trimesh(self.solid.vertices, self.solid.faces, process=False)
        made.units = "mm"
        return made

    def to_meshio(self) -> meshio.Mesh:
        """Make a meshio mesh with the surfaces as cell data and the edge angles as point data."""
        from gougeform.mesh.files import with_data

        return with_data(self.solid)

    def to_pyvista(self) -> pyvista.PolyData:
        """Make a pyvista mesh; `surface` of a face is an index into `surface_names` of the field data."""
        import numpy as np
        import pyvista

        faces = np.column_stack([np.full(len(self.solid.faces), 3), self.solid.faces])
        made = pyvista.PolyData(self.solid.vertices, faces)
        made.cell_data["surface"] = self.solid.surface
        made.point_data["wedge_deg"] = self.solid.wedge_deg
        made.field_data["surface_names"] = np.array(self.solid.names)
        return made

    def export(self, path: str | Path) -> None:
        """Write STL, 3MF or VTU by the ending of the name, whole or not at all. Raises InputError."""
        from gougeform.mesh.files import write_mesh

        write_mesh(self.solid, path)


def load(name_or_path: str | Path) -> Tool:
    """Load a tool: a recipe of the library by its name, or a file of your own. Raises InputError.

    >>> import gougeform as gf
    >>> gf.load("no-such-tool")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    gougeform.errors.InputError: given "no-such-tool", which is not in the library...
    """
    return Tool(read(name_or_path))


def solution(answer: Answer) -> Tool:
    """Take the tool out of an answer that found settings. Raises InputError where it found none."""
    if answer.recipe is None:
        raise InputError("", "the answer has no tool in it", "ask for settings, a transfer or a match")
    return Tool(answer.recipe)


def compare(
    tools: Sequence[Tool | str | Path], work: str | Path | Meridian, terms: Terms | None = None, *, workers: int = 1
) -> Answer:
    """Compare tools side by side in one workpiece. Raises InputError."""
    from gougeform.compare.answer import answer

    recipes = [(one if isinstance(one, Tool) else load(one)).recipe for one in tools]
    name = Path(work).stem if isinstance(work, str | Path) else "work"
    return answer(recipes, _work(work), terms, name=name, workers=workers)


def choose(
    works: Sequence[str | Path] | Mapping[str, Meridian],
    bars: Sequence[str] = (),
    *,
    flutes: Sequence[str] = ("detail", "deep"),
    jig: str | dict[str, Any] = "foot-65",
    wheel: str | dict[str, Any] = "wheel-200",
    terms: Terms | None = None,
    tries: int = 240,
    limit: int = 5,
    robust: bool = False,
    folder: str | Path | None = None,
    workers: int = 1,
) -> Answer:
    """Which bar, flute and grind reach this work: a short list, what each wish costs, the smallest set of tools.

    works: names or files, or meridians by name. bars: names of the library, or a CSV list of bar, flute, price; all of
    the library where none is named. robust: those named reach as much with every setting a step of the ruler off.
    folder: where its journal is kept, so that the same question goes on. Raises InputError.
    """
    from gougeform.choose.answer import answer
    from gougeform.choose.question import Choice, stock_of
    from gougeform.reach.result import Terms as Asked

    named = works if isinstance(works, Mapping) else {Path(one).stem: _work(one) for one in works}
    question = Choice(dict(named), stock_of(bars, flutes), jig, wheel, terms or Asked(), tries=tries, robust=robust)
    more: dict[str, Any] = {"limit": limit, "workers": workers, "quiet": True}
    return answer(question, folder=None if folder is None else Path(folder), **more)


def measured(base: Tool | Recipe | str | Path, changes: Mapping[str, Any] | None = None) -> Measures:
    """Measure one tool, with some fields set first: a shorter word for loading, changing and grinding it."""
    recipe = base.recipe if isinstance(base, Tool) else base if isinstance(base, Recipe) else read(base)
    return Tool(changed(recipe, dict(changes)) if changes else recipe).grind().measures


def sweep(base: Tool | Recipe | str | Path, vary: Mapping[Any, Any], *given: Any, **more: Any) -> pandas.DataFrame:
    """Measure every combination of values, a row each: `gougeform.study.front.sweep` says more.

    >>> import gougeform as gf
    >>> table = gf.sweep("finial-round-10-fingernail-foot", {"jig.projection_mm": [60, 70]}, "nose_angle_deg")
    >>> list(table.columns)
    ['jig.projection_mm', 'nose_angle_deg', 'status', 'reason']
    """
    from gougeform.study.front import sweep as many

    return many(base.recipe if isinstance(base, Tool) else base, vary, *given, **more)


def _work(work: str | Path | Meridian) -> Meridian:
    from gougeform.work.files import load_work

    return load_work(str(work)) if isinstance(work, str | Path) else work


def _plain(parts: Mapping[str, Any]) -> dict[str, Any]:
    """The table of a recipe from parts that may be objects, tables or names."""

    def one(value: Any) -> Any:
        if isinstance(value, Recipe):
            return value.table
        if isinstance(value, Tool):
            return value.recipe.table
        return value.plain() if hasattr(value, "plain") else value

    return {
        name: [one(each) for each in value] if isinstance(value, list | tuple) else one(value)
        for name, value in parts.items()
    }
