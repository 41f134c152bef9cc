"""What takes seconds, each as a job in a process of its own: solve, relief, transfer, regrind, files; and stopping."""

import base64
import http.client
import json
import re
import socket
import time
import tomllib

import pytest

from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.recipe.change import changed
from gougeform.recipe.reading import from_table, load
from workbench import OWN, A, B, ended, job, started, told


@pytest.fixture(scope="module")
def bench():
    process, port = started(A, B, "--port", "0")
    yield port
    code, out, err = ended(process)
    assert code == 0
    assert err == ""
    assert "closed" in out


# ---- the other direction, each as a job


def test_solve_meets_what_is_asked(bench):
    got = job(bench, "solve", {"recipe": load(A).table, "wants": {"nose": 33, "wing50": 50}})["answer"]
    assert got["answer"]["result"]["exact"]
    found = measure(shape(from_table(got["solutions"][0]["exact"])))
    assert found.nose_angle == pytest.approx(33, abs=1e-6)
    assert found.wing_angles[50] == pytest.approx(50, abs=1e-6)


def test_solve_says_what_cannot_be_met_at_its_field(bench):
    got = job(bench, "solve", {"recipe": load(A).table, "wants": {"nose": 33, "wing50": 89}})["answer"]
    assert got["answer"]["verdict"].startswith("NOT MET")
    assert [one["want"] for one in got["unmet"]] == ["wing50"]
    assert job(bench, "solve", {"recipe": load(A).table, "wants": {"nose": 500}})["error"]["field"] == "nose"
    assert job(bench, "solve", {"recipe": load(A).table, "wants": {"nose": "x"}})["error"]["field"] == "nose"
    assert job(bench, "solve", {"recipe": load(A).table, "wants": {}})["error"]["problem"]


def test_relief_transfer_and_regrind(bench):
    recipe = load(A).table
    relief = job(bench, "relief", {"recipe": recipe, "land_mm": 2.5, "move": 6})["answer"]
    table = from_table(relief["exact"])
    assert relief["answer"]["result"]["sharpening"]["taken_mm"] == 0.1
    assert measure(shape(table)).land == pytest.approx(2.5, abs=0.01)
    assert job(bench, "relief", {"recipe": recipe, "land_mm": 50, "move": 6})["error"]["field"] == "land_mm"
    assert job(bench, "relief", {"recipe": recipe, "land_mm": 2.5})["error"]["field"] == "land_mm"
    carried = job(bench, "transfer", {"recipe": recipe, "wheel": "wheel-150"})["answer"]
    other = measure(shape(from_table(carried["recipe"])))
    assert other.gouge.recipe.wheel.diameter_mm == 150
    assert other.nose_angle == pytest.approx(35, abs=1e-6)
    told = carried["answer"]
    assert told["result"]["largest_difference_deg"] < 1.5
    settings, edge, *_ = told["blocks"]
    assert (settings["title"], edge["title"]) == ("Settings there", "The edge")
    nose = next(row for row in edge["rows"] if row[0]["text"] == "nose")
    assert nose[2]["value"] == pytest.approx(35, abs=1e-6)
    assert nose[2]["unit"] == "°"
    assert job(bench, "transfer", {"recipe": recipe, "wheel": "../x.toml"})["error"]["field"] == "wheel"
    new = changed(load(A), {"grind.0.nose_angle_deg": 40})
    cost = job(bench, "regrind", {"recipe": new.table, "older": recipe})["answer"]["answer"]["result"]["regrind"][0]
    expected = measure(shape(changed(new, {"older": recipe})))
    assert cost["nose_loss_mm"] == pytest.approx(expected.nose_loss, abs=1e-9)
    off = expected.stated_error["steel_removed_mm3"]
    assert cost["steel_removed_mm3"] == pytest.approx(expected.steel_removed, abs=off)
    other_bar = job(bench, "regrind", {"recipe": recipe, "older": load(B).table})["answer"]["answer"]
    assert any("on the old tool's bar and flute" in note for note in other_bar["notes"])


# ---- files


def test_files_read_back(bench, tmp_path):
    import meshio
    import trimesh

    begun = told(bench, "/do/begin")
    what = {"bench": begun["bench"], "tool": "b"}
    recipe = told(bench, "/do/save", {**what, "kind": "recipe"})
    assert from_table(tomllib.loads(base64.b64decode(recipe["data"]).decode())) == load(B)
    assert re.fullmatch(r"[a-z0-9.-]+\.toml", recipe["name"])
    whole = base64.b64decode(told(bench, "/do/save", {**what, "kind": "bench"})["data"]).decode()
    assert told(bench, "/do/open", {"bench": begun["bench"], "tool": "a", "text": whole})["bench"] == begun["bench"]
    rows = base64.b64decode(told(bench, "/do/save", {**what, "kind": "csv"})["data"]).decode().splitlines()
    assert rows[0].startswith("s_mm,x_mm,y_mm,z_mm,wedge_deg")
    assert len(rows) == 402
    numbers = json.loads(base64.b64decode(told(bench, "/do/save", {**what, "kind": "numbers"})["data"]))
    assert numbers == json.loads(json.dumps(result(measure(shape(load(B))), [])))
    for kind in ("stl", "3mf"):
        got = job(bench, "files", {"kind": kind, "tool": "a", "recipe": load(A).table})["answer"]
        path = tmp_path / f"tool.{kind}"
        path.write_bytes(base64.b64decode(got["data"]))
        mesh = trimesh.load_mesh(path) if kind == "stl" else trimesh.load(path, force="mesh")
        assert mesh.is_watertight, kind
        assert mesh.volume > 1000
    assert meshio.read(tmp_path / "tool.stl").points.shape[1] == 3


def test_the_picture_is_drawn_or_it_is_said_why_not(bench):
    word = job(bench, "picture", {"tool": "a", "recipe": load(A).table})
    if "error" in word:  # a machine without any graphics library
        assert "install one graphics library" in word["error"]["problem"]
    else:
        assert base64.b64decode(word["answer"]["data"]).startswith(b"\x89PNG")
        assert word["answer"]["name"].endswith("-a.png")


def test_gauges_and_card_are_made(bench):
    import io
    import zipfile

    card = job(bench, "files", {"kind": "card", "tool": "b", "recipe": load(B).table})["answer"]
    assert base64.b64decode(card["data"]).startswith(b"%PDF")
    gauges = job(bench, "files", {"kind": "gauges", "tool": "b", "recipe": load(B).table})["answer"]
    with zipfile.ZipFile(io.BytesIO(base64.b64decode(gauges["data"]))) as archive:
        names = archive.namelist()
    assert len(names) == len(set(names)) >= 10
    assert {name.rsplit(".", 1)[1] for name in names} == {"stl", "3mf"}
    assert job(bench, "files", {"kind": "exe", "tool": "b", "recipe": load(B).table})["error"]["field"] == "kind"


def test_a_stopped_job_stops(bench):
    connection = http.client.HTTPConnection("127.0.0.1", bench, timeout=30)
    body = json.dumps({"recipe": load(A).table, "work": "coves"})
    connection.request("POST", "/long/reach", body, OWN | {"Host": f"127.0.0.1:{bench}"})
    answer = connection.getresponse()
    assert b"share" in answer.readline()
    connection.sock.shutdown(socket.SHUT_RDWR)
    connection.close()
    deadline = time.time() + 20
    # Three at most run at once: if the stopped one still counted, the fourth of these would be refused.
    while time.time() < deadline:
        if "answer" in job(bench, "relief", {"recipe": load(A).table, "land_mm": 2.5, "move": 6}):
            break
    else:
        raise AssertionError("the stopped job still counts")


def test_too_many_jobs_are_refused(bench):
    opened = []
    body = json.dumps({"recipe": load(A).table, "work": "coves"})
    for _ in range(4):
        connection = http.client.HTTPConnection("127.0.0.1", bench, timeout=30)
        connection.request("POST", "/long/reach", body, OWN | {"Host": f"127.0.0.1:{bench}"})
        opened.append((connection, connection.getresponse()))
    lines = [json.loads(answer.readline()) for _, answer in opened]
    for connection, _ in opened:
        connection.sock.shutdown(socket.SHUT_RDWR)
        connection.close()
    assert sum("error" in line for line in lines) == 1
    assert "under way" in next(line for line in lines if "error" in line)["error"]["problem"]
