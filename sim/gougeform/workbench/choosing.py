"""Which tool for this work, as a job of the workbench: the short list on the jig and wheel that stand on the bench."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from gougeform.errors import InputError
from gougeform.machine.jig import DISTANCES
from gougeform.workbench.incoming import good_recipe

Tell = Callable[[float, str], None]

TRIES = 120
"""Tools tried: what one process does while a person waits, about half a minute."""


def choose(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """A short list for `works`, names of the library, on `recipe`'s jig and wheel.

    Brings the very answer that `gougeform choose` tells, and the recipes of those named, by their letters. Raises
    InputError.
    """
    from gougeform.choose.answer import answer
    from gougeform.choose.question import Choice, stock_of
    from gougeform.choose.search import Searched
    from gougeform.present.json import page
    from gougeform.read.library import names
    from gougeform.work.files import load_work

    recipe, asked = good_recipe(what.get("recipe")), what.get("works")
    if not isinstance(asked, list) or not asked or not all(isinstance(one, str) for one in asked):
        raise InputError("works", "no workpiece is chosen", "tick one or more")
    for one in asked:
        if one not in names("work"):
            raise InputError("works", f"given {one[:30]!r}, which the library does not have", "choose one of the list")
    first = recipe.grinds[0]
    works = {one: load_work(one) for one in dict.fromkeys(asked)}
    stock = stock_of((), ("detail", "deep"))
    jig = {name: value for name, value in first.jig.plain().items() if name not in DISTANCES}
    choice = Choice(works, stock, jig, first.wheel.plain(), tries=TRIES)

    def progress(done: int, so_far: Searched) -> None:
        best = min(so_far.tools, key=lambda one: (one.missed, one.nose), default=None)
        words = "" if best is None else f", best so far: {best.recipe.title}, misses {best.missed:.1f} mm"
        tell(0.9 * done / TRIES, f"{done} of {TRIES} tools{words}")

    found = answer(choice, quiet=True, keep=False, tell=progress)
    made = [one["recipe"] for one in found.result["short_list"]]
    return {"answer": page(found), "recipes": made}
