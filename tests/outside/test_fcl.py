"""A mesh collision library (python-fcl, a test extra): the same tool and wood as triangles, the same postures.

Its precision here is that of the triangles: the wood's facets lie up to 1.5e-3 mm inside the surface, and our own
search for the least distance stops at FINEST_MM.
"""

from dataclasses import replace
from time import process_time

import numpy as np
import pytest

from conftest import grind_tool
from gougeform.reach.body import build_body
from gougeform.reach.contact import FINEST_MM, Contact
from gougeform.reach.gap import least
from gougeform.reach.posture import Postures, placed, places_at
from gougeform.work.distance import Wood
from gougeform.work.files import load_work

fcl = pytest.importorskip("fcl", reason="python-fcl is a test extra")

SOURCE = "python-fcl, mesh distances"
FACETS_MM = 1.5e-3


def turned(meridian, around=300, inset=0.0):
    """Vertices and triangles of the solid of revolution, facets within FACETS_MM of it; made smaller by `inset` mm."""
    outline = meridian.outline_points(60)
    if inset:
        from shapely import Polygon, box

        both = Polygon(np.concatenate([outline, outline[::-1] * [1, -1]])).buffer(0)
        half = both.buffer(-inset, join_style="mitre").intersection(box(-1e3, 0, 1e3, 1e3))
        ring = np.array(half.exterior.coords[:-1])
        ring = ring[::-1] if half.exterior.is_ccw else ring
        on_axis = np.flatnonzero(ring[:, 1] < 1e-9)
        outline = np.roll(ring, -on_axis[ring[on_axis, 0].argmin()], 0)
    outline[:, 1] = np.maximum(outline[:, 1], 0.0)
    phi = np.linspace(0, 2 * np.pi, around, endpoint=False)
    points = np.stack(
        [
            np.repeat(outline[:, 0], around),
            np.outer(outline[:, 1], np.cos(phi)).ravel(),
            np.outer(outline[:, 1], np.sin(phi)).ravel(),
        ],
        -1,
    )
    i, j = (a.ravel() for a in np.meshgrid(np.arange(len(outline) - 1), np.arange(around), indexing="ij"))
    k = (j + 1) % around
    a, b, c, d = i * around + j, i * around + k, (i + 1) * around + k, (i + 1) * around + j
    return points, np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)])


def model(points, faces):
    made = fcl.BVHModel()
    made.beginModel(len(points), len(faces))
    made.addSubModel(np.ascontiguousarray(points), np.ascontiguousarray(faces))
    made.endModel()
    return made


@pytest.fixture(scope="module")
def setting():
    """A tool and the finial, with 200 random postures, half of them near their clear angle."""
    rng = np.random.default_rng(20261124)
    body = build_body(grind_tool("foot-relief"))
    meridian = load_work("finial")
    places = places_at(meridian, *meridian.places(40))
    contact = Contact(body, Wood(meridian), places)
    n = 200
    postures = Postures(
        rng.integers(0, len(places), n),
        rng.uniform(-0.85, 0.85, n) * body.ends[1],
        rng.uniform(-1.2, 1.2, n),
        rng.uniform(0, 0.5, n),
    )
    clear = contact.smallest(postures.at(np.zeros(n)), 1.0).alpha
    near = np.isfinite(clear) & (np.arange(n) % 2 == 0)
    moved = np.maximum(clear + rng.uniform(-0.02, 0.05, n), 0.0)
    quads = 4 * np.arange(len(body.part))[:, None]
    tool = model(
        body.corners.reshape(-1, 3), np.concatenate([quads + np.array([0, 1, 2]), quads + np.array([0, 2, 3])])
    )
    return contact, postures.at(np.where(near, moved, postures.alpha)), tool


def things(contact, postures, tool):
    """The tool in every posture. Placed coordinates are left-handed with the third axis along the wood's way."""
    mirror = np.diag([1.0, 1.0, -1.0])
    turn, shift = placed(contact.body, contact.places, postures)
    return [fcl.CollisionObject(tool, fcl.Transform(mirror @ t, mirror @ s)) for t, s in zip(turn, shift, strict=True)]


def touching(thing, wood):
    return fcl.collide(thing, wood, fcl.CollisionRequest(), fcl.CollisionResult()) > 0


def test_distances_agree(setting, agree):
    """The edge of a posture always lies on the wood, so the tools are also lifted off it by a little."""
    contact, postures, tool = setting
    wood = fcl.CollisionObject(model(*turned(contact.wood.meridian)))
    # Of a patch that is not flat fcl has one of the two ways to split it into triangles, we what lies between.
    corners = contact.body.corners
    across = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12)
    twist = np.abs((np.einsum("ncj,c->nj", corners, [1, -1, 1, -1]) * across).sum(1))
    slack = FACETS_MM + FINEST_MM + twist.max() / 2
    assert slack < 0.01
    apart = hits = 0
    for lift in (0.0, 0.05, 0.5):
        places = contact.places
        lifted = replace(contact, places=replace(places, point=places.point + lift * places.normal))
        ours = least(lifted, postures)
        for i, thing in enumerate(things(lifted, postures, tool)):
            if touching(thing, wood):
                assert ours[i] <= slack, (lift, i)
                hits += 1
            else:
                distance = fcl.distance(thing, wood, fcl.DistanceRequest(), fcl.DistanceResult())
                agree("smallest distance of tool and wood, 200 postures, three lifts", ours[i], distance, slack, "mm")
                apart += 1
    assert apart > 100
    assert hits > 100


def test_the_same_postures_are_clear(setting):
    """Their wood is made smaller by the tolerance. Postures within the facets of it may go either way."""
    contact, postures, tool = setting
    wood = fcl.CollisionObject(model(*turned(contact.wood.meridian, inset=contact.tolerance)))
    ours = contact.clear(postures)
    theirs = ~np.array([touching(thing, wood) for thing in things(contact, postures, tool)])
    close = np.abs(least(contact, postures) + contact.tolerance) < 2 * FACETS_MM + FINEST_MM
    assert (ours == theirs)[~close].all()
    assert 20 < (~close & theirs).sum() < 180


def test_whole_tools_are_proved_clear_quicker(setting):
    """Postures that are clear: every patch of the tool has to be looked at, and one collision does the same."""
    contact, postures, tool = setting
    wood = fcl.CollisionObject(model(*turned(contact.wood.meridian, inset=contact.tolerance)))
    alpha = contact.smallest(postures.at(np.zeros(len(postures))), 1.2).alpha
    clear = postures.at(alpha + 0.01).take(np.isfinite(alpha))
    every = things(contact, clear, tool)
    assert len(clear) > 50
    ours_s = theirs_s = np.inf
    for _ in range(3):
        begin = process_time()
        sure = contact.clear(clear)
        ours_s = min(ours_s, process_time() - begin)
        begin = process_time()
        free = ~np.array([touching(thing, wood) for thing in every])
        theirs_s = min(theirs_s, process_time() - begin)
    assert (sure == free).mean() > 0.98
    assert theirs_s > ours_s, (theirs_s, ours_s)
