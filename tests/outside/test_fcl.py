"""A mesh collision library (python-fcl, a test extra): the same tool and wood as triangles, the same postures.

Its precision here is that of the triangles: the wood's facets lie up to 1.5e-3 mm inside the surface, and our own search
for the least distance stops at 0.01 mm.
"""

from time import process_time

import numpy as np
import pytest

from conftest import grind_tool
from gougeform.reach.body import build_body
from gougeform.reach.contact import FINEST_MM, Contact
from gougeform.reach.posture import Postures, placed, places_at
from gougeform.work.distance import Wood
from gougeform.work.files import load_work

fcl = pytest.importorskip("fcl", reason="python-fcl is a test extra")

FACETS_MM = 1.5e-3


def turned(meridian, around=300):
    """Vertices and triangles of the solid of revolution, facets within FACETS_MM of it."""
    outline = meridian.outline_points(60)
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
def standing():
    """200 random postures of one tool along the finial, half of them near the clear angle."""
    rng = np.random.default_rng(20261124)
    body = build_body(grind_tool("foot-relief"))
    meridian = load_work("finial")
    places = places_at(meridian, *meridian.places(40))
    contact = Contact(body, Wood(meridian), places)
    n = 200
    postures = Postures(
        rng.integers(0, len(places), n), rng.integers(30, 371, n), rng.uniform(-1.2, 1.2, n), rng.uniform(0, 0.5, n)
    )
    clear = contact.smallest(postures.at(np.zeros(n)), 1.0).alpha
    near = np.isfinite(clear) & (np.arange(n) % 2 == 0)
    return contact, postures.at(np.where(near, clear + rng.uniform(-0.02, 0.05, n).clip(-clear), postures.alpha))


def test_distances_agree_and_are_twenty_times_quicker(standing):
    contact, postures = standing
    body = contact.body
    quads = 4 * np.arange(len(body.part))[:, None]
    tool = model(
        body.corners.reshape(-1, 3), np.concatenate([quads + [0, 1, 2], quads + [0, 2, 3]])
    )
    wood = fcl.CollisionObject(model(*turned(contact.wood.meridian)))
    contact.least(postures.take(np.arange(2)))  # tables are made once for a workpiece
    begin = process_time()
    ours = contact.least(postures)
    our_time = process_time() - begin
    turn, shift = placed(body, contact.places, postures)
    their_time, checked = 0.0, 0
    # Placed coordinates are left-handed with the third axis along the wood's way; the wood is symmetric in it.
    mirror = np.diag([1.0, 1.0, -1.0])
    mirrored = model(body.corners.reshape(-1, 3) * [1, 1, 1], np.concatenate([quads + [0, 1, 2], quads + [0, 2, 3]]))
    del mirrored
    for i in range(len(postures)):
        rotation = mirror @ turn[i]
        assert np.linalg.det(rotation) == pytest.approx(1)
        thing = fcl.CollisionObject(tool, fcl.Transform(rotation, mirror @ shift[i]))
        begin = process_time()
        touching = fcl.collide(thing, wood, fcl.CollisionRequest(), fcl.CollisionResult()) > 0
        if not touching:
            distance = fcl.distance(thing, wood, fcl.DistanceRequest(), fcl.DistanceResult())
        their_time += process_time() - begin
        slack = FACETS_MM + FINEST_MM + 1e-6
        if touching:
            assert ours[i] <= slack, i
        else:
            # A tool wholly inside the wood would not touch its skin; the edge of ours is always on it.
            assert ours[i] == pytest.approx(distance, abs=slack), i
            checked += 1
    print(f"ours {our_time:.3f} s, theirs {their_time:.3f} s, {their_time / our_time:.0f} times; {checked} apart")
    assert their_time > 20 * our_time
