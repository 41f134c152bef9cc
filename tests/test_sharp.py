"""Places that could be broken on purpose (tests/mutants.toml) without another test noticing: each has its own here."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

import solids
from conftest import grind_tool
from dense import dense_heights, entry, of_points
from gougeform.errors import InputError
from gougeform.grind.ground import Ground
from gougeform.measure.cheek import cheek_widths
from gougeform.measure.columns import first_columns
from gougeform.measure.crease import creases
from gougeform.measure.edge import measure_edge, station_table
from gougeform.measure.fan import build_fan
from gougeform.measure.measures import measure, result
from gougeform.measure.volume import steel_removed_mm3
from gougeform.measure.winners import surfaces
from gougeform.mesh.solid import build_solid
from gougeform.numerics.curve import hermite
from gougeform.reach import result as results
from gougeform.reach.body import FERRULE, HANDLE, build_body
from gougeform.reach.contact import TOLERANCE_MM, Contact
from gougeform.reach.posture import Postures, Rest, overhang, placed, places_at
from gougeform.reach.result import Terms, rest_for
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.settings.bench import bench_of
from gougeform.settings.calibrate import calibrate
from gougeform.settings.match import cost
from gougeform.work.build import chain_of_points
from gougeform.work.distance import Wood
from gougeform.work.files import from_table, load_work
from test_kernel import CASES, LOPSIDED
from test_settings_calibrate import FOOT, SPREAD, pairs_of

# Kinematics


def test_a_plate_over_the_bar_rests_on_its_highest_steel():
    """From the outline's own corners: the left shoulder (-4.6, 4.6) stands higher than either lip."""
    gouge = grind_tool("foot", LOPSIDED | {"jig.clamp": "above", "jig.hinge_drop_mm": 12.0})
    assert max(gouge.section.lip(-1)[1], gouge.section.lip(1)[1]) < 4.599
    # The arm of 90 mm falls by 40 degrees from a hinge 12 mm under the plate.
    foot = 4.6 - 12.0 - 90 * np.sin(np.radians(40))
    assert gouge.jigs[0].foot[1] == pytest.approx(foot, abs=1e-12)


# Envelope


@pytest.mark.parametrize(
    ("case", "point"), [("foot, square bar", (3.8013073, 4.2549850)), ("table, square bar", (3.6697459, 3.9084705))]
)
def test_the_deepest_valley_need_not_have_the_lowest_knot(case, point):
    """Two valleys of z_in(s), at the path's end and beside it: the second is the deeper one, by less than 1e-3 mm."""
    ground = grind_tool(*CASES[case]).ground
    points = np.array([point, (-point[0], point[1])])
    np.testing.assert_allclose(ground.heights(points).z, dense_heights(ground, points, poses=1201), rtol=0, atol=2e-8)


def test_rolling_takes_the_nose_back_and_the_finished_one_is_at_zero():
    """Derived: a belt at β through a nose h above the roll axis lies (1 - cos φ)·h·cot β further back at roll φ."""
    gouge = grind_tool("table-steady", {"flute.web_mm": 6.5, "wheel": {"kind": "belt", "width_mm": 60.0}})
    nose = np.array([[0.0, 1.5]])
    assert gouge.section.y_floor == pytest.approx(1.5, abs=1e-12)
    assert gouge.ground.heights(nose).z[0] == pytest.approx(0, abs=1e-9)
    back = (1 - np.cos(np.radians(100))) * 1.5 / np.tan(np.radians(40))
    assert gouge.ground.passes[0].setback == pytest.approx(back, abs=1e-9)


def test_a_land_counts_from_the_nose_that_is_there():
    """A rod jig at its limit cuts past its outline at the nose too; the land is what was asked all the same."""
    limit = {"grind.0.shoulder": 0.16, "grind.0.fullness": 0.7, "grind.0.wing_length_mm": 13.0}
    gouge = grind_tool("rod-relief", limit | {"wheel.diameter_mm": 300.0, "jig.height_mm": 0.0})
    edge = measure_edge(gouge)
    assert edge.point[2, edge.nose] < -0.2
    assert edge.land[edge.nose] == pytest.approx(gouge.recipe.grinds[1].land_mm, abs=1e-5)


def test_both_wings_tell_their_own_motions():
    """Mirror images: the left wing is rolled and swung to the other side, dipped the same."""
    gouge = grind_tool("foot")
    table = station_table(gouge, measure_edge(gouge, 41))
    for name, sign in (("roll_deg", -1), ("swing_deg", -1), ("dip_deg", 1), ("contact_deg", 1)):
        np.testing.assert_allclose(table[name][::-1], sign * table[name], rtol=0, atol=1e-6)
    assert np.abs(table["roll_deg"]).max() > 30


# Measures


def test_cheeks_of_a_lopsided_bar_reach_to_both_sides():
    """Mirrored, the bar is as broad as before; and it is as broad as a grid says, which is not twice one half."""
    mirrored = {"bar": LOPSIDED["bar"] | {"points_mm": [[-x, y] for x, y in LOPSIDED["bar"]["points_mm"]]}}
    behind = np.array([10.0, 14.0])
    gouge = grind_tool("foot", LOPSIDED)
    widths = cheek_widths(gouge, behind)
    np.testing.assert_allclose(cheek_widths(grind_tool("foot", mirrored), behind), widths, rtol=0, atol=1e-7)
    x, y = np.arange(-5.5, 5.5, 0.05), np.arange(gouge.section.underside, gouge.section.y_floor + 1e-9, 0.05)
    points = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    points = points[gouge.section.outline.contains(points)]
    z = gouge.ground.heights(points).z
    for width, d in zip(widths, behind, strict=True):
        stands = points[z >= -d, 0]
        assert stands.max() - stands.min() - 1e-9 <= width <= stands.max() - stands.min() + 0.15
        assert abs(stands.max() + stands.min()) > 0.05


def test_the_land_ends_with_the_bevels_own_slope():
    """Derived, from the wheel's circle: a depth h below a nose of β the bevel's slope is γ, cos γ = cos β - h / R."""
    gouge = grind_tool("foot-relief")
    edge = measure_edge(gouge, 41)
    land, nose = 2.5, np.radians(35)
    depth = land * np.sin(nose + np.arcsin(land / 200))
    slope = np.arccos(np.cos(nose) - depth / 100)
    _, normal = edge.bevel_end
    np.testing.assert_allclose(normal[:, edge.nose], [0, -np.cos(slope), np.sin(slope)], rtol=0, atol=1e-6)


def test_volumes_are_settled_where_a_crease_ends_on_the_heel():
    """Rays through the ends of a crease part the quadrature there: halving all panels changes 1e-8 of it."""
    gouge = solids.tool(grind=[solids.GRIND, {"nose_angle_deg": 25.0, "land_mm": 9.9}])
    assert steel_removed_mm3(gouge) == pytest.approx(steel_removed_mm3(gouge, fineness=2), rel=3e-8)


def test_grams_of_steel():
    """The worked example's 409.5412 mm³ at 8 g/cm³: 3.2763 g."""
    gouge = solids.tool(bar=solids.BAR | {"steel": {"young_gpa": 207.0, "density_g_cm3": 8.0}}, grind=[solids.GRIND])
    assert result(measure(gouge), [])["steel_removed_g"] == pytest.approx(3.2763296, rel=1e-5)


# Mesh


def test_the_ground_face_is_its_own_mirror_image():
    """Facet by facet, by the middles of them: quads of the two wings are cut along mirrored diagonals."""
    gouge = solids.tool(grind=[solids.GRIND, solids.RELIEF])
    solid = build_solid(gouge, 0.05)
    middle = solid.vertices[solid.faces[solid.surface < 2]].mean(1)
    one, other = ({tuple(m) for m in np.round(middle * [side, 1, 1], 6) + 0.0} for side in (1, -1))
    assert one == other
    assert len(one) == len(middle) > 1000


def test_a_wheel_that_reaches_the_run_out_is_refused():
    """Under a bar like a roof a belt rolled by 150° cuts the ridge (r 7) by (r - h)·cos 30°·cot β = 6.19 mm.

    The nose lies h = 1 above the axis, β = 40°; the lips are cut only 5.32 mm behind it. Derived.
    """
    roof = {"outline": "points", "points_mm": [[0, 7], [-5, 2], [-5, -4], [5, -4], [5, 2]], "length_mm": 100.0}

    def built(length):
        return build_solid(
            solids.tool(
                bar=roof,
                flute={"shape": "arc", "radius_mm": 2.5, "web_mm": 5.0, "length_mm": length, "run_out_mm": 0.5},
                wheel={"kind": "belt", "width_mm": 60.0},
                jig=solids.TABLE,
                grind=[{"path": "steady", "roll_max_deg": 150.0}],
            ),
            0.3,
        )

    with pytest.raises(InputError, match="would cut into the flute's run-out"):
        built(6.19 - 0.5 - 0.05)
    assert built(6.19 - 0.5 + 0.05).volume > 0


def test_what_is_stated_is_half_as_much_again_as_what_is_measured():
    """At the middles of the ground face's edges and facets, square to the surface; between them it may be more."""
    gouge = solids.tool()
    solid = build_solid(gouge)
    corner = solid.vertices[solid.faces[solid.surface == 0]]
    middle = np.concatenate([corner.mean(1), *((corner[:, i] + corner[:, i - 1]) / 2 for i in range(3))])
    cut = gouge.ground.heights(middle[:, :2])
    off = np.abs(cut.z - middle[:, 2]) * cut.normal[2]
    assert 1.5 * off.max() <= solid.tolerance <= 0.01


def test_chords_bow_by_half_the_tolerance_at_most():
    """Handbook: h = r - √(r² - c²/4), for the bar's circle of r 5 and the flute's of r 4."""
    gouge = solids.tool()
    columns = first_columns(build_fan(gouge.section), gouge.ground, surfaces(gouge.ground), 1e-4)
    for points, r in ((columns.outer, 5.0), (columns.inner, 4.0)):
        chord = np.linalg.norm(np.diff(points, axis=0), axis=1).max()
        assert r - np.sqrt(r * r - chord**2 / 4) <= 0.5e-4 * (1 + 1e-6)


# Settings


def test_regrinds_count_the_flute_behind_the_wings():
    """Derived: 50 mm of flute less 4 mm of wings, 6 mm lost each time: 7 regrinds (by the whole flute 8)."""
    old = changed(load(FOOT), {"flute.length_mm": 50.0})
    price = cost(old, changed(old, {"grind.0.wing_length_mm": 4.0, "grind.0.nose_angle_deg": 40.0}))
    touching = price.rows[0]
    assert (touching.nose_loss, touching.in_flute) == (pytest.approx(6.0, abs=1e-6), 7)


@pytest.mark.parametrize(("unknowns", "widths"), [(("arm_length",), 2.5758293), (("arm_length", "cant"), 3.0348543)])
def test_all_unknowns_together_lie_within_what_is_stated(unknowns, widths):
    """99 of 100: for one the normal distribution's two-sided bound, for two √(-2 ln 0.01), χ² with two freedoms."""
    pairs = pairs_of(load(FOOT), {"arm_length": 95.0}, SPREAD[:4])
    fit = calibrate(pairs, list(unknowns))
    np.testing.assert_allclose(fit.sure / fit.sd, widths, rtol=1e-6)


def test_a_person_measures_to_the_rods_near_surface():
    """Wheel's radius, straight distance and the rod's radius make the way from centre to centre."""
    bench = bench_of(load("finial-round-10-fingernail-rod"))
    parts = bench.wheel.diameter_mm / 2 + bench.measured_distance() + bench.jig.rod_diameter_mm / 2
    assert parts == pytest.approx(bench.centre_distance(), abs=1e-9)
    assert bench.jig.rod_diameter_mm > 1


# Reach


@pytest.fixture(scope="module")
def body():
    return build_body(grind_tool("foot"))


def test_the_body_ends_with_ferrule_and_handle(body):
    """Handle and ferrule as the recipe's usual values have them: lengths, diameters, and one behind the other."""
    for part, radius, front, back in ((FERRULE, 11.0, -150.0, -175.0), (HANDLE, 15.0, -175.0, -450.0)):
        corners = body.corners[body.part == part].reshape(-1, 3)
        assert radius <= np.hypot(*corners.T[:2]).max() <= radius + 0.0101  # its flats lie outside the circle
        assert (corners[:, 2].max(), corners[:, 2].min()) == pytest.approx((front, back), abs=1e-9)


def test_overhang_of_a_wing_counts_from_the_place_that_cuts(body):
    """Along the bar's axis, a hundredth of a millimetre at a time, from level with the edge place to the rest."""
    meridian = load_work("cylinder")
    places = places_at(meridian, np.array([1]), np.array([0.5]))
    station = np.abs(body.arc).argmin() + 90
    postures = Postures(np.zeros(1, int), body.arc[[station]], np.radians([-20.0]), np.zeros(1))
    turn, shift = placed(body, places, postures)
    begin = body.point[2, station]
    assert begin < -2
    along = np.linspace(0, 80, 80_001)
    axis = shift[0][:, None] + turn[0][:, 2:] * (begin - along)
    want = along[np.flatnonzero(np.hypot(axis[1], axis[2]) >= 30.0)[0]]
    assert want > 1
    assert overhang(body, places, postures, Rest(30.0))[0] == pytest.approx(want, abs=2e-3)


def test_the_rest_stands_off_the_wood():
    cylinder = load_work("cylinder")
    assert rest_for(cylinder, Terms(gap_mm=4.0)).radius == pytest.approx(25 + 4)
    assert rest_for(cylinder, Terms(rest_mm=33.0)).radius == pytest.approx(33)


def test_ends_of_stretches_are_halved(monkeypatch):
    """Reached up to a share of 0.4321 of the piece, looked at every tenth of it: found to a tenth / 2⁴."""
    meridian = load_work("cylinder")
    share = (np.arange(10) + 0.5) / 10
    places = places_at(meridian, np.ones(10, int), share)
    tool = SimpleNamespace(meridian=meridian, places=places, reached=share < 0.4321)
    monkeypatch.setattr(results, "reached_at", lambda r, piece, share: share < 0.4321)
    ((piece, low, high),) = results._stretches(tool)
    assert (piece, low) == (1, 0.0)
    assert 0.4321 - 0.1 / 16 <= high < 0.4321


def test_a_patch_too_large_for_the_table_may_dip_by_its_radius():
    """A distance changes by no more than the way: nothing less is sure beyond the table's reach."""
    wood, radius = Wood(load_work("bore")), np.array([2.6, 6.0])
    x, rho, least = np.full(2, 20.0), np.full(2, 12.0), np.zeros(2)
    np.testing.assert_array_equal(wood.dip(x, rho, radius, least), radius)


def test_steel_between_two_cuts_of_a_narrow_wheel_is_left_standing():
    """Along one line some poses cut deep and others near the tip, with steel between that no pose of 1,501 reaches."""
    narrow = {"wheel.width_mm": 5.0, "wheel.corner_radius_mm": 0.0, "wheel.diameter_mm": 150.0, "jig.height_mm": 0.0}
    gouge = grind_tool(
        "rod", narrow | {"jig.nose_angle_deg": 15.5, "grind.0.wing_length_mm": 9.4, "grind.0.contact_mm": -2.2}
    )
    one, point = gouge.ground.passes[0], np.array([[0.7], [-np.sqrt(25 - 0.49)], [0.0]])
    pose = one.path.pose(np.linspace(-1, 1, 1501))
    begin, end = entry(pose.place(np.repeat(point, 1501, axis=1)), pose.turn[:, 2], one.wheel)
    z = np.linspace(begin.min(), 0, 400)[1:-1, None]
    cut = ((begin <= z) & (z <= end)).any(1)
    first, last = np.flatnonzero(~cut)[[0, -1]]
    assert z[last] - z[first] > 0.3
    assert cut[:first].all()
    assert cut[last + 1 :].all()
    with pytest.raises(InputError, match="steel would be left standing ahead of the cut"):
        measure(gouge)


@pytest.mark.parametrize("radius", [0.1, 0.8, 2.4])
def test_a_flat_patch_across_a_cylinder_falls_by_pythagoras(radius):
    """Its corners lie √(h² + r²) from the axis and its middle h: the bound holds that, and is not idle."""
    wood, high = Wood(load_work("cylinder")), 26.0
    least = np.hypot(high, radius) - 25.0
    fall = np.hypot(high, radius) - high
    middle = float(wood.meridian.box[:, 0].mean())
    (bound,) = wood.dip(np.array([middle]), np.array([high]), np.array([radius]), np.array([least]))
    assert fall <= bound <= 1.2 * fall


def test_measured_points_of_a_circle_lie_on_it_however_far_apart():
    """The direction at a point is that of the circle through it and its neighbours, so all arcs are of that circle."""
    angle = np.radians([160.0, 150.0, 145.0, 120.0, 112.0, 90.0, 60.0, 52.0, 50.0, 30.0])
    points = np.stack([40 + 20 * np.cos(angle), 10 + 20 * np.sin(angle)], -1)
    chain = chain_of_points(points, np.radians(60))
    np.testing.assert_allclose(chain.centre, np.broadcast_to([40.0, 10.0], (len(chain.centre), 2)), rtol=0, atol=1e-9)


@pytest.mark.parametrize(("radius", "clear"), [(54.1, True), (54.39, False), (54.6, False)])
def test_a_thin_ring_between_the_corners_of_a_patch_is_seen(body, radius, clear):
    """The shank lies across a ring 0.4 mm thick that none of the tool's vertices touches: its patches are 8 mm long.

    How deep it is in the ring is told by points strewn over the round bar.
    """
    steps = [(31.41, 25.0), (31.41, radius), (31.81, radius), (31.81, 25.0), (71.0, 25.0)]
    ring = from_table(
        {"start_mm": [-30.0, 25.0], "piece": [{"shape": "line", "to_mm": list(place)} for place in steps]}
    )
    contact = Contact(body, Wood(ring), places_at(ring, np.array([1]), np.array([30 / 61.41])))
    posture = Postures(np.zeros(1, int), np.zeros(1), np.radians([70.0]), np.radians([14.0]))
    turn, shift = placed(body, contact.places, posture)
    corners = body.corners.reshape(-1, 3) @ turn[0].T + shift[0]
    assert of_points(contact.wood, corners).min() > -1e-9
    phi, z = np.meshgrid(np.linspace(np.pi, 2 * np.pi, 361), np.linspace(-60, -30, 751))
    bar = np.stack([5 * np.cos(phi), 5 * np.sin(phi), z], -1).reshape(-1, 3) @ turn[0].T + shift[0]
    assert (of_points(contact.wood, bar).min() > -TOLERANCE_MM) == clear
    assert contact.clear(posture)[0] == clear


@pytest.mark.parametrize(
    ("case", "point"),
    [
        ("foot, corner of the wheel", (-3.974256, 3.034022)),
        ("foot, sharp wheel, contact aside", (-4.244384, 2.642955)),
        ("table, steady, sharp", (3.962007, 3.05)),
    ],
)
def test_corner_and_side_cut_at_the_very_end_of_the_path(case, point):
    """There the closer places of the path are searched, the first of them too."""
    ground, points = grind_tool(*CASES[case]).ground, np.array([point])
    cut = ground.heights(points)
    assert abs(cut.s[0]) == pytest.approx(ground.passes[0].path.knots[-1], abs=1e-9)
    assert cut.z == pytest.approx(dense_heights(ground, points, poses=1201), abs=2e-8)


def test_no_lines_have_no_cuts():
    cut = grind_tool("foot-relief").ground.heights(np.zeros((0, 2)))
    assert (cut.z.shape, cut.grind.shape, cut.normal.shape) == ((0,), (0,), (3, 0))


def test_between_its_samples_a_crease_lies_on_both_grinds():
    """Cubics with the exact tangents at both ends: half way between, both grinds' heights are the crease's to 1e-6."""
    gouge = grind_tool("rod-relief")
    (crease,) = creases(gouge)
    half = np.full(crease.start.shape[1], 0.5)
    place = hermite(crease.point[:, :-1], crease.point[:, 1:], crease.start, crease.stop, half)
    for one in gouge.ground.passes:
        np.testing.assert_allclose(Ground((one,)).heights(place[:2].T).z, place[2], rtol=0, atol=5e-6)
