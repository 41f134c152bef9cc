"""Reach along a workpiece of the library, as a job of the workbench, and a tool standing in it at one place.

Places are searched a few at a time, so that the page colours the profile as the answers come.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.read.library import catalogue, is_path

Tell = Callable[[float, Any], None]

PLACES = 28
_AT_ONCE = 4
_DRAWN = 0.35  # fineness of the body that is drawn
_SEEN_MM = 260.0  # of the tool behind the edge


def workpieces() -> list[dict[str, str]]:
    """Names and titles of the library's workpieces."""
    return [{"name": one.name, "title": one.title or one.name} for one in catalogue()["work"] if one.problem is None]


def work_profile(name: Any) -> dict[str, Any]:
    """A workpiece's meridian as a page draws it: the wood's outline (n, 2) mm, x and distance from the axis."""
    meridian = _work(name)
    return {"outline": meridian.outline_points().round(3).tolist(), "title": meridian.title, "ring": meridian.ring}


def reach(what: dict[str, Any], tell: Tell) -> dict[str, Any]:
    """The job: smallest clearance angle at places along `work` for the tool of `recipe`.

    Tells the places as they come. Raises InputError for an unknown workpiece.
    """
    from gougeform.measure.measures import measure
    from gougeform.reach.body import build_body
    from gougeform.reach.contact import Contact
    from gougeform.reach.posture import overhang, places_at
    from gougeform.reach.result import Terms, held_by, part_name, rest_for
    from gougeform.reach.search import search
    from gougeform.work.distance import wood_of
    from gougeform.workbench.incoming import good_recipe

    gouge = shape(good_recipe(what.get("recipe")))
    measure(gouge)
    meridian, terms = _work(what.get("work")), Terms()
    tell(0.02, {"words": "building the tool"})
    body, wood, rest = build_body(gouge), wood_of(meridian), rest_for(meridian, terms)
    every = places_at(meridian, *meridian.places(PLACES))
    rows: list[dict[str, Any]] = []
    for begin in range(0, len(every), _AT_ONCE):
        mine = np.arange(begin, min(begin + _AT_ONCE, len(every)))
        places = every.take(mine)
        contact = Contact(body, wood, places)
        found = search(contact, terms.fineness, hold=held_by(body, rest, terms))
        clear = np.isfinite(found.postures.alpha)
        shown = found.postures.at(np.where(clear, found.postures.alpha, np.radians(terms.fineness.most_deg)))
        over = overhang(body, places, shown, rest)
        parts, _ = contact.stopper(shown)
        new = []
        for i, place in enumerate(mine):
            both = []
            for feed in (0, 1):
                k = 2 * i + feed
                both.append(
                    {
                        "alpha_deg": float(np.degrees(shown.alpha[k])) if clear[k] else None,
                        "stopped_by": part_name(int(parts[k])),
                        "edge_mm": float(shown.edge[k]),
                        "lambda_deg": float(np.degrees(shown.lam[k])),
                        "overhang_mm": float(over[k]) if clear[k] and np.isfinite(over[k]) else None,
                        "stand": [
                            int(every.piece[place]),
                            float(every.share[place]),
                            float(shown.edge[k]),
                            float(shown.lam[k]),
                            float(shown.alpha[k]),
                        ],
                    }
                )
            x, rho = every.point[place]
            new.append({"x_mm": float(x), "rho_mm": float(rho), "feeds": both})
        rows += new
        tell(min(0.99, 0.05 + 0.95 * (begin + len(mine)) / len(every)), {"places": new, "count": len(every)})
    return {"count": len(rows), "limit_deg": terms.limit_deg}


def standing(recipe_key: str, recipe: Any, work: Any, stand: Any) -> dict[str, Any]:
    """The tool as it stands at a place: patches (n, 8) mm, x and distance from the lathe's axis of four corners each.

    Every tool point is turned about the lathe's axis into that half plane, so what overlaps the wood there cuts it.
    Raises InputError.
    """
    from gougeform.reach.posture import Postures, placed, places_at

    piece, share, edge, lam, alpha = _stand(stand)
    meridian = _work(work)
    body = _drawn_body(recipe_key, lambda: recipe)
    if not (0 <= piece < meridian.count and body.ends[0] <= edge <= body.ends[1]):
        raise InputError("stand", "is not a place of this workpiece and tool", "work the reach out again")
    places = places_at(meridian, np.array([piece]), np.array([share]))
    turn, shift = placed(body, places, Postures(np.array([0]), np.array([edge]), np.array([lam]), np.array([alpha])))
    corners = body.corners[body.corners[:, :, 2].max(1) > -_SEEN_MM]
    at = corners @ turn[0].T + shift[0]
    flat = np.stack([at[..., 0], np.hypot(at[..., 1], at[..., 2])], -1)
    return {"patches": flat.round(2).reshape(len(flat), -1).tolist(), "at": places.point[0].tolist()}


class _Bodies:
    """The bodies drawn last."""

    def __init__(self) -> None:
        self.kept: dict[str, Any] = {}


_BODIES = _Bodies()
_MOST_BODIES = 4


def _drawn_body(key: str, recipe: Callable[[], Any]) -> Any:
    from gougeform.reach.body import build_body

    found = _BODIES.kept.get(key)
    if found is None:
        found = build_body(shape(recipe()), fineness=_DRAWN)
        _BODIES.kept[key] = found
        while len(_BODIES.kept) > _MOST_BODIES:
            _BODIES.kept.pop(next(iter(_BODIES.kept)))
    return found


@lru_cache(maxsize=8)
def _loaded(name: str) -> Any:
    from gougeform.work.files import load_work

    return load_work(name)


def _work(name: Any) -> Any:
    if not isinstance(name, str) or not name or is_path(name):
        raise InputError("work", "is not a name of the library", "choose one of the list")
    return _loaded(name)


def _stand(value: Any) -> tuple[int, float, float, float, float]:
    good = (
        isinstance(value, list)
        and len(value) == 5
        and all(isinstance(v, int | float) and not isinstance(v, bool) and abs(v) < 1e6 for v in value)
    )
    if not good:
        raise InputError("stand", "is not a posture", "work the reach out again")
    return int(value[0]), float(value[1]), float(value[2]), float(value[3]), float(value[4])
