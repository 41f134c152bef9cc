"""Gauges as printed parts, over 20 random recipes: closed, outward, one body, no self-cuts, walls, overhang.

Walls of 1.2 mm and more and overhangs up to 45° are what general guides on fused-filament printing ask for.
"""

import numpy as np
import pytest

from gougeform.errors import InputError
from gougeform.gauges.build import build
from gougeform.gauges.checks import crossings, first_hits, inspect, read, steepest_overhang, thinnest_wall
from gougeform.gauges.gauge import TEXT_DEPTH_MM
from gougeform.gauges.kinds import KINDS
from gougeform.gauges.making import planned
from gougeform.gauges.options import Printing
from gougeform.gauges.plate import GAP_MM, lay_out
from gougeform.gauges.setup import Setup
from gougeform.gauges.writing import write_3mf, write_stl
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load


def random_table(random):
    def between(low, high):
        return float(random.uniform(low, high))

    size, nose = between(7, 14), between(28, 55)
    jig = {
        "projection_mm": between(50, 85),
        "hinge_back_mm": 15.0,
        "hinge_drop_mm": between(4, 10),
        "nose_angle_deg": nose,
    }
    if random.random() < 0.5:
        jig |= {"kind": "foot", "arm_length_mm": between(70, 100), "arm_cant_deg": between(30, 45), "height_mm": -120.0}
    else:
        jig |= {"kind": "rod", "hinge_cant_deg": between(30, 50), "shoe_mm": between(30, 45), "height_mm": 40.0}
        jig["rod_diameter_mm"] = between(8, 14)
    grinds = [{"path": "traced", "wing_length_mm": between(4, 11)}]
    if random.random() < 0.5:
        grinds.append({"nose_angle_deg": nose - between(5, 10), "land_mm": between(1.7, 3)})
    bar = {"outline": "round", "diameter_mm": size, "length_mm": 150.0}
    if random.random() < 0.5:
        bar = {"outline": "square", "side_mm": size, "corner_radius_mm": 1.0, "length_mm": 150.0}
    web = between(0.5, 0.68) * size
    return {
        "bar": bar,
        "flute": {"shape": "arc", "radius_mm": 0.4 * size, "web_mm": web, "length_mm": 60.0},
        "wheel": {"diameter_mm": float(random.choice([150.0, 180.0, 200.0, 250.0])), "width_mm": 40.0},
        "jig": jig,
        "grind": grinds,
    }


def random_gouges(count):
    random, made = np.random.default_rng(5), []
    for _ in range(400):
        try:
            gouge = shape(from_table(random_table(random), name="random"))
            measure(gouge)
        except InputError:
            continue
        made.append(gouge)
        if len(made) == count:
            return made
    raise AssertionError("too few of the random recipes can be ground")


def bands(gauge):
    return [(text.top - TEXT_DEPTH_MM - 0.01, text.top + TEXT_DEPTH_MM + 0.01) for text in gauge.lettering]


def test_twenty_random_recipes(tmp_path):
    seen = dict.fromkeys(KINDS, 0)
    for number, gouge in enumerate(random_gouges(20)):
        raised = number % 5 == 4
        setup = Setup(gouge, Printing(raised=raised, fit_mm=0.1 * (number % 4)))
        made, without = planned(setup)
        for error in without.values():
            assert error.hint
        for gauge in made:
            seen[gauge.kind] += 1
            body = build(gauge, setup.printing)
            write_stl([body], tmp_path / "one.stl")
            (mesh,) = read(tmp_path / "one.stl").values()
            # The two slow checks take turns: every kind has its share of both.
            found = inspect(
                mesh, bands(gauge), rays=6 + 12 * (seen[gauge.kind] % 2), crossing=seen[gauge.kind] % 4 == 0
            )
            told = f"{gauge.kind} of random recipe {number}"
            assert (found.closed, found.outward, found.bodies, found.crossings) == (True, True, 1, 0), told
            assert found.volume == pytest.approx(body.volume, rel=1e-5), told
            assert found.wall_mm >= 1.2, told
            assert found.overhang_deg <= 45.1, told
            np.testing.assert_allclose(found.size[:2], gauge.size, atol=2e-3)
    assert min(seen.values()) >= 5, seen


def test_checks_see_what_they_should_see():
    """The measuring itself, on shapes known by hand: a tilted box, two that overlap, a thin one."""
    import trimesh

    box = trimesh.creation.box((20, 10, 1.0))
    box.apply_translation((0, 0, 0.5))
    assert thinnest_wall(box.vertices, box.faces, rays=50) == pytest.approx(1.0, abs=1e-6)
    assert steepest_overhang(box.vertices, box.faces) == 0
    assert crossings(box.vertices, box.faces) == 0
    leaning = box.copy()
    leaning.apply_transform(trimesh.transformations.rotation_matrix(np.radians(30), (0, 1, 0)))
    assert steepest_overhang(leaning.vertices, leaning.faces) == pytest.approx(60.0, abs=1e-6)
    other = box.copy()
    other.apply_translation((5.3, 2.1, 0.4))
    both = trimesh.util.concatenate([box, other])
    assert crossings(both.vertices, both.faces) > 0
    far, hit = first_hits(
        np.asarray(box.vertices), np.asarray(box.faces), np.array([[0.3, 0.2, 0.4]]), np.array([[1.0, 0, 0]])
    )
    assert far[0] == pytest.approx(9.7)
    assert hit[0] >= 0


@pytest.fixture(scope="module")
def relief():
    return shape(load("baluster-square-10-relief-foot"))


def test_chamfer_draws_the_foot_in_at_45_degrees(relief):
    from gougeform.gauges.checks import section

    setup = Setup(relief, Printing(chamfer_mm=0.5))
    ((gauge,), _) = planned(setup, "outline")
    body = build(gauge, setup.printing)
    import trimesh

    mesh = trimesh.Trimesh(body.vertices, body.faces, process=False)
    assert section(mesh, 0.1).area < section(mesh, 0.3).area < section(mesh, 0.6).area
    wide = [section(mesh, z).bounds[2] - section(mesh, z).bounds[0] for z in (0.2, 1.0)]
    assert wide[1] - wide[0] == pytest.approx(2 * 0.3, abs=2e-3)
    plain = build(gauge, Printing(chamfer_mm=0.0))
    assert steepest_overhang(plain.vertices, plain.faces) == 0


@pytest.mark.parametrize("bed", [(220.0, 220.0), (200.0, 120.0)])
def test_plates_fit_their_bed_and_nothing_touches(tmp_path, relief, bed):
    setup = Setup(relief, Printing(bed_mm=bed))
    made, without = planned(setup)
    assert not without
    plates = lay_out([build(gauge, setup.printing) for gauge in made], bed)
    assert sum(len(plate.bodies) for plate in plates) == len(made)
    assert (len(plates) > 1) == (bed[1] < 200)
    for plate in plates:
        boxes = [(body.vertices.min(0)[:2], body.vertices.max(0)[:2]) for body in plate.bodies]
        for k, (low, high) in enumerate(boxes):
            assert (low >= 0).all()
            assert (high <= bed).all()
            for other_low, other_high in boxes[:k]:
                assert ((low > other_high + GAP_MM - 1e-6) | (high < other_low - GAP_MM + 1e-6)).any()
    write_3mf(plates[0].bodies, tmp_path / "plate.3mf")
    back = read(tmp_path / "plate.3mf")
    assert {body.name for body in plates[0].bodies} == set(back)
    for body in plates[0].bodies:
        assert back[body.name].volume == pytest.approx(body.volume, rel=1e-9)
        np.testing.assert_allclose(back[body.name].bounds[0], body.vertices.min(0), atol=1e-6)


BELT = {"wheel": "belt-50"}
FOOT, ROD = "finial-round-10-fingernail-foot", "finial-round-10-fingernail-rod"
TABLE, RELIEF = "finial-round-10-plain-table", "finial-round-10-relief-foot"
REFUSED = [
    ("spacer", ROD, {"jig.projection_mm": 35.0}, {}, {},
     "two seats need at least 14.00 mm", "projection"),
    ("spacer", FOOT, {}, {"wheel_mm": (25.0,)}, {}, "too small to carry a spacer", "ruler"),
    ("spacer", TABLE, {}, {}, {}, "a table has no pocket or rod", "angle gauge"),
    ("projection", TABLE, {}, {}, {}, "no clamp face", "`projection`"),
    ("projection", FOOT, {}, {"projection_mm": (15.0,)}, {}, "given 15, allowed is", "ruler"),
    ("projection", FOOT, {}, {"projection_mm": (300.0,)}, {}, "needs 300 x", "shorter projections"),
    ("wheel", FOOT, BELT, {}, {}, "a belt has no diameter", "leave the wheel gauge out"),
    ("wheel", FOOT, {"wheel.diameter_mm": 4000.0}, {}, {"bed_mm": (120.0, 120.0)},
     "the bed is 120 x 120 mm", "too large for this bed"),
    ("wheel", FOOT, {}, {"wheel_mm": (200.0,)}, {}, "needs two or more", "another diameter"),
    ("wheel", FOOT, {}, {"wheel_mm": (40.0, 39.0)}, {}, "too near its neighbour", "larger steps"),
    ("relief", FOOT, {}, {}, {}, "no second setting", "[[grind]]"),
    ("relief", RELIEF, {"grind.1.wheel": "wheel-250"}, {}, {}, "wheel or jig of its own", "rim spacer"),
    ("spacer", FOOT, {}, {}, {"bed_mm": (80.0, 80.0)}, "the bed is 80 x 80 mm", "larger bed"),
    ("angle", RELIEF, {"grind.1.land_mm": 1.0}, {}, {}, "too short to be read", "leave a land of 1.5"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "name", "changes", "wishes", "printing", "problem", "hint"), REFUSED)
def test_what_cannot_exist_is_refused_with_what_to_do(kind, name, changes, wishes, printing, problem, hint):
    recipe = changed(load(name), changes) if changes else load(name)
    with pytest.raises(InputError) as caught:
        planned(Setup(shape(recipe), Printing(**printing)), kind, wishes)
    assert problem in caught.value.problem
    assert hint in caught.value.hint


@pytest.mark.parametrize(
    "given",
    [
        {"fit_mm": float("nan")},
        {"fit_mm": -0.1},
        {"scale": 2.0},
        {"chamfer_mm": 3.0},
        {"text_mm": 1.0},
        {"bed_mm": (10.0, 220.0)},
    ],
)  # fmt: skip
def test_printing_options_have_limits(given):
    with pytest.raises(InputError, match="allowed is"):
        Printing(**given)


def test_all_says_what_is_left_out(relief):
    made, without = planned(Setup(shape(load(TABLE))))
    assert {gauge.kind for gauge in made} == {"angle", "outline", "wheel", "tag"}
    assert set(without) == {"projection", "spacer", "relief"}
