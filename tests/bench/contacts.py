"""Reach against a mesh collision library (python-fcl): turning postures down, making sure of them, and a whole tool."""

from __future__ import annotations

import numpy as np

from bench.timing import Row, Times, row, say, timed
from conftest import grind_tool
from gougeform.reach.body import build_body
from gougeform.reach.contact import FINEST_MM, Contact
from gougeform.reach.posture import Postures, places_at
from gougeform.reach.result import PLACES, Terms, reach
from gougeform.reach.search import SEARCH_ERROR_DEG, USABLE_WING, USUAL, Fineness
from gougeform.work.distance import Wood
from gougeform.work.files import load_work

ROUGH = Fineness(boxes=50, enough_deg=25.0)
EDGES, INCLINATIONS, ANGLES = 17, 17, 7  # a plain grid: 10° of inclination, 5° of clearance angle
"""A search that shows no more than that it runs."""


def against_fcl(postures: int, places: int, quick: bool) -> list[Row]:
    """Rows of three groups; nothing where python-fcl is not installed, which is said."""
    try:
        import fcl
    except ImportError:
        say("python-fcl is not installed: no rows for contact")
        return []
    from outside.test_fcl import FACETS_MM, model, things, touching, turned

    say("python-fcl")
    gouge, meridian = grind_tool("foot-relief"), load_work("finial")
    body = build_body(gouge)
    spots = places_at(meridian, *meridian.places(places))
    contact = Contact(body, Wood(meridian), spots)
    quads = 4 * np.arange(len(body.part))[:, None]
    faces = np.concatenate([quads + np.array([0, 1, 2]), quads + np.array([0, 2, 3])])
    tool = model(body.corners.reshape(-1, 3), faces)
    turned_wood = turned(meridian, around=40 if quick else 300, inset=contact.tolerance)
    wood = fcl.CollisionObject(model(*turned_wood))
    size = f"{len(faces):,} against {len(turned_wood[1]):,} triangles"

    # Postures of a plain grid; few of them are clear.
    rng = np.random.default_rng(7)
    edges = USABLE_WING * np.linspace(*body.ends, EDGES)
    laid = Postures(
        rng.integers(0, len(spots), postures),
        rng.choice(edges, postures),
        rng.uniform(-1.2, 1.2, postures),
        np.zeros(postures),
    )
    bound, ours = timed(lambda: contact.smallest(laid, 1e-9).alpha, 2 if quick else 5)
    every = things(contact, laid, tool)
    hits, theirs = timed(lambda: np.array([touching(thing, wood) for thing in every]), 1 if quick else 3)
    assert quick or hits[~np.isfinite(bound)].all()
    down, found = (~np.isfinite(bound)).sum(), hits.sum()
    note = f"{down:,} of the {found:,} that touch turned down at once"
    rows = [
        row("contact, turn down", "ours", f"{postures:,} postures", ours, error=FINEST_MM, note=note),
        row("contact, turn down", "python-fcl", size, theirs, error=FACETS_MM),
    ]

    # Postures that are clear: every patch of the tool must be looked at.
    some = laid.take(np.arange(min(postures, 40 if quick else 400)))
    least = contact.smallest(some, 1.2).alpha
    clear = some.at(least + 0.01).take(np.isfinite(least))
    sure, ours = timed(lambda: contact.clear(clear), 1 if quick else 3)
    every = things(contact, clear, tool)
    free, theirs = timed(lambda: ~np.array([touching(thing, wood) for thing in every]), 1 if quick else 3)
    agree = f"the two agree on {100 * (sure == free).mean():.1f} %"
    rows += [
        row("contact, make sure", "ours", f"{len(clear):,} postures", ours, error=FINEST_MM, note=agree),
        row("contact, make sure", "python-fcl", size, theirs, error=FACETS_MM),
    ]
    return rows + _whole_tool(
        gouge, meridian, Terms(places=places, fineness=ROUGH if quick else USUAL), rows[1], postures
    )


def _whole_tool(gouge, meridian, terms: Terms, one: Row, postures: int) -> list[Row]:
    """The whole search, best posture of every place and feed, against one collision a posture of its first grid."""
    found, ours = timed(lambda: reach(gouge, meridian, terms), 1, warm=False)
    grid = len(found.places) * EDGES * INCLINATIONS * ANGLES
    times = Times(one.cpu_s * grid / postures, one.clock_s * grid / postures, 1)
    what = f"{len(found.places)} places, both feeds; {PLACES} is the default"
    return [
        row("reach, a whole tool", "ours", what, ours, error=SEARCH_ERROR_DEG, unit="deg", note="tested; mm as above"),
        row(
            "reach, a whole tool",
            "python-fcl, one collision a posture",
            f"{grid:,} postures of a plain grid",
            times,
            error=5.0,
            unit="deg",
            extrapolated=True,
            note=f"time of {postures:,} postures scaled",
        ),
    ]
