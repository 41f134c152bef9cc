"""Honing wheels on ground edges, and the shaped hone for the flute."""

import numpy as np
import pytest

from gougeform.bar.section import build_section
from gougeform.command import main
from gougeform.grind.gouge import shape
from gougeform.machine.wheel import Wheel
from gougeform.measure.measures import measure
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.recipe.write import to_toml
from gougeform.settings.bench import bench_of
from gougeform.settings.hone import honing, largest_hone

FOOT = "finial-round-10-fingernail-foot"


def ways(name, **wheel):
    found = honing(load(name), Wheel(width_mm=40.0, **wheel))
    return found, {way.words.split(":")[0] if "kept" not in way.words else way.words: way for way in found.ways}


def middle_plane(found, bench):
    """Nose, bevel's end and wheel centre in the middle plane, from the set-up's own triangle (law of cosines)."""
    edge = found.edge
    nose = edge.point[1:, edge.nose]
    end = edge.heel[1:, edge.nose]
    r = bench.wheel.diameter_mm / 2
    beta = np.radians(bench.nose_angle())
    return nose, end, nose + r * np.array([-np.cos(beta), np.sin(beta)]), r


@pytest.mark.parametrize("diameter", [120.0, 200.0, 250.0, 400.0])
def test_tangent_at_the_edge_makes_the_edge_angle(diameter):
    found, every = ways(FOOT, diameter_mm=diameter)
    way = every["tangent at the edge"]
    assert way.bench.nose_angle() == pytest.approx(35, abs=1e-9)
    assert way.off[0] == pytest.approx(0, abs=1e-9)
    # And the air at the heel is that of circle and point, laid out in the plane.
    nose, end, centre, r = middle_plane(found, way.bench)
    assert np.linalg.norm(nose - centre) == pytest.approx(r, abs=1e-9)
    assert way.at_heel == pytest.approx(np.linalg.norm(end - centre) - r, abs=1e-6)


@pytest.mark.parametrize("diameter", [250.0, 400.0])
def test_on_edge_and_heel_the_hone_goes_through_both(diameter):
    found, every = ways(FOOT, diameter_mm=diameter)
    way = every["on edge and the heel"]
    nose, end, centre, r = middle_plane(found, way.bench)
    assert np.linalg.norm(nose - centre) == pytest.approx(r, abs=1e-9)
    assert np.linalg.norm(end - centre) == pytest.approx(r, abs=1e-6)
    assert way.at_heel == pytest.approx(0, abs=1e-9)


def test_hollow_and_chord():
    # Derived: β_edge = β_chord - asin(c / 2R), by the sheet's 40°, c 8, R 100 → 37.7075572240 as well as by the tool.
    assert 40 - np.degrees(np.arcsin(8 / 200)) == pytest.approx(37.7075572240, abs=1e-9)
    found, _ = ways(FOOT, diameter_mm=250.0)
    assert found.chord_angle - np.degrees(np.arcsin(found.chord / 200)) == pytest.approx(35, abs=1e-9)


def test_the_grinding_wheel_itself_hones_with_nothing_changed():
    found, _ = ways(FOOT, diameter_mm=200.0)
    bench = bench_of(load(FOOT))
    for way in found.ways:
        # The projection is looked for, to a thousandth of a millimetre.
        searched = way.words == "tangent, projection too"
        assert way.bench.value("distance") == pytest.approx(bench.value("distance"), abs=2e-3 if searched else 1e-9)
        assert way.off == pytest.approx(np.zeros(5), abs=1e-3 if searched else 1e-6)
        assert way.at_heel == pytest.approx(0, abs=1e-6)


def test_a_smaller_hone_cannot_lie_on_edge_and_heel():
    _, every = ways(FOOT, diameter_mm=150.0)
    way = every["on edge and the heel"]
    assert way.bench is None
    assert "would cut the bevel between them" in way.problem
    assert every["tangent at the edge"].at_heel > 0  # it stands in the hollow: air at the heel
    _, wide = ways(FOOT, diameter_mm=250.0)
    assert wide["tangent at the edge"].at_heel < 0  # a flatter one meets the heel first


def test_the_kept_setting_is_off_by_what_a_measurement_says():
    recipe = load(FOOT)
    _, every = ways(FOOT, diameter_mm=180.0)
    rim = bench_of(recipe).value("distance")
    there = measure(shape(changed(recipe, {"wheel.diameter_mm": 180.0, "grind.0.rim_distance_mm": rim})))
    way = every["kept: distance from rim"]
    assert way.off[0] == pytest.approx(there.nose_angle - 35, abs=1e-7)
    before = measure(shape(recipe))
    assert way.off[2] == pytest.approx(there.wing_angles[50] - before.wing_angles[50], abs=1e-6)
    centre = changed(recipe, {"wheel.diameter_mm": 180.0, "grind.0.centre_distance_mm": rim + 100})
    assert every["kept: from the centre"].off[0] == pytest.approx(measure(shape(centre)).nose_angle - 35, abs=1e-7)


def test_with_a_relief_the_hone_lies_on_the_land():
    found, every = ways("finial-round-10-relief-foot", kind="belt")
    assert found.chord == pytest.approx(load("finial-round-10-relief-foot").grinds[1].land_mm, abs=1e-3)
    way = every["on edge and the land's end"]
    assert way.nose == pytest.approx(found.chord_angle, abs=1e-9)
    assert way.at_heel == pytest.approx(0, abs=1e-9)


def test_the_projection_too_lays_the_hone_on_the_wings():
    # Found in a review: with the nose tangent alone the wings are left 1.7 degrees off on another wheel.
    _, every = ways(FOOT, diameter_mm=150.0)
    plain, moved = every["tangent at the edge"], every["tangent, projection too"]
    assert moved.off[0] == pytest.approx(0, abs=1e-9)
    assert moved.wings < 0.3 * plain.wings
    # Independent: that very set-up ground, and measured on the surface.
    set_up = changed(load(FOOT), {"wheel.diameter_mm": 150.0, "jig.projection_mm": moved.bench.value("projection")})
    there, before = measure(shape(set_up)), measure(shape(load(FOOT)))
    assert moved.off[2] == pytest.approx(there.wing_angles[50] - before.wing_angles[50], abs=1e-6)


def test_the_ruler_tells_what_its_own_setting_does():
    found, _ = ways(FOOT, diameter_mm=150.0)
    for way in found.ways:
        if way.ruler is None:
            continue
        for name in ("distance", "projection"):
            assert way.ruler.bench.value(name) * 2 == pytest.approx(round(way.ruler.bench.value(name) * 2), abs=1e-9)
        assert way.ruler.off[0] == pytest.approx(way.ruler.bench.nose_angle() - 35, abs=1e-9)


def test_a_hone_always_says_which_way_it_turns(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["hone", FOOT, "--wheel", "honing-180"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "turns AWAY from the edge" in said
    assert "180 mm wheel's face runs at 9.0 m/s at 950 rpm" in said  # its own: pi * 0.18 * 950 / 60
    assert "200 mm wheel" not in said
    assert {path.name for path in (tmp_path / "out" / FOOT).iterdir()} == {"hone.toml", "hone.png", "hone.svg"}
    set_up = load("out/finial-round-10-fingernail-foot/hone.toml")
    assert set_up.wheel.diameter_mm == 180
    assert measure(shape(set_up)).nose_angle == pytest.approx(35, abs=0.5)


def test_a_table_is_tilted():
    _, every = ways("finial-round-10-plain-table", kind="belt")
    assert every["tangent at the edge"].bench.value("tilt") == pytest.approx(40, abs=1e-6)


@pytest.mark.parametrize(
    ("flute", "radius", "why"),
    [
        ({"shape": "arc", "radius_mm": 4.0, "web_mm": 6.5}, 4.0, "the circle itself"),
        ({"shape": "parabola", "floor_radius_mm": 2.5, "web_mm": 6.5}, 2.5, "a parabola opens from its floor circle"),
        # Upright ellipse, higher than wide: its floor is its sharpest place, a²/b.
        ({"shape": "ellipse", "floor_radius_mm": 2.0, "half_width_mm": 3.5, "web_mm": 5.0}, 2.0, "floor is sharpest"),
        ({"shape": "vee", "floor_radius_mm": 1.5, "flank_angle_deg": 40.0, "web_mm": 6.0}, 1.5, "flanks are tangent"),
    ],
)
def test_largest_hone(flute, radius, why):
    section = build_section(*_bar_and_flute(flute))
    found, floor = largest_hone(section)
    assert found == pytest.approx(radius, rel=2e-4), why
    assert floor == pytest.approx(radius, rel=1e-6)


def test_walls_of_a_flat_flute_hold_the_hone_off():
    # A flat ellipse (a 4, floor radius 8, so b = 2): the walls come in before the floor's own 8 mm would fit. Derived:
    # x = a sin t, y = b (1 - cos t), least (x² + y²) / 2y over t.
    bar, flute = _bar_and_flute({"shape": "ellipse", "floor_radius_mm": 8.0, "half_width_mm": 4.0, "web_mm": 8.5})
    section = build_section(bar, flute)
    t = np.linspace(1e-3, section.u_right, 400001)
    x, y = 4 * np.sin(t), 2 * (1 - np.cos(t))
    found, floor = largest_hone(section)
    assert floor == pytest.approx(8, rel=1e-6)
    assert found == pytest.approx(((x * x + y * y) / (2 * y)).min(), abs=1e-6)
    assert found < floor


def _bar_and_flute(flute):
    recipe = changed(load(FOOT), {"flute": flute | {"length_mm": 60.0}})
    return recipe.bar, recipe.flute


def test_a_hone_that_stops_the_old_projection_is_told_all_the_same(tmp_path):
    """A rod jig on a flat hone: at the grinding wheel's projection the rod would be in it; refused once, not told."""
    assert main(["hone", "finial-round-10-relief-rod", "--wheel", "flat", "-o", str(tmp_path)]) == 0
    set_up = load(str(tmp_path / "hone.toml"))
    assert measure(shape(set_up)).nose_angle == pytest.approx(35, abs=0.5)


def test_the_written_set_up_holds_the_hone_in_the_middle_of_its_face(tmp_path):
    """As the ways are computed; off the middle a foot jig makes another nose at the same distance."""
    aside = tmp_path / "aside.toml"
    aside.write_text(to_toml(changed(load(FOOT), {"grind.0.contact_mm": 8.0, "ruler_mm": 0.01})))
    assert main(["hone", str(aside), "--wheel", "180", "-o", str(tmp_path)]) == 0
    set_up = load(str(tmp_path / "hone.toml"))
    assert set_up.grinds[0].path.contact == 0
    assert measure(shape(set_up)).nose_angle == pytest.approx(measure(shape(load(str(aside)))).nose_angle, abs=0.02)


def test_a_set_up_that_cannot_stand_is_said_and_not_written(tmp_path, capsys):
    assert main(["hone", FOOT, "--wheel", "flat", "-o", str(tmp_path)]) == 0
    assert "cannot be set up: the clamp would stand" in " ".join(capsys.readouterr().out.split())
    assert not (tmp_path / "hone.toml").exists()
