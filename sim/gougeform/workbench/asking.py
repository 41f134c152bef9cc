"""The other direction, as jobs of the workbench: settings for a wanted edge, relief, other wheel or jig, regrind.

Each takes `recipe` (a tool's good table) and what is asked, and brings changes that the page applies as turned knobs,
so that what a person sees afterwards is ground and measured like everything else.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from gougeform.errors import InputError
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.recipe.reading import from_table
from gougeform.workbench.incoming import good_recipe, without_files

Tell = Callable[[float, str], None]

_WANTS = ("nose", "wing25", "wing50", "wing75", "wing_length", "land")


def solve(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """Settings that give the wanted edge. `wants`: values by name; `free`: names of settings that may move, or none.

    Answers with solutions (settings, edge, recipe, and the same as a ruler can set them) and, by want, what cannot be
    met. Raises InputError with the want's or setting's name as field.
    """
    from gougeform.settings.bench import bench_of
    from gougeform.settings.problem import Problem
    from gougeform.settings.ruler import both_ways
    from gougeform.settings.solve import solve as solved
    from gougeform.settings.wants import read_frees, read_wants

    recipe = good_recipe(what.get("recipe"))
    wanted = what.get("wants")
    if not isinstance(wanted, dict) or not wanted:
        raise InputError("nose", "nothing is asked for", "type at least a nose angle")
    for name, value in wanted.items():
        if name not in _WANTS:
            raise InputError("wants", f"{str(name)[:20]!r} cannot be asked for", f"allowed are {', '.join(_WANTS)}")
        _plain_number(value, name)
    try:
        wants = read_wants(wanted)
        free = dict.fromkeys(str(name)[:30] for name in what.get("free") or [])
        problem = Problem(recipe, wants, read_frees(bench_of(recipe), free, {}, wants))
        tell(0.1, "solving")
        answer = solved(problem)
        tell(0.7, "measuring what it gives")
        pairs = both_ways(problem, answer)
    except InputError as error:
        raise InputError(error.field.removeprefix("want "), error.problem, error.hint) from error
    return {
        "exact": answer.exact,
        "family": answer.family,
        "unmet": [{"want": one.want.name, "text": str(one)} for one in answer.unmet],
        "solutions": [{"exact": _found(problem, exact), "ruler": _found(problem, ruler)} for exact, ruler in pairs],
    }


def _found(problem: Any, one: Any) -> dict[str, Any]:
    from gougeform.settings.names import NAMES
    from gougeform.settings.ruler import machine

    return {
        "settings": [
            {"name": NAMES[name].words, "value": value, "unit": {"deg": "°"}.get(NAMES[name].unit, NAMES[name].unit)}
            for name, value in one.values.items()
        ],
        "machine": machine(one.bench, one.setting),
        "misses": one.misses(problem.wants),
        "problem": one.problem,
        "recipe": one.recipe.table,
    }


def relief(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """A relief from two of `land_mm`, `move` (mm; a table: deg) and `angle_deg`; brings the third and the recipe.

    Raises InputError.
    """
    from gougeform.settings.answers.relief import chosen
    from gougeform.settings.relief import Middle

    recipe = good_recipe(what.get("recipe"))
    given = {name: what[name] for name in ("land_mm", "move", "angle_deg") if what.get(name) not in (None, "")}
    for name, value in given.items():
        _plain_number(value, name)
    if len(given) != 2:
        raise InputError(
            "land_mm", f"{len(given)} of the three are given, allowed are two: they give the third", "fill in two"
        )
    tell(0.2, "moving the pocket")
    middle = Middle(recipe)
    try:
        found, _ = chosen(middle, given.get("land_mm"), given.get("move"), given.get("angle_deg"))
        made, ruler = middle.made(found), middle.made(middle.on_ruler(found))
    except InputError as error:
        names = {"land": "land_mm", "angle": "angle_deg"}
        raise InputError(names.get(error.field, error.field), error.problem, error.hint) from error
    return {name: _relief(one) for name, one in (("exact", made), ("ruler", ruler))}


def _relief(made: Any) -> dict[str, Any]:
    one = made.relief
    return {
        "land_mm": one.land, "move": one.move, "unit": "°" if one.unit == "deg" else "mm", "angle_deg": one.angle,
        "falls_away_deg": one.turn, "nose_setting_deg": one.nose, "recipe": made.recipe.table,
    }  # fmt: skip


def transfer(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """The same edge on another wheel or jig of the library: `wheel` and `jig` are names, "" for the same.

    Brings the very answer that `gougeform transfer` tells, and the recipe. Raises InputError.
    """
    from gougeform.present.json import page
    from gougeform.settings.answers.transfer import answer

    recipe = good_recipe(what.get("recipe"))
    to = {name: what[name] for name in ("wheel", "jig") if what.get(name)}
    without_files(to)
    if not to:
        raise InputError("wheel", "no other wheel or jig is chosen", "choose one of them")
    tell(0.1, "carrying the edge over")
    try:
        found = answer(recipe, to)
    except InputError as error:
        raise InputError(error.field.removeprefix("to "), error.problem, error.hint) from error
    assert found.recipe is not None
    _measured(found.recipe)
    return {"answer": page(found), "recipe": found.recipe.table}


def regrind(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """What it costs to grind a tool of shape `older` to the shape of `recipe`: mm of nose, steel, land.

    Raises InputError where they are not the same bar and flute.
    """
    new, old = good_recipe(what.get("recipe")), good_recipe(what.get("older"))
    tell(0.2, "measuring the steel between them")
    table = {k: v for k, v in new.table.items() if k != "older"} | {
        "older": {k: v for k, v in old.table.items() if k != "older"}
    }
    measures = _measured(from_table(table))
    whole = _measured(changed(new, {"older": None}))
    cost: dict[str, Any] = measures.table("nose_loss_mm", "steel_removed_mm3", "steel_removed_g")
    return cost | {"from_blank_mm3": whole.steel_removed}


def _measured(recipe: Recipe) -> Any:
    from gougeform.grind.gouge import shape
    from gougeform.measure.measures import measure

    return measure(shape(recipe))


def _plain_number(value: Any, field: str) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise InputError(field, f"given {str(value)[:30]!r}, allowed is a number", "write it like 35 or 47.5")
    return float(value)
