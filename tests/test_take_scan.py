"""Scans of our own tools come back as their numbers, within what is stated; bad files are refused in one sentence."""

import json
import os
import time

import numpy as np
import pytest

from gougeform.command import main
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure
from gougeform.mesh.formats import stl
from gougeform.mesh.solid import build_solid
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.take.mesh import ScannedMesh, read_mesh
from gougeform.take.scan import take_scan
from pace import pace
from scans import scanned

FOOT, ROD, RELIEF = (f"finial-round-10-{name}" for name in ("fingernail-foot", "fingernail-rod", "relief-foot"))
LIKES = [load(FOOT), load(ROD)]
WINGS = [f"wing_angle_deg.{place}" for place in (25, 50, 75, 95)]


def ground(recipe):
    gouge = shape(recipe)
    return measure(gouge), build_solid(gouge, 0.003)


@pytest.fixture(scope="module")
def plain():
    return ground(load(FOOT))


def truth(measures):
    """The same keys from the surfaces themselves."""
    keys = ["nose_angle_deg", *WINGS, "bevel_length_mm", *(["land_mm"] if measures.land is not None else [])]
    lengths = {
        "wing_length_mm": measures.edge.wing_length(1),
        "wheel.diameter_mm": 2 * measures.gouge.recipe.wheel.radius_mm,
    }
    return {key: measures[key] for key in keys} | lengths


def limit(key, noise):
    """The issue's bounds, but for the last tenth of a wing: 0.6° with noise, else 0.1°, is what is true there."""
    if key.endswith(".95"):
        return 0.6 if noise else 0.1
    if "_deg" in key:
        return 0.3 if noise else 0.05
    return {"wheel.diameter_mm": 20.0 if noise else 4.0, "land_mm": 0.1 if noise else 0.02}.get(
        key, 0.1 if noise else 0.01
    )


# ---- what is measured


DEEP = "baluster-deep-round-12.7-fingernail-foot"


@pytest.mark.parametrize(
    ("name", "noise"), [(FOOT, 0.0), (FOOT, 0.02), (RELIEF, 0.0), ("finial-round-10-relief-rod", 0.02), (DEEP, 0.02)]
)
def test_a_scan_comes_back_as_its_numbers(name, noise):
    """Triangles of 0.15 mm in a random pose; with noise, three holes too."""
    measures, solid = ground(load(name))
    mesh = ScannedMesh(*scanned(solid, np.random.default_rng(12), noise=noise, spacing=0.15, holes=3 if noise else 0))
    begin = time.process_time()
    scan = take_scan(mesh, LIKES)
    assert time.process_time() - begin < 20 * pace()
    for key, true in truth(measures).items():
        assert scan.numbers[key].value == pytest.approx(true, abs=limit(key, noise)), key
    recipe = measures.gouge.recipe
    for field in recipe.bar.quantities():
        if f"bar.{field}" in scan.numbers:
            assert scan.numbers[f"bar.{field}"].value == pytest.approx(getattr(recipe.bar, field), abs=0.01), field
    assert scan.numbers["flute.web_mm"].value == pytest.approx(recipe.flute.web_mm, abs=0.01)
    assert scan.noise_mm == pytest.approx(noise, rel=0.1, abs=1e-3)
    # The recipe that is written makes the tool that was measured.
    assert measure(shape(scan.recipe))["nose_angle_deg"] == pytest.approx(
        scan.numbers["nose_angle_deg"].value, abs=1e-3
    )


def test_a_lopsided_tool_differs_left_and_right():
    """Half of one tool, half of another: its left wing is blunter by what the other recipe says."""
    left, right = (ground(changed(load(FOOT), {"jig.arm_cant_deg": cant})) for cant in (40.0, 44.0))
    rng = np.random.default_rng(4)
    parts = [scanned(solid, rng, noise=0.01, spacing=0.15, still=True) for _, solid in (left, right)]
    halves = []
    for (v, f), side in zip(parts, (-1, 1), strict=True):
        keep = (v[f][..., 0] * side > 0).all(1)
        halves.append((v, f[keep]))
    used, faces = np.unique(np.vstack([halves[0][1], halves[1][1] + len(halves[0][0])]), return_inverse=True)
    scan = take_scan(ScannedMesh(np.vstack([v for v, _ in halves])[used], faces.reshape(-1, 3)), LIKES)
    true = [measures["wing_angle_deg.50"] for measures, _ in (left, right)]
    assert abs(true[0] - true[1]) > 1.0
    found = [scan.numbers[f"wing_angle_deg.50.{side}"].value for side in ("left", "right")]
    assert found == pytest.approx(true, abs=0.3)
    assert any("Left and right differ in wing_angle_deg.50" in note for note in scan.notes)


def test_random_scans_keep_what_they_state():
    """Two, the same every time; GOUGEFORM_CASES asks for as many new ones, and -s shows the figures."""
    cases = int(os.environ.get("GOUGEFORM_CASES", "2"))
    rng = np.random.default_rng(77)
    errors, held, refused, done = {}, [], 0, 0
    while done < cases:
        wanted = {
            "bar.diameter_mm": rng.uniform(8, 16),
            "grind.0.nose_angle_deg": rng.uniform(28, 55),
            "grind.0.wing_length_mm": rng.uniform(6, 14),
            "jig.projection_mm": rng.uniform(50, 80),
            "jig.arm_cant_deg": rng.uniform(32, 50),
            "wheel.diameter_mm": rng.uniform(150, 250),
        }
        wanted |= {"flute.radius_mm": 0.4 * wanted["bar.diameter_mm"], "flute.web_mm": 0.6 * wanted["bar.diameter_mm"]}
        try:
            measures, solid = ground(changed(load([FOOT, RELIEF][done % 2]), wanted))
        except InputError:
            continue
        done += 1
        try:
            scan = take_scan(ScannedMesh(*scanned(solid, rng, noise=0.02, spacing=0.15, holes=2)), LIKES)
        except InputError as error:
            refused += 1
            print(error)  # noqa: T201
            continue
        for key, true in truth(measures).items():
            if key in scan.numbers:
                errors.setdefault(key, []).append(scan.numbers[key].value - true)
                held.append(scan.numbers[key].covers(true))
    for key, off in errors.items():
        off = np.abs(off)
        print(f"{key}: median {np.median(off):.3f}, 95 % {np.quantile(off, 0.95):.3f}, largest {off.max():.3f}")  # noqa: T201
        assert np.quantile(off, 0.9) < limit(key, True), key
    print(f"{done} scans, {refused} refused, covered {np.mean(held):.3f}")  # noqa: T201
    assert refused <= 0.05 * done
    assert np.mean(held) > (0.85 if cases >= 5 else 0.7)


# ---- the command


def test_the_command_writes_recipe_table_and_picture(plain, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    v, f = scanned(plain[1], np.random.default_rng(3), noise=0.02, spacing=0.25)
    stl("found.stl", v / 25.4, f, b"inches")
    assert main(["scan", "found.stl"]) == 2
    said = capsys.readouterr().err
    assert "in inches it would be 10" in said
    assert "Give --scale" in said
    assert not (tmp_path / "out").exists()
    assert main(["scan", "found.stl", "--scale", "25.4", "--like", FOOT, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    nose = told["numbers"]["nose_angle_deg"]
    assert abs(nose["value"] - 35.0) < 0.5
    assert 0.01 < nose["off"] < 0.5
    assert set(told["off"]) == {"ground face", "flute", "outline"}
    assert all(0.015 < part["rms_mm"] < 0.025 for part in told["off"].values())
    recipe = load("out/found/recipe.toml")
    assert recipe.bar.diameter_mm == pytest.approx(10.0, abs=0.01)
    assert shape(recipe).recipe.grinds[0].jig.noun == load(FOOT).jig.noun
    assert {p.name for p in (tmp_path / "out/found").iterdir()} == {
        *("recipe.toml", "result.json", "difference.png", "difference.svg")
    }


# ---- files


@pytest.mark.parametrize("kind", ["stl", "ply", "obj"])
def test_all_three_kinds_are_read(plain, tmp_path, kind):
    import trimesh

    path = tmp_path / f"a.{kind}"
    solid = plain[1]
    trimesh.Trimesh(solid.vertices, solid.faces, process=False).export(path)
    mesh = read_mesh(path)
    assert np.ptp(mesh.vertices, axis=0) == pytest.approx(np.ptp(solid.vertices, axis=0), abs=1e-4)


def test_metres_are_named(plain, tmp_path):
    solid = plain[1]
    stl(tmp_path / "m.stl", solid.vertices / 1000, solid.faces, b"m")
    with pytest.raises(InputError, match="in metres it would be 1"):
        read_mesh(tmp_path / "m.stl")


BAD = {
    "empty.stl": (b"", "is empty"),
    "short.stl": (b"x" * 80 + (1000).to_bytes(4, "little") + b"y" * 50, "cut off"),
    "text.ply": (b"hello", "cannot be read as PLY"),
    "none.obj": (b"v 0 0 0\nv 1 0 0\n", "OBJ|no triangles"),
    "few.obj": (b"v 0 0 0\nv 9 0 0\nv 0 9 0\nf 1 2 3\n", "only 1 triangles"),
    "tool.step": (b"x", "ends in .step"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_scans_are_one_sentence(name, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    data, words = BAD[name]
    (tmp_path / name).write_bytes(data)
    assert main(["scan", name]) == 2
    said = capsys.readouterr().err.splitlines()[-1]
    assert said.startswith(f"gougeform: {name}: ")
    assert any(word in said for word in words.split("|"))
    assert [p.name for p in tmp_path.iterdir()] == [name]


def test_what_is_no_gouge_is_said():
    import trimesh

    for form in (trimesh.creation.box((10, 10, 80)), trimesh.creation.cylinder(5, 80)):
        mesh = form.subdivide_to_size(1.0)
        with pytest.raises(InputError, match="flute"):
            take_scan(ScannedMesh(np.asarray(mesh.vertices), np.asarray(mesh.faces)), LIKES)
    ball = trimesh.creation.icosphere(4, 20)
    with pytest.raises(InputError):
        take_scan(ScannedMesh(np.asarray(ball.vertices), np.asarray(ball.faces)), LIKES)
