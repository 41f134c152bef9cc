"""The other direction, as jobs of the workbench: settings for a wanted edge, relief, other wheel or jig, regrind.

Each takes `recipe` (a tool's good table) and what is asked, and brings changes that the page applies as turned knobs,
so that what a person sees afterwards is ground and measured like everything else.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from gougeform.errors import InputError
from gougeform.measure.edge import WING_PER_CENT
from gougeform.recipe.change import changed
from gougeform.recipe.model import Recipe
from gougeform.settings.wants import Want
from gougeform.workbench.incoming import good_recipe, without_files

if TYPE_CHECKING:
    from gougeform.part import Table
    from gougeform.settings.ruler import Confirmed

Tell = Callable[[float, str], None]

WANTS = tuple(
    Want(name, 0.0) for name in ("nose", *(f"wing{per_cent}" for per_cent in WING_PER_CENT[:-1]), "wing_length")
)
"""What the page asks for, in the order of its fields."""
_NAMES = (*(one.name for one in WANTS), "land")
_LARGEST = 1e300


def solve(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """Settings that give the wanted edge. `wants`: values by name; `free`: names of settings that may move, or none.

    Brings the very answer that `gougeform settings` tells, by want what cannot be met, and for each solution the recipe
    by the ruler and exactly, None where it cannot be used. Raises InputError naming the want or setting as its field.
    """
    from gougeform.present.json import page
    from gougeform.settings.answers.solve import asked, told
    from gougeform.settings.ruler import settle

    recipe = good_recipe(what.get("recipe"))
    wanted = what.get("wants")
    if not isinstance(wanted, dict) or not wanted:
        raise InputError("nose", "nothing is asked for", "type at least a nose angle")
    for name, value in wanted.items():
        if name not in _NAMES:
            raise InputError("wants", f"{str(name)[:20]!r} cannot be asked for", f"allowed are {', '.join(_NAMES)}")
        _plain_number(value, name)
    try:
        problem = asked(recipe, wanted, dict.fromkeys(str(name)[:30] for name in what.get("free") or []))
        tell(0.1, "solving and measuring")
        found = settle(problem)
    except InputError as error:
        raise InputError(error.field.removeprefix("want "), error.problem, error.hint) from error
    return {
        "answer": page(told(found)),
        "unmet": [{"want": one.want.name, "text": str(one)} for one in found.solved.unmet],
        "solutions": [{"exact": _usable(exact), "ruler": _usable(ruler)} for exact, ruler in found.pairs],
    }


def _usable(one: Confirmed) -> Table | None:
    return None if one.problem else one.recipe.table


def relief(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """A relief from two of `land_mm`, `move` (mm; a table: deg) and `angle_deg`.

    Brings the very answer that `gougeform relief` tells, and the recipes by the ruler and exactly. Raises InputError.
    """
    from gougeform.present.json import page
    from gougeform.settings.answers.relief import found_for, told

    recipe = good_recipe(what.get("recipe"))
    given = {name: what[name] for name in ("land_mm", "move", "angle_deg") if what.get(name) not in (None, "")}
    for name, value in given.items():
        _plain_number(value, name)
    if len(given) != 2:
        raise InputError(
            "land_mm", f"{len(given)} of the three are given, allowed are two: they give the third", "fill in two"
        )
    tell(0.2, "moving the pocket")
    try:
        found = found_for(recipe, given.get("land_mm"), given.get("move"), given.get("angle_deg"))
    except InputError as error:
        names = {"land": "land_mm", "angle": "angle_deg"}
        raise InputError(names.get(error.field, error.field), error.problem, error.hint) from error
    return {"answer": page(told(found)), "ruler": found.ruler.recipe.table, "exact": found.exact.recipe.table}


def transfer(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """The same edge on another wheel or jig of the library: `wheel` and `jig` are names, "" for the same.

    Brings the very answer that `gougeform transfer` tells, and the recipe. Raises InputError.
    """
    from gougeform.present.json import page
    from gougeform.settings.answers.transfer import answer

    recipe = good_recipe(what.get("recipe"))
    to = {name: what[name] for name in ("wheel", "jig") if what.get(name)}
    for name, value in to.items():
        if not isinstance(value, str):
            raise InputError(name, f"given {str(value)[:30]!r}, allowed is a name of the library", "choose one of them")
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
    """What it costs to grind the tool of recipe `older` as `recipe` says, in which order, and at each sharpening after.

    Brings the very answer that `gougeform match` with its regrind tells. Raises InputError.
    """
    from gougeform.present.json import page
    from gougeform.settings.answers.match import regrind as answer

    new, old = good_recipe(what.get("recipe")), good_recipe(what.get("older"))
    tell(0.2, "measuring the steel between them")
    return {"answer": page(answer(changed(new, {"older": None}), changed(old, {"older": None})))}


def _measured(recipe: Recipe) -> Any:
    from gougeform.grind.gouge import shape
    from gougeform.measure.measures import measure

    return measure(shape(recipe))


def _plain_number(value: Any, field: str) -> float:
    # A whole number of JSON may have more digits than any float.
    if not isinstance(value, int | float) or isinstance(value, bool) or not abs(value) < _LARGEST:
        raise InputError(field, f"given {str(value)[:30]!r}, allowed is a number", "write it like 35 or 47.5")
    return float(value)
