"""Distances to turned workpieces: worked values, and an exact boundary-representation kernel (Open CASCADE, a test
extra).

The worked meridian: derived, the kernel agrees. Skew cylinders: derived. The library's workpieces, lines and arcs,
are revolved in the kernel and measured from random points.
"""

import numpy as np
import pytest

from brep import arc_edge, boundary_gap, flat, line_edge, revolved, volume
from dense import of_points
from gougeform.work.distance import Wood
from gougeform.work.files import from_table, load_work

pytest.importorskip("OCP", reason="cadquery-ocp is a test extra")

SOURCE = "worked meridian, skew cylinders · derived"
KERNEL = "Open CASCADE, exact B-rep"


def work(*points):
    start, *rest = [list(map(float, p)) for p in points]
    return from_table({"start_mm": start, "piece": [{"shape": "line", "to_mm": p} for p in rest]})


def test_points_near_a_turned_body(agree):
    """Meridian (0,0) (30,0) (40,20) (20,50) (0,50) as (rho, z); derived, an exact kernel agrees."""
    wood = Wood(work((0, 30), (20, 40), (50, 20)))
    got = of_points(wood, np.array([[30.0, 50.0, 10.0], [-5.0, 0.0, 60.0]]))
    agree("distance of a point from turned wood, worked values", got, [14.6913970599, 29.0688837075], 1e-9, "mm")
    agree("volume of turned wood, worked value", wood.meridian.volume(), 165457.213089, 1e-6, "mm³")


def test_skew_cylinders(agree):
    """Radii 6 and 10, axes 30 apart and square to each other: 30 - 6 - 10 = 14."""
    wood = Wood(work((-100, 10), (100, 10)))
    phi = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    along = np.linspace(-20, 20, 41)
    phi, along = (a.ravel() for a in np.meshgrid(phi, along))
    points = np.stack([6 * np.cos(phi), 30 + 6 * np.sin(phi), along], -1)
    agree("smallest distance of a round bar from a round spindle", of_points(wood, points).min(), 14.0, 1e-11, "mm")


def brep_of(meridian):
    """The wood as a solid of revolution about x; its meridian lies in the plane z = 0."""
    edges = []
    for a, b, centre, turn in zip(meridian.start, meridian.end, meridian.centre, meridian.turn, strict=True):
        if turn == 0:
            edges.append(line_edge([*a, 0], [*b, 0]))
        else:
            edges.append(arc_edge([*centre, 0], [0, 0, np.sign(turn)], np.hypot(*(a - centre)), [*a, 0], [*b, 0]))
    if not meridian.ring:
        edges.append(line_edge([*meridian.end[-1], 0], [*meridian.start[0], 0]))  # along the lathe's axis
    return revolved(flat(edges), [0, 0, 0], [1, 0, 0])


@pytest.mark.parametrize("name", ["finial", "coves", "baluster", "urn", "bore", "egg-cup"])
def test_the_librarys_workpieces(agree, name):
    """Signed distances of points in and around the wood: the kernel's, unsigned, against ours."""
    meridian = load_work(name)
    solid = brep_of(meridian)
    random = np.random.default_rng(5)
    low, high = meridian.box
    reach = high[1] + 8
    points = random.uniform([low[0] - 8, -reach, -reach], [high[0] + 8, reach, reach], (12, 3))
    ours = np.abs(of_points(Wood(meridian), points))
    theirs = [boundary_gap(solid, point) for point in points]
    agree("distance of points from the library's workpieces", ours, theirs, 1e-11, "mm", source=KERNEL)
    theirs = volume(solid)
    agree("volume of the library's workpieces", meridian.volume(), theirs, 1e-7, "1", relative=True, source=KERNEL)


@pytest.mark.parametrize("name", ["finial", "coves", "baluster", "urn", "bore", "egg-cup"])
def test_around_the_corners_of_the_meridian(agree, name):
    """Thousands of points about the places where pieces meet, against the same meridian as straight lines in shapely.

    Each arc is 300 lines, which leaves up to 1e-4 mm of it out.
    """
    from shapely import LineString, distance, points

    meridian = load_work(name)
    random = np.random.default_rng(8)
    lines = LineString(meridian.outline_points(300))
    both = lines.union(LineString(np.array(lines.coords) * [1, -1]))  # the other half of the same plane
    near = random.choice(meridian.start, 3000) + random.normal(0, 2.5, (3000, 2))
    near[:, 1] = np.abs(near[:, 1])
    ours = np.abs(Wood(meridian).distance(near[:, 0], near[:, 1]))
    far = distance(points(near), both)
    agree("distance of points about the corners of workpieces", ours, far, 2e-4, "mm", source="shapely, lines")
