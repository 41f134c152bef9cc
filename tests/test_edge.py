"""What is measured along the edge, against slow and plain ways to measure the same, and what must not change it."""

from __future__ import annotations

import numpy as np
import pytest

from gougeform.grind.gouge import shape
from gougeform.grind.ground import Ground
from gougeform.measure.cheek import cheek_widths
from gougeform.measure.edge import measure_edge, station_table
from gougeform.measure.measures import measure
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load

SQUARE = {"bar": {"outline": "square", "side_mm": 10.0, "corner_radius_mm": 0.8, "length_mm": 150.0}}
VEE = {"flute": {"shape": "vee", "floor_radius_mm": 1.5, "flank_angle_deg": 30.0, "web_mm": 5.5, "length_mm": 60.0}}
TOOLS = {
    "foot": ("foot", {}),
    "foot, square bar": ("foot", SQUARE | {"grind.0.wing_length_mm": 4.0}),
    "foot, vee": ("foot", VEE | {"grind.0.wing_length_mm": 8.0}),
    "foot, contact aside": ("foot", {"grind.0.contact_mm": 8.0}),
    "foot, wing 0.6": ("foot", {"grind.0.wing_length_mm": 0.6}),
    "foot, shoulder 0.1": ("foot", {"grind.0.shoulder": 0.1, "grind.0.wing_length_mm": 6.0}),
    "rod": ("rod", {}),
    "table": ("table", {"grind.0.wing_length_mm": 2.0}),
}
RELIEFS = {"foot-relief": ("foot-relief", {}), "rod-relief": ("rod-relief", {})}
STEADY = {"rod-steady": ("rod-steady", {}), "table-steady": ("table-steady", {})}
ALL = TOOLS | RELIEFS | STEADY


@pytest.fixture(scope="module")
def edge_of(tool):
    known = {}

    def measured(name):
        if name not in known:
            known[name] = measure_edge(tool(*ALL[name]))
        return tool(*ALL[name]), known[name]

    return measured


@pytest.mark.parametrize("name", TOOLS)
def test_a_traced_edge_is_its_outline(edge_of, name):
    """To 1e-6 mm at every station, where there is no over-cut."""
    gouge, edge = edge_of(name)
    assert edge.overcut < 1e-7
    asked = gouge.outline.at(np.linspace(-1, 1, len(edge.u)))[0]
    np.testing.assert_allclose(edge.point, asked, rtol=0, atol=1e-6)
    wing = gouge.recipe.grinds[0].path.wing_length_mm
    assert (edge.wing_length(-1), edge.wing_length(1)) == pytest.approx((wing, wing), abs=1e-6)


@pytest.mark.parametrize("name", ALL)
def test_points_tangents_and_lengths(edge_of, name):
    gouge, edge = edge_of(name)
    np.testing.assert_allclose(edge.point[:2].T, gouge.section.flute_point(edge.u), rtol=0, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(edge.tangent, axis=0), 1, rtol=0, atol=1e-12)
    # Length from many short chords; the sum falls short by the square of their number.
    lengths = []
    for count in (4001, 8001):
        u = np.interp(np.linspace(0, 400, count), np.arange(401), edge.u)
        flat = gouge.section.flute_point(u)
        z = gouge.ground.heights(flat).z
        lengths.append(np.linalg.norm(np.diff(np.column_stack([flat, z]), axis=0), axis=1).sum())
    assert edge.length == pytest.approx(lengths[1] + (lengths[1] - lengths[0]) / 3, abs=5e-4)
    assert (np.diff(edge.arc) > 0).all()
    # The tangent is the direction of neighbouring stations.
    chord = edge.point[:, 2:] - edge.point[:, :-2]
    cosine = (chord * edge.tangent[:, 1:-1]).sum(0) / np.linalg.norm(chord, axis=0)
    assert np.median(cosine) > 0.99999
    assert cosine.min() > 0.97


@pytest.mark.parametrize("name", ALL)
def test_wedge_angles_from_slopes_of_the_height(edge_of, name):
    """The bevel's normal by differences of h just inside the steel, the flute's from its curve: their dihedral."""
    gouge, edge = edge_of(name)
    k = np.arange(12, 390, 9)
    flute = gouge.section.flute_normal(edge.u[k])
    base = edge.point[:2, k].T - 2e-5 * flute
    step = 1e-5
    slope = [
        (gouge.ground.heights(base + step * e).z - gouge.ground.heights(base - step * e).z) / (2 * step)
        for e in np.eye(2)
    ]
    bevel = np.stack([-slope[0], -slope[1], np.ones(len(k))])
    bevel /= np.linalg.norm(bevel, axis=0)
    wedge = 180 - np.degrees(np.arccos((flute.T * bevel[:2]).sum(0)))
    gap = np.abs(wedge - edge.wedge[k])
    assert np.median(gap) < 1e-3
    assert (gap < 0.02).mean() > 0.9  # beside a crease the differences straddle two surfaces


def plane_crossings(gouge, edge, k, count=20001):
    """(m, 3) all places where the heel meets the plane square to the edge at station k."""
    v = np.linspace(gouge.section.v_left, gouge.section.v_right, count)
    flat = gouge.section.outline.point(v)
    heel = np.column_stack([flat, gouge.ground.heights(flat).z])
    off = (heel - edge.point[:, k]) @ edge.tangent[:, k]
    at = np.flatnonzero((off[:-1] * off[1:] <= 0) & (off[:-1] != off[1:]))
    t = off[at] / (off[at] - off[at + 1])
    return heel[at] + t[:, None] * (heel[at + 1] - heel[at])


@pytest.mark.parametrize("name", ALL)
def test_bevels_end_at_the_heel(edge_of, name):
    gouge, edge = edge_of(name)
    assert np.isfinite(edge.bevel[edge.nose])
    for k in (60, 120, edge.nose, 280, 340):
        if np.isnan(edge.bevel[k]):
            continue
        found = plane_crossings(gouge, edge, k)
        assert np.linalg.norm(found - edge.heel[:, k], axis=1).min() < 2e-5
        assert edge.bevel[k] == pytest.approx(np.linalg.norm(edge.heel[:, k] - edge.point[:, k]), abs=1e-12)
    # At the nose it is the middle plane, and the heel is the underside's middle.
    bottom = gouge.section.outline.on_middle_plane(below=True)
    if "aside" not in name:
        z = gouge.ground.heights(np.array([[0.0, bottom]])).z[0]
        nose = edge.point[:, edge.nose]
        assert edge.bevel[edge.nose] == pytest.approx(np.hypot(nose[1] - bottom, z - nose[2]), abs=1e-6)


@pytest.mark.parametrize("name", [*TOOLS, *STEADY])
def test_hollow_is_the_largest_distance_from_the_chord(edge_of, name):
    gouge, edge = edge_of(name)
    for k in (30, 90, edge.nose, 310, 370):
        if np.isnan(edge.hollow[k]) or edge.bevel[k] < 0.5:
            continue
        a, b = edge.point[:, k], edge.heel[:, k]
        along = (b - a) / np.linalg.norm(b - a)
        out = np.cross(edge.tangent[:, k], along)
        out *= np.sign(out @ edge.normal[:, k])
        t = np.linspace(0.02, 0.98, 481)
        start = a[:, None] + t * (b - a)[:, None] - 0.4 * out[:, None]
        cut = gouge.ground.cut(start, np.broadcast_to(out[:, None], start.shape), from_origin=True)
        depth = 0.4 - cut.z
        brute = depth[np.abs(depth).argmax()]
        # Away from the nose two cubics stand for the bevel's line: they are within a few hundredths of a millimetre.
        assert edge.hollow[k] == pytest.approx(brute, abs=1e-4 if k == edge.nose else 0.03), k


@pytest.mark.parametrize("name", RELIEFS)
def test_land_ends_where_the_relief_takes_over(edge_of, name):
    gouge, edge = edge_of(name)
    asked = gouge.recipe.grinds[1].land_mm
    assert edge.land[edge.nose] == pytest.approx(asked, abs=1e-5)
    checked = 0
    both = np.flatnonzero(np.isfinite(edge.land) & np.isfinite(edge.bevel) & (edge.land > 0.05))
    for k in both[:: max(1, len(both) // 8)]:
        a, b = edge.point[:, k], edge.heel[:, k]
        along = (b - a) / np.linalg.norm(b - a)
        out = np.cross(edge.tangent[:, k], along)
        out *= np.sign(out @ edge.normal[:, k])
        t = np.linspace(0.001, 0.999, 4001)
        start = a[:, None] + t * (b - a)[:, None] - 0.4 * out[:, None]
        cut = gouge.ground.cut(start, np.broadcast_to(out[:, None], start.shape), from_origin=True)
        turn = np.flatnonzero(cut.grind == 1)[0]
        crease = start[:, turn] + cut.z[turn] * out
        assert edge.land[k] == pytest.approx(np.linalg.norm(crease - a), abs=6e-3), k
        checked += 1
    assert checked >= 3


@pytest.mark.parametrize("name", ["foot", "foot, square bar", "foot-relief", "table-steady"])
def test_cheek_widths_on_a_grid(edge_of, name):
    """Full width of steel at or below the floor's height: the widest row of a grid is at most two steps narrower."""
    gouge, _ = edge_of(name)
    behind = np.array([1.0, 3.0, 5.0, 10.0])
    widths = cheek_widths(gouge, behind)
    step = 0.04
    x = np.arange(-5.2, 5.2, step)
    y = np.append(np.arange(gouge.section.underside, gouge.section.y_floor, step), gouge.section.y_floor)
    points = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    points = points[gouge.section.outline.contains(points)]
    z = gouge.ground.heights(points).z
    for d, width in zip(behind, widths, strict=True):
        stands = points[z >= -d]
        grid = stands[:, 0].max() - stands[:, 0].min()
        assert grid - 1e-9 <= width <= grid + 2.5 * step, d
    assert (np.diff(widths) >= 0).all()


@pytest.mark.parametrize("name", ["foot", "foot-relief", "rod", "table-steady"])
def test_more_stations_same_measures(tool, edge_of, name):
    gouge, edge = edge_of(name)
    fine = measure_edge(gouge, 1601)
    assert fine.length == pytest.approx(edge.length, abs=1e-5)
    np.testing.assert_allclose(fine.wedge[::4], edge.wedge, rtol=0, atol=1e-9)
    np.testing.assert_allclose(fine.point[:, ::4], edge.point, rtol=0, atol=1e-9)
    both = np.isfinite(fine.bevel[::4]) & np.isfinite(edge.bevel)
    assert both.sum() > 40
    np.testing.assert_allclose(fine.bevel[::4][both], edge.bevel[both], rtol=0, atol=1e-6)
    assert fine.hollow[fine.nose] == pytest.approx(edge.hollow[edge.nose], abs=1e-7)


@pytest.mark.parametrize("name", [n for n in ALL if "aside" not in n])
def test_mirror_symmetry(edge_of, name):
    _, edge = edge_of(name)
    np.testing.assert_allclose(edge.point[:, ::-1] * [[-1], [1], [1]], edge.point, rtol=0, atol=1e-8)
    np.testing.assert_allclose(edge.wedge[::-1], edge.wedge, rtol=0, atol=1e-5)
    np.testing.assert_array_equal(np.isnan(edge.bevel[::-1]), np.isnan(edge.bevel))
    np.testing.assert_allclose(edge.bevel[::-1], edge.bevel, rtol=0, atol=1e-5)


def test_a_contact_aside_grinds_both_wings_alike(tool):
    """In the tool's frame only the triangle edge, pocket, centre counts; to which side it leans is the machine's."""
    right = measure_edge(tool("foot", {"grind.0.contact_mm": 8.0}))
    left = measure_edge(tool("foot", {"grind.0.contact_mm": -8.0}))
    np.testing.assert_allclose(left.wedge[::-1], right.wedge, rtol=0, atol=1e-5)
    np.testing.assert_allclose(right.wedge[::-1], right.wedge, rtol=0, atol=1e-5)
    np.testing.assert_allclose(right.wedge, measure_edge(tool("foot")).wedge, rtol=0, atol=1e-5)
    # What differs is how far the pocket must stand from the wheel.
    rims = [tool("foot", {"grind.0.contact_mm": c}).settings[0].rim_distance for c in (0.0, 8.0)]
    assert abs(rims[0] - rims[1]) > 0.1


@pytest.mark.parametrize("base", ["foot-relief", "rod", "rod-steady"])
def test_turning_the_pivot_about_the_wheel_moves_only_the_contact(tool, base):
    one, two = tool(base, {"jig.height_mm": -110.0}), tool(base, {"jig.height_mm": 45.0})
    a, b = measure_edge(one), measure_edge(two)
    for field in ("point", "wedge", "bevel", "hollow", "land", "heel_line"):
        np.testing.assert_allclose(getattr(a, field), getattr(b, field), rtol=0, atol=1e-12)
    s, t = one.settings[0], two.settings[0]
    assert (s.centre_distance, s.rim_distance) == (t.centre_distance, t.rim_distance)
    turned = np.arcsin(45 / s.centre_distance) - np.arcsin(-110 / s.centre_distance)
    assert t.contact - s.contact == pytest.approx(turned, abs=1e-12)
    # The rest of the motions: a foot jig's dip turns by as much, roll and swing come out as they must for its ball.
    assert station_table(one, a)["contact_deg"][200] == pytest.approx(np.degrees(s.contact), abs=1e-7)


@pytest.mark.parametrize("base", ["foot", "rod", "table", "table-steady"])
def test_a_belt_is_a_wheel_of_1e7(tool, base):
    """Within some 20 mm of the contact the wheel's face lies 20²/10⁷ = 4e-5 mm off a plane, and turns 4e-6 rad."""
    more = {} if base.startswith("table") else {"jig.height_mm": 0.0}
    belt = measure_edge(tool(base, {"wheel": {"kind": "belt", "width_mm": 40.0}}))
    large = measure_edge(tool(base, {"wheel.diameter_mm": 1e7, **more}))
    usual = measure_edge(tool(base, more))
    np.testing.assert_allclose(large.point, belt.point, rtol=0, atol=1e-4)
    np.testing.assert_allclose(large.wedge, belt.wedge, rtol=0, atol=2e-3)
    np.testing.assert_allclose(large.bevel[200], belt.bevel[200], rtol=0, atol=1e-4)
    assert large.hollow[200] == pytest.approx(belt.hollow[200], abs=1e-5)
    assert abs(usual.hollow[200] - belt.hollow[200]) > 0.02


def test_columns_of_every_station(edge_of):
    gouge, edge = edge_of("foot-relief")
    table = station_table(gouge, edge)
    assert {len(column) for column in table.values()} == {401}
    assert {"s_mm", "wedge_deg", "roll_deg", "dip_deg", "swing_deg", "contact_mm", "contact_deg"} <= set(table)
    assert table["s_mm"][edge.nose] == 0
    np.testing.assert_allclose(table["contact_mm"], 0, atol=1e-8)  # the middle of the face, as asked
    np.testing.assert_allclose(np.diff(table["s_mm"]).sum(), edge.length, atol=1e-9)


def test_over_cut_is_measured(tool):
    """A relief with longer wings and hardly any land takes the edge's: the edge is what is left, behind the outline."""
    gouge = tool(
        "foot-relief", {"grind.1.land_mm": 0.3, "grind.1.nose_angle_deg": 30.0, "grind.1.wing_length_mm": 14.0}
    )
    edge = measure_edge(gouge)
    asked = gouge.outline.at(np.linspace(-1, 1, 401))[0]
    assert edge.overcut == pytest.approx((asked[2] - edge.point[2]).max(), abs=1e-9)
    assert 3.5 < edge.overcut < 4.0  # the wings differ by 4 mm, less the relief's setback
    assert (edge.cut.grind[[2, 398]] == 1).all()


def test_a_relief_leaves_a_land_at_every_station(tool):
    """Beside the nose the plane square to the edge slants across the middle; the land goes on without a gap there."""
    land = measure_edge(tool("foot-relief")).land
    assert np.isfinite(land).all()
    assert np.abs(np.diff(land)).max() < 0.06


def test_a_relief_too_hollow_for_its_land_is_said():
    """On a small wheel the relief crosses the bevel twice: where it was asked to, and nearer to the edge."""
    base = load("finial-round-10-relief-foot")
    small = {"grind.1.wheel": {"diameter_mm": 60.0, "width_mm": 40.0}, "grind.1.nose_angle_deg": 30.0}
    found = measure(shape(changed(base, small | {"grind.1.land_mm": 6.0})))
    line = np.linspace(found.gouge.section.y_floor, -4.9, 20001)
    down = np.stack([np.zeros(len(line)), line], -1)
    bevel, relief = (Ground((one,)).heights(down).z for one in found.gouge.ground.passes)
    taken = np.flatnonzero(relief < bevel)
    first = np.hypot(line[taken[0]] - line[0], bevel[taken[0]])
    assert found.land == pytest.approx(first, abs=2e-3)
    assert any(f"the land left is {found.land:.2f} mm, not the 6 mm asked" in note for note in found.notes)
    kept = measure(shape(changed(base, small | {"grind.1.land_mm": 2.0, "grind.1.nose_angle_deg": 25.0})))
    assert kept.land == pytest.approx(2.0, abs=1e-6)
    assert not any("asked" in note for note in kept.notes)
