"""A fair fight: tools brought to the same edge, flute, width, stiffness or mass before they are compared.

What may change is what a buyer can choose: the size of the bar, the web, the opening of the flute. The first tool stays
as it is and is what the others are brought to. Lengths mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from gougeform.bar.outline import Outline
from gougeform.bar.section import Section, build_section
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.quantity import shown, unit_of
from gougeform.recipe.model import Recipe
from gougeform.stiffness.beam import beam_of
from gougeform.stiffness.properties import fluted as steel_of

NOTHING = "nothing"
_FLUTE = ("edge", "flute")
_SIZE = ("width", "stiffness", "mass")
EQUALS = (*_FLUTE, *_SIZE, NOTHING)
"""What tools can be made equal in. The first two decide the flute, the next three the size of the bar."""
_LEAST, _MOST, _TRIED = 0.4, 2.5, 43  # of the bar's size as given
_FITS = 1e-9


@dataclass(frozen=True)
class Fair:
    """A tool as it is compared. changed: what of it was changed, in words; why: what could not be made equal."""

    recipe: Recipe
    changed: str = ""
    why: str = ""


def fair(recipes: Sequence[Recipe], equal: Sequence[str], overhang: float) -> list[Fair]:
    """Every tool brought to the first one in what is named; overhang: mm from edge to rest, for the stiffness.

    Raises InputError for names that are none or contradict each other.
    """
    wanted = _checked(equal)
    if not wanted:
        return [Fair(recipe) for recipe in recipes]
    first, *others = recipes
    return [Fair(first), *(_brought(one, first, wanted, overhang) for one in others)]


def usual(recipes: Sequence[Recipe]) -> tuple[str, ...]:
    """What is made equal where nobody says: the edge of bars that differ in their section alone; else nothing."""

    def beside(recipe: Recipe) -> tuple[object, ...]:
        return recipe.wheel, recipe.grinds, type(recipe.flute)

    first, *others = recipes
    alike = all(beside(one) == beside(first) for one in others)
    return ("edge",) if alike and any(type(one.bar) is not type(first.bar) for one in others) else ()


def _checked(equal: Sequence[str]) -> tuple[str, ...]:
    for word in equal:
        if word not in EQUALS:
            raise InputError("equal", f"given {word[:30]!r}, allowed are {', '.join(EQUALS)}", "write one of them")
    for group, what in ((_FLUTE, "the flute"), (_SIZE, "the size of the bar")):
        both = [word for word in group if word in equal]
        if len(both) > 1:
            raise InputError("equal", f"{' and '.join(both)} both decide {what}", f"keep one of {', '.join(both)}")
    if NOTHING in equal and len(equal) > 1:
        raise InputError("equal", "nothing is given together with something", "leave one of them out")
    return tuple(word for word in equal if word != NOTHING)


def _brought(one: Recipe, first: Recipe, wanted: Sequence[str], overhang: float) -> Fair:
    goal = build_section(first.bar, first.flute)

    def fluted(recipe: Recipe) -> Recipe:
        if "edge" in wanted:
            return _same_edge(recipe, goal)
        return recipe.with_(flute=first.flute) if "flute" in wanted else recipe

    size = next((word for word in _SIZE if word in wanted), "")
    try:
        made = fluted(one) if not size else _sized(one, size, _measure(first, size, overhang), fluted, overhang)
        measure(shape(made))  # what cannot be ground is no tool to compare
    except InputError as error:
        return Fair(one, why=f"{one.name or one.title} cannot be made equal in {' and '.join(wanted)}: {error.problem}")
    return Fair(made, _told(one, made))


def _same_edge(recipe: Recipe, goal: Section) -> Recipe:
    """The recipe with lips as far apart as another section's, and its floor as far below them.

    So the edge, which lies on the flute, is the same seen from above and from the side. Raises InputError where its bar
    or its kind of flute has no such flute.
    """
    half = float(goal.lip(1)[0])
    depth = float(goal.lip(1)[1]) - goal.y_floor
    outline = recipe.bar.build()
    web = _height_at(outline, half) - depth - outline.on_middle_plane(below=True)
    kind = type(recipe.flute)
    if not kind.by_width:
        raise InputError("flute", "a measured flute is what it is: it has no opening to choose", "another flute")
    if not web > 0:
        raise InputError("flute", f"on this bar no flute is left {2 * half:.2f} mm wide with its floor there", "a size")
    fields = kind.through(2 * half, depth, recipe.flute.chosen_floor_mm) | {"web_mm": web}
    return recipe.with_(flute=recipe.flute.model_copy(update=fields))


def _height_at(outline: Outline, x: float) -> float:
    """The y of the outline's upper right side at x. Raises InputError where it does not reach so far."""
    from scipy.optimize import brentq

    v = np.linspace(outline.count, outline.count / 2, 2001)
    across = outline.point(v)[:, 0]
    k = int((across >= x).argmax())
    if across[k] < x:
        raise InputError("bar", f"it is not {2 * x:.2f} mm wide, which the lips of the other one are", "a larger bar")
    place = brentq(lambda at: float(outline.point(np.array([at]))[0, 0]) - x, v[k], v[max(k - 1, 0)], xtol=1e-13)
    return float(outline.point(np.array([place]))[0, 1])


def _measure(recipe: Recipe, size: str, overhang: float) -> float:
    """Width across (mm), bending stiffness over the rest (N/mm, the softer way) or mass of a metre (mg/mm)."""
    section = build_section(recipe.bar, recipe.flute)
    if size == "width":
        return section.outline.support((1.0, 0.0)) + section.outline.support((-1.0, 0.0))
    if size == "mass":
        return float(steel_of(section).area * recipe.bar.steel.density_g_cm3)
    return 1 / float(np.linalg.eigvalsh(beam_of(recipe, section).give(overhang))[-1])


def _sized(one: Recipe, size: str, goal: float, fluted: Callable[[Recipe], Recipe], overhang: float) -> Recipe:
    """The recipe with its bar made larger or smaller until it measures `goal`. Raises InputError where none does."""
    from scipy.optimize import brentq

    def made(share: float) -> Recipe:
        return fluted(one.with_(bar=one.bar.scaled(share)))

    def off(share: float) -> float:
        return _measure(made(share), size, overhang) / goal - 1

    shares, values = [], []
    for share in np.geomspace(_LEAST, _MOST, _TRIED):
        try:
            values.append(off(float(share)))
        except InputError:
            continue
        shares.append(float(share))
    signs = np.flatnonzero(np.diff(np.sign(values)))
    if not len(signs):
        raise InputError("equal", f"no size of its bar from {_LEAST:g} to {_MOST:g} times as large gives it", "another")
    nearest = min(signs, key=lambda k: abs(np.log(shares[k])))
    share = float(brentq(off, shares[nearest], shares[nearest + 1], xtol=1e-12, rtol=1e-12))
    return made(1.0 if abs(share - 1) < _FITS else share)


def _told(before: Recipe, after: Recipe) -> str:
    """What changed, in words."""
    parts = []
    for was, is_ in ((before.bar, after.bar), (before.flute, after.flute)):
        old, labels = was.plain(), type(is_).quantities()
        for name, value in is_.plain().items():
            if isinstance(value, float) and abs(value - old.get(name, np.inf)) > _FITS:
                unit = unit_of(name)
                parts.append(f"{labels[name].label} {shown(old.get(name), unit)} to {shown(value, unit)}")
    return f"{after.name or after.title}: {', '.join(parts)}" if parts else ""
