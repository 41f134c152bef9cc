"""Functional dimensions of gauges, measured on the written files: level sections of the mesh that is read back.

Tolerance 0.02 mm throughout: a tenth of what a printer holds (fused-filament printing, ±0.2 mm: general guides).
"""

import math
import zipfile

import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

from gougeform.gauges.build import build
from gougeform.gauges.checks import read, section
from gougeform.gauges.gauge import TEXT_DEPTH_MM
from gougeform.gauges.making import planned
from gougeform.gauges.options import Printing
from gougeform.gauges.setup import Setup
from gougeform.gauges.writing import write_3mf, write_stl
from gougeform.grind.gouge import shape
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load

CLOSE = 0.02


@pytest.fixture(scope="module")
def foot():
    return shape(load("finial-round-10-fingernail-foot"))


@pytest.fixture(scope="module")
def relief():
    return shape(load("baluster-square-10-relief-rod"))


def written(folder, gouge, kind, printing=None, number=0, **wishes):
    """The gauge, and the mesh of its STL as read back."""
    setup = Setup(gouge, printing or Printing())
    gauge = planned(setup, kind, wishes)[0][number]
    path = folder / "gauge.stl"
    write_stl([build(gauge, setup.printing)], path)
    return gauge, read(path)["gauge"]


def corners(shape):
    return np.asarray(shape.exterior.coords)[:-1]


def circle_through(points):
    """Centre and radius of the circle nearest to points (n, 2): linear least squares of x² + y² + ax + by + c."""
    middle = points.mean(0)
    p = points - middle
    a, b, c = np.linalg.lstsq(np.column_stack([p, np.ones(len(p))]), -(p**2).sum(1), rcond=None)[0]
    return middle - [a / 2, b / 2], math.sqrt(a * a / 4 + b * b / 4 - c)


# Projection stop


def test_every_lane_is_its_projection_long(tmp_path, foot):
    lengths = (60.0, 65.5, 75.0)
    gauge, mesh = written(tmp_path, foot, "projection", projection_mm=lengths)
    plan = section(mesh, 2.0)
    _, low, _, high = plan.bounds
    y = np.linspace(low, high, 400)
    across = np.array([plan.intersection(LineString([(-9, t), (999, t)])).length for t in y[5:-5]])
    for length in lengths:
        assert (np.abs(across - length) < CLOSE).sum() > 60
    assert gauge.dimensions["projection_2_mm"] == 65.5


def test_post_stops_the_bevel_where_the_wheel_left_it_and_stays_below_the_edge(tmp_path, foot):
    # In the middle plane the bevel is the wheel's circle: a point at chord c from the edge stands under the angle
    # β + asin(c/2R) (derived from the sagitta). So a post that much lower than the nose touches at c·cos of it.
    gauge, mesh = written(tmp_path, foot, "projection")
    plate = section(mesh, 3.0)
    post = section(mesh, float(mesh.bounds[1, 2]) - 0.5)
    top = float(mesh.bounds[1, 2]) - 4.0  # above the lane, which is 4 mm thick
    below = foot.section.y_floor - (foot.section.underside + top)
    beta, radius = math.radians(35.0), 100.0
    c = below
    for _ in range(60):
        c = below / math.sin(beta + math.asin(c / (2 * radius)))
    depth = c * math.cos(beta + math.asin(c / (2 * radius)))
    assert post.bounds[2] == pytest.approx(plate.bounds[2], abs=1e-4)
    assert post.bounds[2] - post.bounds[0] == pytest.approx(depth, abs=CLOSE)
    from gougeform.measure.edge import measure_edge

    lowest = measure_edge(foot).point[1].min() - foot.section.underside
    assert top < lowest - 0.9
    assert gauge.dimensions["post_height_mm"] == pytest.approx(top, abs=1e-4)


# Rim spacer


@pytest.mark.parametrize("kind", ["foot", "rod"])
@pytest.mark.parametrize("wheel", [None, 150.0, 203.2])
def test_spacer_seats_on_the_wheel_and_holds_the_distance(tmp_path, foot, relief, kind, wheel):
    gouge = foot if kind == "foot" else relief
    wishes = {} if wheel is None else {"wheel_mm": (wheel,)}
    gauge, mesh = written(tmp_path, gouge, "spacer", **wishes)
    plan = section(mesh, 4.0)
    pin = 4.0 if kind == "foot" else 6.0
    radius = (wheel or 200.0) / 2
    # The law of cosines, from the recipe's own numbers: what the jig module says must agree.
    jig = gouge.jigs[0]
    k = jig.pivot.nose_angle(jig.rim, 1 / 100.0)
    rim = jig.pivot.rim_distance(k, 1 / radius)
    middle = (plan.bounds[1] + plan.bounds[3]) / 2
    p = corners(plan)
    mouth = p[(p[:, 0] < 4.5) & (np.abs(p[:, 1] - middle) < 13.0)]
    assert len(mouth) > 15
    centre, found = circle_through(mouth)
    assert found == pytest.approx(radius, abs=CLOSE)
    assert np.abs(np.hypot(*(mouth - centre).T) - found).max() < 0.002
    # Seated: a wheel of the very radius, pushed on from the left, touches along the whole seat; a rod or foot whose
    # centre is at the distance from its rim touches the other seat and cuts into nothing.
    centre = np.array([(mouth[:, 0] - np.sqrt(radius**2 - (mouth[:, 1] - middle) ** 2)).min(), middle])
    assert np.ptp(np.hypot(*(mouth - centre).T)) < 0.002
    held = Point(centre[0] + radius + rim, middle)
    assert plan.distance(held) == pytest.approx(pin, abs=CLOSE)
    assert plan.intersection(held.buffer(pin - CLOSE, quad_segs=400)).area == 0
    assert gauge.dimensions["rim_distance_mm"] == pytest.approx(rim, abs=1e-9)


def test_fit_widens_the_seat_and_leaves_the_distance(tmp_path, relief):
    seats = {}
    for fit in (0.0, 0.4):
        _, mesh = written(tmp_path, relief, "spacer", Printing(fit_mm=fit))
        plan = section(mesh, 4.0)
        middle = (plan.bounds[1] + plan.bounds[3]) / 2
        p = corners(plan)
        rod = p[(np.abs(p[:, 1] - middle) < 4.0) & (p[:, 0] > 20)]
        centre, radius = circle_through(rod)
        seats[fit] = (radius, centre[0] - radius)
    assert seats[0.0][0] == pytest.approx(6.0, abs=CLOSE)
    assert seats[0.4][0] == pytest.approx(6.4, abs=CLOSE)
    assert seats[0.4][1] == pytest.approx(seats[0.0][1], abs=0.005)


def test_scale_multiplies_every_length(tmp_path, relief):
    _, plain = written(tmp_path, relief, "relief")
    _, larger = written(tmp_path, relief, "relief", Printing(scale=1.01))
    np.testing.assert_allclose(np.ptp(larger.vertices, axis=0), 1.01 * np.ptp(plain.vertices, axis=0), atol=2e-5)
    assert larger.volume == pytest.approx(1.01**3 * plain.volume, rel=1e-5)


# Angle gauge


def notches(plan):
    """Angles in degrees between the two long sides of every notch, from left to right."""
    p = corners(plan)
    side = np.roll(p, -1, 0) - p
    length = np.hypot(*side.T)
    lean = (np.abs(side[:, 0]) > 1e-3 * length) & (np.abs(side[:, 1]) > 1e-2 * length) & (length > 1.0)
    at = (p + side / 2)[lean]
    way = np.abs(np.degrees(np.arctan2(side[lean, 0], side[lean, 1])))
    way = np.minimum(way, 180 - way)
    order = np.argsort(at[:, 0])
    return way[order].reshape(-1, 2).sum(1)


@pytest.mark.parametrize("name", ["finial-round-10-fingernail-foot", "baluster-square-10-relief-rod"])
def test_own_notch_fits_the_bevel_the_kernel_made(tmp_path, name):
    gouge = shape(load(name))
    gauge, mesh = written(tmp_path, gouge, "angle")
    cut = notches(section(mesh, 0.9))
    labels = [float(text.rstrip("°")) for text in gauge.says if text.endswith("°")]
    assert len(cut) == len(labels)
    # The bevel in the middle plane from the kernel, and the steepest line from the place where the side begins
    # (1 mm from the vertex, less the lift of a 2 mm thick plate in a flute of 4 mm radius) over all that follows.
    y = np.linspace(gouge.section.y_floor - 1e-6, gouge.section.underside, 4001)
    z = gouge.ground.heights(np.stack([np.zeros_like(y), y], -1)).z
    down, far = gouge.section.y_floor - y, np.hypot(z, y - gouge.section.y_floor)
    lift = 4.0 - math.sqrt(16.0 - 1.0)
    begin = 1.0 - lift / math.sin(math.radians(36.0))
    k = int(np.argmin(np.abs(far - begin)))
    after = far > begin + 0.2
    steepest = np.degrees(np.arctan2(down[after] - down[k], z[k] - z[after])).max()
    assert cut[labels.index(35.0)] == pytest.approx(steepest, abs=0.02)


def test_chord_labels_are_cut_to_the_chord(tmp_path, foot):
    # c = web / sin(chord): 40° gives 10.112 mm; β_edge = β_chord - asin(c/2R) is the outside check's formula.
    gauge, mesh = written(tmp_path, foot, "angle", reads="chord", angle_deg=(40.0,))
    cut = notches(section(mesh, 0.9))
    begin = 1.0 - (4.0 - math.sqrt(15.0)) / math.sin(math.radians(40.0))
    assert cut[-1] == pytest.approx(40.0 + math.degrees(math.asin(begin / 200.0)), abs=0.02)
    chord = 6.5 / math.sin(math.radians(38.0251))
    own = float(gauge.says[0].rstrip("°"))
    assert own == pytest.approx(35.0 + math.degrees(math.asin(chord / 200.0)), abs=0.06)
    assert "NOSE ANGLE, BEVEL CHORD" in " ".join(gauge.says)


def test_no_notch_touches_the_edge(tmp_path, foot):
    _, mesh = written(tmp_path, foot, "angle")
    plan = section(mesh, 0.9)
    p = corners(plan)
    side = np.roll(p, -1, 0) - p
    # Lines of neighbouring sides meet in a vertex that lies 1 mm inside the hole.
    lean = np.flatnonzero((np.abs(side[:, 0]) > 0.3) & (np.abs(side[:, 1]) > 1.0))
    order = lean[np.argsort(p[lean, 0] + side[lean, 0] / 2)]
    for a, b in order.reshape(-1, 2):
        t = np.linalg.solve(np.column_stack([side[a], -side[b]]), p[b] - p[a])[0]
        assert plan.distance(Point(*(p[a] + t * side[a]))) == pytest.approx(1.0, abs=CLOSE)


# Outline template


@pytest.mark.parametrize("fit", [0.0, 0.2])
@pytest.mark.parametrize("name", ["finial-round-10-fingernail-foot", "baluster-square-10-plain-rod"])
def test_template_follows_both_wings(tmp_path, name, fit):
    from gougeform.measure.edge import measure_edge

    gouge = shape(load(name))
    _, mesh = written(tmp_path, gouge, "outline", Printing(fit_mm=fit))
    plan = section(mesh, 1.5)
    left, _, right, _ = plan.bounds
    edge = measure_edge(gouge)
    # Seen from above, nose away from the reader, tool x runs to the left. The nose is the cut-out's end.
    x = (left + right) / 2 - edge.point[0]
    column = plan.intersection(LineString([((left + right) / 2, -99), ((left + right) / 2, 999)]))
    y = edge.point[2] + column.bounds[1] - fit
    gap = np.array([plan.exterior.distance(Point(a, b)) for a, b in zip(x, y, strict=True)])
    inside = np.array([plan.contains(Point(a, b)) for a, b in zip(x, y, strict=True)])
    assert not inside.any() or gap[inside].max() < CLOSE
    assert np.abs(gap - fit).max() < CLOSE


# Wheel gauge


def test_every_arc_is_its_diameter(tmp_path, foot):
    gauge, mesh = written(tmp_path, foot, "wheel")
    plan = section(mesh, 1.5)
    left, low, right, high = plan.bounds
    chord = gauge.dimensions["chord_mm"]
    sizes = [value for name, value in gauge.dimensions.items() if name.startswith("diameter")]
    assert sizes == [200, 190, 180, 170, 160, 150]
    p = corners(plan)
    for k, size in enumerate(sizes):
        x = (left + right) / 2 + (k % 3 - 1) * (chord + 8.0)
        near = p[(np.abs(p[:, 0] - x) < 0.46 * chord) & ((p[:, 1] > (low + high) / 2) == (k < 3))]
        assert len(near) > 20
        _, radius = circle_through(near)
        assert 2 * radius == pytest.approx(size, abs=CLOSE)


def test_neighbouring_arcs_can_be_told_apart(foot):
    ((gauge,), _) = planned(Setup(foot), "wheel")
    chord = gauge.dimensions["chord_mm"]

    def sagitta(d):  # Machinery's Handbook 31 p. 79
        return d / 2 - math.sqrt(d * d / 4 - chord * chord / 4)

    assert sagitta(190) - sagitta(200) >= 0.2


# Relief block


def test_block_is_as_wide_as_the_rod_moves(tmp_path, relief):
    a, b = relief.settings
    _, mesh = written(tmp_path, relief, "relief")
    plan = section(mesh, 4.0)
    blade = plan.intersection(box(5, -99, 25, 99))
    assert blade.bounds[3] - blade.bounds[1] == pytest.approx(a.rim_distance - b.rim_distance, abs=CLOSE)
    _, mesh = written(tmp_path, relief, "relief", slide="level")
    blade = section(mesh, 4.0).intersection(box(5, -99, 25, 99))
    level = math.sqrt(a.centre_distance**2 - 70**2) - math.sqrt(b.centre_distance**2 - 70**2)
    assert blade.bounds[3] - blade.bounds[1] == pytest.approx(level, abs=CLOSE)


# Files and text


@pytest.mark.parametrize("raised", [False, True])
def test_text_stands_on_the_file_and_both_files_agree(tmp_path, relief, raised):
    setup = Setup(relief, Printing(raised=raised))
    ((gauge,), _) = planned(setup, "tag")
    body = build(gauge, setup.printing)
    write_stl([body], tmp_path / "tag.stl")
    write_3mf([body], tmp_path / "tag.3mf")
    (stl,), (pack,) = read(tmp_path / "tag.stl").values(), read(tmp_path / "tag.3mf").values()
    assert stl.volume == pytest.approx(body.volume, rel=1e-6)
    assert pack.volume == pytest.approx(body.volume, rel=1e-9)
    text = gauge.lettering[0].shape
    if raised:
        cut = section(stl, gauge.thickness + TEXT_DEPTH_MM / 2)
        assert cut.symmetric_difference(moved(text, gauge)).area < 1e-3 * text.area
    else:
        plate, cut = section(stl, 1.0), section(stl, gauge.thickness - TEXT_DEPTH_MM / 2)
        assert plate.difference(cut).symmetric_difference(moved(text, gauge)).area < 1e-3 * text.area
    with zipfile.ZipFile(tmp_path / "tag.3mf") as archive:
        model = archive.read(next(n for n in archive.namelist() if n.endswith(".model"))).decode()
    assert 'unit="millimeter"' in model  # 3MF Core 1.4.0
    assert (tmp_path / "tag.stl").read_bytes()[:80].startswith(b"binary STL, lengths in mm")


def moved(text, gauge):
    from shapely import affinity

    return affinity.translate(text, -gauge.outline.bounds[0], -gauge.outline.bounds[1])


def test_what_stands_on_them(relief):
    setup = Setup(relief)
    for kind, words in {
        "projection": ["PROJECTION 75 mm", "WHEEL Ø200"],
        "spacer": ["RIM TO ROD", "50.88 mm", "WHEEL Ø200", "ROD Ø12"],
        "relief": ["ROD 12.37 mm", "TOWARD WHEEL", "WHEEL Ø200"],
        "angle": ["35°", "NOSE ANGLE AT THE EDGE", "WHEEL Ø200 HOLLOW ALLOWED FOR"],
        "outline": ["WING 10 mm", "WHEEL Ø200"],
        "wheel": ["Ø200", "Ø150"],
    }.items():
        said = " ".join(planned(setup, kind)[0][0].says).replace("\u00a0", " ")
        for word in words:
            assert word in said


def test_letters_are_4_mm_tall_and_can_be_printed(relief):
    from gougeform.gauges.lettering import line_shape

    height = line_shape("H", 4.0).bounds
    assert height[3] - height[1] == pytest.approx(4.0, abs=0.02)
    for character in "ABCDEFGHIKLMNOPRSTUWØ0123456789m°":
        # A nozzle of 0.4 mm goes through every stroke: what is narrower than one line of it is less than a fiftieth.
        shape_ = line_shape(character, 4.0)
        assert shape_.difference(shape_.buffer(-0.2).buffer(0.201)).area < 0.02 * shape_.area


def test_wheel_asked_for_changes_spacer_and_its_text(relief):
    (new, _), (worn, _) = (
        planned(Setup(relief), "spacer")[0],
        planned(Setup(relief), "spacer", {"wheel_mm": (160.0,)})[0],
    )
    assert worn.dimensions["rim_distance_mm"] == pytest.approx(shape(
        changed(load("baluster-square-10-relief-rod"), {"wheel.diameter_mm": 160.0})
    ).settings[0].rim_distance, abs=1e-9)  # fmt: skip
    assert worn.dimensions["rim_distance_mm"] != new.dimensions["rim_distance_mm"]
    assert "WHEEL\u00a0Ø160" in " ".join(worn.says)
