"""Workpieces: what is read and refused, and distances against brute force."""

from __future__ import annotations

import numpy as np
import pytest

from dense import of_points
from gougeform.errors import InputError
from gougeform.read.library import names
from gougeform.work.distance import Wood
from gougeform.work.files import from_table, load_work

START = {"start_mm": [0.0, 20.0]}


def line(x, rho, **more):
    return {"shape": "line", "to_mm": [x, rho], **more}


def piece(shape, x, rho, **more):
    return {"shape": shape, "to_mm": [x, rho], **more}


@pytest.mark.parametrize("name", names("work"))
def test_library(name):
    meridian = load_work(name)
    assert meridian.title
    assert meridian.volume() > 0
    every = np.arange(meridian.count)
    # Pieces meet end to end; normals are square to tangents and point out of the wood.
    assert np.abs(meridian.start[1:] - meridian.end[:-1]).max() < 1e-9
    middle, normal = meridian.point(every, np.full(len(every), 0.5)), meridian.normal(every, np.full(len(every), 0.5))
    wood = Wood(meridian)
    for off in (0.05, -0.05):
        p = middle + off * normal
        assert wood.distance(p[:, 0], p[:, 1]) == pytest.approx(off, abs=1e-9)


def test_scenario():
    """Coves from 5 to 30 mm radius, a bead pair with a tight joint, a hollow and a bore."""
    radii = load_work("baluster").radius
    assert {5.0, 8.0, 12.0, 20.0, 30.0} <= set(np.round(radii, 9))
    assert set(np.round(load_work("coves").radius, 9)) >= {5.0, 8.0, 12.0, 16.0, 22.0, 30.0}
    cup, bore = load_work("egg-cup"), load_work("bore")
    assert cup.inside.tolist() == [False] * 5 + [True] * 2
    assert bore.inside.tolist() == [False, False, True, False]
    assert bore.volume() == pytest.approx(np.pi * (35**2 - 20**2) * 60)


@pytest.mark.parametrize("name", ["baluster", "egg-cup", "bore", "finial"])
def test_distances_against_every_piece_as_many_points(name):
    meridian = load_work(name)
    wood = Wood(meridian)
    rng = np.random.default_rng(1)
    low, high = meridian.box
    x = rng.uniform(low[0] - 30, high[0] + 30, 400)
    rho = rng.uniform(0, high[1] + 30, 400)
    dense = np.concatenate([meridian.point(np.full(4001, i), np.linspace(0, 1, 4001)) for i in range(meridian.count)])
    brute = np.array([np.hypot(dense[:, 0] - a, dense[:, 1] - b).min() for a, b in zip(x, rho, strict=True)])
    got = wood.distance(x, rho)
    assert np.abs(np.abs(got) - brute).max() < 2e-3
    from shapely import Polygon, contains_xy

    inside = contains_xy(
        Polygon(np.concatenate([dense, dense[::-1] * [1, -1]]) if not meridian.ring else dense), x, rho
    )
    clear = brute > 0.01
    assert ((got < 0) == inside)[clear].all()


@pytest.mark.parametrize("name", ["baluster", "egg-cup", "finial"])
def test_no_patch_dips_deeper_than_said(name):
    """Random flat triangles near the surface: inside, the distance is at most `dip` below that of their corners."""
    wood = Wood(load_work(name))
    rng = np.random.default_rng(2)
    meridian = wood.meridian
    worst = 0.0
    for size in (0.05, 0.2, 0.6, 1.5):
        i = rng.integers(0, meridian.count, 400)
        share = np.where(rng.random(400) < 0.5, rng.random(400), rng.integers(0, 2, 400).astype(float))
        p = meridian.point(i, share) + rng.normal(0, size / 2, (400, 2))
        centre = np.stack([p[:, 0], np.abs(p[:, 1]), np.zeros(400)], -1)
        corners = centre[:, None] + rng.uniform(-size, size, (400, 3, 3)) / 2
        middle = corners.mean(1)
        radius = np.linalg.norm(corners - middle[:, None], axis=2).max(1)
        weight = rng.dirichlet(np.ones(3), 300)
        inner = np.einsum("wc,ncj->nwj", weight, corners)
        at_corners = of_points(wood, corners.reshape(-1, 3)).reshape(-1, 3).min(1)
        least = of_points(wood, inner.reshape(-1, 3)).reshape(400, -1).min(1)
        dip = wood.dip(middle[:, 0], np.hypot(middle[:, 1], middle[:, 2]), radius, at_corners)
        assert (at_corners - least <= dip + 1e-9).all()
        worst = max(worst, float((at_corners - least).max()))
    assert worst > 0.05  # corners of the wood do poke into patches here


@pytest.mark.parametrize("half", [0.05, 0.5, 2.0])
def test_a_chord_across_a_cylinder_dips_by_its_sagitta(half):
    """The circle's sagitta R - sqrt(R² - half²), textbook; the bound is never below it, and little above."""
    wood = Wood(load_work("cylinder"))
    x, radius = np.full(1, wood.meridian.box[:, 0].mean()), 25.0
    across = np.sqrt(radius**2 - half**2)
    assert wood.distance(x, np.full(1, radius)) == pytest.approx(0.0, abs=1e-12)
    dip = wood.dip(x, np.full(1, across), np.full(1, half), np.zeros(1))[0]
    assert radius - across <= dip <= 1.1 * (radius - across)


def test_measured_points_become_arcs(tmp_path):
    """Points on a cove of radius 12 give that cove back, and a sharp corner stays one."""
    phi = np.linspace(np.radians(-140), np.radians(-40), 25)
    cove = np.stack([30 + 12 * np.cos(phi), 32 + 12 * np.sin(phi)], -1)
    points = np.concatenate([[[0, cove[0, 1]]], cove, [[60, cove[-1, 1]]]])
    path = tmp_path / "mine.csv"
    path.write_text("x_mm, rho_mm\n# measured\n" + "\n".join(f"{x:.9f}, {r:.9f}" for x, r in points))
    meridian = load_work(path)
    inner = np.radians(np.linspace(-130, -50, 33))
    wood = Wood(meridian)
    assert np.abs(wood.distance(30 + 12 * np.cos(inner), 32 + 12 * np.sin(inner))).max() < 1e-3
    corner = wood.distance(np.array([cove[0, 0]]), np.array([cove[0, 1] + 0.5]))
    assert corner[0] == pytest.approx(0.5, abs=1e-6)
    semi = tmp_path / "semi.csv"
    semi.write_text("\n".join(f"{x:.9f};{r:.9f}".replace(".", ",") for x, r in points))
    assert load_work(semi).volume() == pytest.approx(meridian.volume(), rel=1e-9)


POINTS = [(0.0, 20.0), (15.0, 22.0), (30.0, 18.0), (60.0, 18.0)]


@pytest.mark.parametrize(
    ("heading", "factor", "swapped"),
    [
        ("x_mm,radius_mm", 1, False),
        ("X_mm, Diameter_MM", 2, False),
        ("x;diameter", 2, False),
        ("diameter mm,x mm", 2, True),
        ("x,rho_mm", 1, False),
    ],
)
def test_the_heading_says_radius_or_diameter(tmp_path, heading, factor, swapped):
    """A turner has callipers and measures diameters; the same wood comes of both."""
    plain, named = tmp_path / "plain.csv", tmp_path / "named.csv"
    plain.write_text("\n".join(f"{x},{r}" for x, r in POINTS))
    mark = ";" if ";" in heading else ","
    rows = [(factor * r, x) if swapped else (x, factor * r) for x, r in POINTS]
    named.write_text(f"# mine\n{heading}\n" + "\n".join(f"{a}{mark}{b}" for a, b in rows))
    assert load_work(named).volume() == pytest.approx(load_work(plain).volume(), rel=1e-12)
    assert load_work(named).box[1, 1] == pytest.approx(load_work(plain).box[1, 1], abs=1e-12)


BAD = [
    ({}, "start_mm", "is missing"),
    ({"start_mm": [0, -1], "piece": [line(1, 1)]}, "start_mm", "given [0, -1]"),
    ({"start_mm": [0, 5, 1], "piece": [line(1, 1)]}, "start_mm", "a pair [x, rho]"),
    ({"start_mm": [0, float("nan")], "piece": [line(1, 1)]}, "start_mm", "a pair [x, rho]"),
    (START, "piece", "is missing"),
    (START | {"piece": []}, "piece", "1 to 500 tables"),
    (START | {"piece": [{"to_mm": [1, 1]}]}, "piece.0.shape", "is missing"),
    (START | {"piece": [piece("bed", 1, 1)]}, "piece.0.shape", 'Did you mean "bead"'),
    (START | {"piece": [{"shape": "line"}]}, "piece.0.to_mm", "is missing"),
    (START | {"piece": [line(1, 1, radius_mm=3)]}, "piece.0.radius_mm", "is not a field of a line"),
    (START | {"piece": [piece("cove", 20, 20)]}, "piece.0.radius_mm", "radius_mm or depth_mm is missing"),
    (START | {"piece": [piece("cove", 20, 20, radius_mm=12, depth_mm=3)]}, "piece.0.depth_mm", "are both given"),
    (START | {"piece": [piece("cove", 20, 20, radius_mm=5)]}, "piece.0.radius_mm", "at least 10 mm"),
    (START | {"piece": [piece("bead", 20, 20, radius_mm=-5)]}, "piece.0.radius_mm", "given -5"),
    (START | {"piece": [line(0, 20)]}, "piece.0.to_mm", "ends where it begins"),
    (START | {"piece": [line(20, 20), line(10, 25)]}, "piece.1", "goes back along the lathe"),
    (START | {"piece": [piece("cove", 30, 20, depth_mm=40)]}, "piece.0", "past the lathe's axis"),
    (START | {"piece": [line(20, 0), line(30, 20)]}, "piece.0", "touches the lathe's axis"),
    (START | {"kind": "ring", "piece": [line(20, 20), line(20, 10)]}, "piece.1", "a ring ends where it starts"),
    (START | {"kind": "bowl", "piece": [line(20, 20)]}, "kind", 'given "bowl"'),
    (START | {"kind": "hollow", "piece": [line(40, 20), line(40, 25), line(20, 10)]}, "piece", "crosses"),
    (
        START | {"piece": [line(40, 20), {"shape": "hollow", "depth_mm": 20, "corner_radius_mm": 30}]},
        "piece.1.corner_radius_mm",
        "at most the rim's",
    ),
    (
        START | {"piece": [{"shape": "hollow", "depth_mm": 20, "corner_radius_mm": 3}, line(1, 1)]},
        "piece.0",
        "nothing can follow",
    ),
    (START | {"kind": "ring", "piece": [line(0, 10), line(40, 10), line(40, 20), line(0, 20)]}, "piece", "left hand"),
    (START | {"pieces": []}, "pieces", "Did you mean piece"),
    ({"points_mm": [[0, 1], [1, 1], [2, -1]]}, "points_mm.2", "rho from 0"),
    ({"points_mm": [[0, 1], [1, 1], [1, 1], [2, 2]]}, "points_mm", "are the same"),
    ({"points_mm": [[0, 9], [9, 9], [5, 10]]}, "points_mm", "goes back"),
    ({"points_mm": [[0, 9], [9, 9], [12, 10]], **START}, "points_mm", "together with"),
]


@pytest.mark.parametrize(("table", "field", "words"), BAD)
def test_refused(table, field, words):
    with pytest.raises(InputError) as caught:
        from_table(table)
    assert caught.value.field.startswith(field)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "has 0 points"),
        ("1,2\n3,4\n", "has 2 points"),
        ("1,2\n3,x\n4,5\n", "line 2: given"),
        ("1,2\n3,-4\n4,5\n", "line 2: given"),
        ("0,9\n9,9\n5,9.5\n2,3\n1,9\n", "crosses"),
        ("x,width\n0,9\n9,9\n12,8\n", 'line 1: given "width", allowed is x_mm with radius_mm or diameter_mm'),
        ("# mine\nx_mm,y_mm\n0,9\n", 'line 2: given "y_mm"'),
        ("x_mm,x_mm\n0,9\n", "line 1: given x_mm and x_mm"),
        ("x_mm,radius_mm,diameter_mm\n0,9,18\n", "Name two columns"),
        ("x_mm\n0\n", "line 1: given x_mm, allowed"),
        ("x_mm,diameter_mm\n0,18\n5,18,3\n9,18\n", "line 3: given"),
        ("x_mm,diameter_mm\n0,18\n5\n9,18\n", "allowed are two numbers: x along the lathe, its diameter"),
        ("x_mm,radius_mm\n0,9\nx_mm,radius_mm\n9,9\n", "line 3: given"),
    ],
)
def test_refused_csv(tmp_path, text, words):
    path = tmp_path / "bad.csv"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        load_work(path)
    assert words in str(caught.value)
    assert caught.value.file == str(path)


@pytest.mark.parametrize("name", ["gone", "gone.toml", "gone.csv", "balustr"])
def test_refused_names(name):
    with pytest.raises(InputError):
        load_work(name)


def cup_table(opens, sign):
    return {
        "opens": opens,
        "start_mm": [0.0, 24.0],
        "piece": [
            line(sign * 4.0, 24.0),
            piece("cove", sign * 30.0, 12.0, radius_mm=26.0),
            piece("bead", sign * 70.0, 26.0, radius_mm=60.0),
            line(sign * 70.0, 22.0),
            {"shape": "hollow", "depth_mm": 34.0, "corner_radius_mm": 22.0},
        ],
    }


def test_a_hollow_that_opens_to_the_left_is_its_mirror_image():
    right, left = from_table(cup_table("right", 1)), from_table(cup_table("left", -1))
    assert (right.mouth == 1).any()
    assert left.mouth.tolist() == (-right.mouth[::-1]).tolist()
    assert left.volume() == pytest.approx(right.volume(), rel=1e-12)
    rng = np.random.default_rng(8)
    x, rho = rng.uniform(-20, 90, 300), rng.uniform(0, 40, 300)
    assert Wood(left).distance(-x, rho) == pytest.approx(Wood(right).distance(x, rho), abs=1e-9)


def test_a_fixture_is_a_solid_beside_the_wood():
    """A cone of 40 mm down to 10 mm diameter, by the distance of a point from a line (elementary geometry)."""
    table = {**START, "piece": [line(60, 20.0)]}
    cone = {"from_mm": -30.0, "to_mm": -10.0, "diameter_mm": 40.0, "to_diameter_mm": 10.0}
    wood, held = Wood(from_table(table)), Wood(from_table({**table, "fixture": [cone]}))
    x, rho = np.array([-20.0, -18.0]), np.array([30.0, 25.0])
    slope = np.arctan2(15.0, 20.0)
    beside = (rho - (5.0 + (-10.0 - x) * 0.75)) * np.cos(slope)
    assert held.distance(x, rho) == pytest.approx(beside, abs=1e-9)
    assert (wood.distance(x, rho) > beside + 1).all()
    far = np.array([80.0])
    assert held.distance(far, far) == pytest.approx(wood.distance(far, far), abs=1e-12)


@pytest.mark.parametrize(
    ("raw", "field"),
    [
        ({"from_mm": 0.0, "to_mm": 0.0, "diameter_mm": 10.0}, "fixture.0.to_mm"),
        ({"from_mm": 0.0, "diameter_mm": 10.0}, "fixture.0.to_mm"),
        ({"from_mm": 0.0, "to_mm": 5.0, "diameter_mm": -1.0}, "fixture.0.diameter_mm"),
        ("chuck", "fixture"),
    ],
)
def test_fixtures_that_cannot_be(raw, field):
    with pytest.raises(InputError) as error:
        from_table({**START, "piece": [line(60, 20.0)], "fixture": [raw] if isinstance(raw, dict) else raw})
    assert error.value.field == field
