"""The workbench as a process: who is let in, what is refused, how it starts and ends."""

import base64
import contextlib
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import tomllib
from pathlib import Path

import pytest

import gougeform
from gougeform.commands.workbench import port_number
from gougeform.errors import InputError
from gougeform.gouge import shape
from gougeform.measures import measure, result
from gougeform.recipe import changed, from_table, load
from gougeform.workbench.guard import checked_host

A, B = "finial-round-10-fingernail-foot", "baluster-square-10-relief-foot"
OWN = {"X-Gougeform": "page", "Content-Type": "application/json"}
PAGE = Path(gougeform.__file__).parent / "workbench" / "page"


def started(*words, wait=True):
    environment = os.environ | {"PYTHONPATH": str(Path(gougeform.__file__).parents[1])}
    process = subprocess.Popen(
        [sys.executable, "-m", "gougeform.command", "workbench", *words, "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )
    line = process.stdout.readline()
    found = re.search(r"http://(\S+):(\d+)/", line)
    if not found:
        raise AssertionError(line + process.communicate(timeout=20)[1])
    return process, int(found[2])


def ended(process):
    process.send_signal(signal.SIGINT)
    try:
        out, err = process.communicate(timeout=20)
    finally:
        process.kill()
    return process.returncode, out, err


@pytest.fixture(scope="module")
def bench():
    process, port = started(A, B, "--port", "0")
    yield port
    code, out, err = ended(process)
    assert code == 0
    assert err == ""
    assert "closed" in out


def asked(port, path, what=None, *, method="POST", host=None, headers=None, body=None):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    data = json.dumps(what if what is not None else {}) if body is None else body
    own = dict(OWN) if method == "POST" else {}
    own |= {"Host": host or f"127.0.0.1:{port}"} | (headers or {})
    own = {k: v for k, v in own.items() if v is not None}
    connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
    raw = data.encode() if isinstance(data, str) else data
    for name, value in own.items():
        connection.putheader(name, value)
    if method == "POST":
        connection.putheader("Content-Length", str(len(raw)))
    connection.endheaders()
    with contextlib.suppress(BrokenPipeError, ConnectionResetError):  # refused before all of it was sent
        if method == "POST":
            connection.send(raw)
    with contextlib.closing(connection), connection.getresponse() as answer:
        return answer.status, answer.read(), dict(answer.headers)


def told(port, path, what=None):
    status, data, _ = asked(port, path, what)
    assert status == 200, data
    return json.loads(data)


def job(port, name, what):
    status, data, _ = asked(port, f"/long/{name}", what)
    assert status == 200, data
    words = [json.loads(line) for line in data.decode().splitlines()]
    return words[-1]


# ---- who is let in


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:{port}",
        "127.0.0.1",
        "127.0.0.1:1",
        "localhost.evil.example:{port}",
        "0.0.0.0:{port}",
        "",
    ],
)
@pytest.mark.parametrize("path", ["/", "/app.js"])
def test_a_foreign_host_is_turned_away(bench, host, path):
    status, data, _ = asked(bench, path, method="GET", host=host.format(port=bench) or " ")
    assert status in (400, 403)
    assert b"<html" not in data


@pytest.mark.parametrize("host", ["127.0.0.1:{port}", "localhost:{port}", "LOCALHOST:{port}", "[::1]:{port}"])
def test_our_own_names_are_answered(bench, host):
    status, data, headers = asked(bench, "/", method="GET", host=host.format(port=bench))
    assert status == 200
    assert b"<html" in data
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1", "http://localhost:{port}"],
)
@pytest.mark.parametrize("path", ["/do/begin", "/long/reach"])
def test_a_foreign_origin_is_turned_away(bench, origin, path):
    status, data, _ = asked(bench, path, headers={"Origin": origin.format(port=bench)})
    assert (status, data) == (403, b"Another page may not use the workbench.\n")


def test_our_own_origin_is_answered(bench):
    assert asked(bench, "/do/begin", headers={"Origin": f"http://127.0.0.1:{bench}"})[0] == 200


@pytest.mark.parametrize(
    ("headers", "status"),
    [({"X-Gougeform": None}, 403), ({"Content-Type": "text/plain"}, 415), ({"Content-Type": None}, 415)],
)
def test_a_form_of_another_page_cannot_ask(bench, headers, status):
    assert asked(bench, "/do/begin", headers=headers)[0] == status


@pytest.mark.parametrize(
    "path",
    [
        "/../server.py",
        "/..%2fserver.py",
        "/%2e%2e/%2e%2e/pyproject.toml",
        "//etc/passwd",
        "/etc/passwd",
        "/page/app.js",
        "/style.css/../../guard.py",
        "/app.js%00.css",
    ],
)
def test_paths_do_not_escape(bench, path):
    status, data, _ = asked(bench, path, method="GET")
    assert status in (400, 404)
    assert b"import" not in data


def test_the_page_asks_nothing_of_anybody_else():
    for path in PAGE.iterdir():
        text = path.read_text()
        for address in re.findall(
            r"(?:https?:)?//[\w.]+\.\w+", re.sub(r"^\s*//.*$|(?<=\s)// .*$", "", text, flags=re.M)
        ):
            assert address == "http://www.w3.org", f"{path.name}: {address}"


def test_nothing_else_is_answered(bench):
    assert asked(bench, "/do/begin", method="GET")[0] == 405
    assert asked(bench, "/do/nothing")[0] == 404


def test_only_loopback_unless_told():
    assert checked_host("localhost", False) == "127.0.0.1"
    assert checked_host("::1", False) == "::1"
    assert checked_host("0.0.0.0", True) == "0.0.0.0"
    for host in ("0.0.0.0", "192.168.1.5", "::", "8.8.8.8"):
        with pytest.raises(InputError, match="other machines"):
            checked_host(host, False)
    for host in ("", "evil.example", "127.0.0.1:80"):
        with pytest.raises(InputError, match="--host"):
            checked_host(host, True)


@pytest.mark.parametrize("text", ["-1", "65536", "80a", "", "٣"])
def test_bad_ports_are_refused(text):
    with pytest.raises(InputError, match="--port"):
        port_number(text)


# ---- sizes


def test_large_requests_and_files_are_refused(bench):
    assert asked(bench, "/do/begin", body=b" " * 2_000_000)[0] == 413
    begun = told(bench, "/do/begin")
    status, data, _ = asked(bench, "/do/open", {"bench": begun["bench"], "tool": "a", "text": "#" * 300_000})
    assert status == 400
    assert b"KiB" in data
    status, data, _ = asked(
        bench, "/do/open", {"bench": begun["bench"], "tool": "a", "text": "import os\nos.system('x')"}
    )
    assert status == 400
    assert b"not TOML" in data


def test_a_request_that_is_no_request_is_refused(bench):
    for body in (b"", b"[]", b"{", b'{"bench": NaN}', b"\xff\xfe"):
        status, data, _ = asked(bench, "/do/turn", body=body)
        assert status == 400, body
        assert json.loads(data)["error"]["problem"]
    for what in ({"bench": 3}, {"bench": {"a": {}}}, {"do": 3}, {"do": [{"do": "turn", "tool": "a", "changes": 3}]}):
        assert asked(bench, "/do/turn", what)[0] == 400, what
    table = load(A).table
    for path, what in (
        ("head", {}),
        ("cross", {"recipe": table, "behind_mm": "x"}),
        ("cross", {"recipe": table, "behind_mm": 1e9}),
        ("stand", {"recipe": table, "work": "coves", "stand": [1]}),
        ("stand", {"recipe": table, "work": "coves", "stand": [999, 0.5, 3, 0.0, 0.0]}),
        ("work", {"work": "../x.toml"}),
        ("save", {"kind": "x"}),
    ):
        assert asked(bench, f"/do/{path}", what)[0] == 400, (path, what)


# ---- what is answered


def test_numbers_are_those_of_the_command_line(bench):
    begun = told(bench, "/do/begin")
    deeds = [{"do": "turn", "tool": "a", "changes": {"jig.projection_mm": 68.5, "grind.0.wing_length_mm": 9}}]
    turned = told(bench, "/do/turn", {"bench": begun["bench"], "do": deeds})
    expected = result(measure(shape(changed(load(A), deeds[0]["changes"]))), [])
    got = turned["tools"]["a"]["numbers"]
    assert got["nose_angle_deg"] == expected["nose_angle_deg"]
    assert got["wing_angle_deg.95"] == expected["wing_angle_deg"]["95"]
    assert got["bevel_length_mm"] == expected["bevel_length_mm"]
    assert (
        turned["differences"]["edge_length_mm"]
        == turned["tools"]["b"]["numbers"]["edge_length_mm"] - got["edge_length_mm"]
    )
    late = told(bench, "/do/late", {"recipe": turned["bench"]["a"]["wanted"]})
    assert late["numbers"]["steel_removed_mm3"] == expected["steel_removed_mm3"]
    again = told(bench, "/do/begin", {"address": turned["address"]})
    assert again["bench"] == turned["bench"]


def test_two_pages_do_not_disturb_each_other(bench):
    begun = told(bench, "/do/begin")["bench"]
    one = told(
        bench,
        "/do/turn",
        {"page": "1", "bench": begun, "do": [{"do": "turn", "tool": "a", "changes": {"jig.projection_mm": 70}}]},
    )
    two = told(
        bench,
        "/do/turn",
        {"page": "2", "bench": begun, "do": [{"do": "turn", "tool": "a", "changes": {"wheel": "wheel-250"}}]},
    )
    assert one["bench"]["a"]["wanted"]["wheel"]["diameter_mm"] == 200
    assert two["bench"]["a"]["wanted"]["jig"]["projection_mm"] == 65
    assert told(bench, "/do/begin")["bench"] == begun


def test_a_newer_request_overtakes_older_ones(bench):
    begun = told(bench, "/do/begin")["bench"]
    answers = []

    def one(i):
        deeds = [{"do": "turn", "tool": "a", "changes": {"jig.projection_mm": 60 + i / 10}}]
        answers.append(told(bench, "/do/turn", {"page": "same", "bench": begun, "do": deeds}))

    threads = [threading.Thread(target=one, args=(i,)) for i in range(12)]
    for each in threads:
        each.start()
        time.sleep(0.001)
    for each in threads:
        each.join()
    overtaken = sum("superseded" in answer for answer in answers)
    assert 1 <= overtaken <= 11
    assert any("bench" in answer for answer in answers)


# ---- the other direction, each as a job


def test_solve_meets_what_is_asked(bench):
    got = job(bench, "solve", {"recipe": load(A).table, "wants": {"nose": 33, "wing50": 50}})["answer"]
    assert got["exact"]
    found = measure(shape(from_table(got["solutions"][0]["exact"]["recipe"])))
    assert found.nose_angle == pytest.approx(33, abs=1e-6)
    assert found.wing_angles[50] == pytest.approx(50, abs=1e-6)


def test_solve_says_what_cannot_be_met_at_its_field(bench):
    got = job(bench, "solve", {"recipe": load(A).table, "wants": {"nose": 33, "wing50": 89}})["answer"]
    assert not got["exact"]
    assert [one["want"] for one in got["unmet"]] == ["wing50"]
    assert job(bench, "solve", {"recipe": load(A).table, "wants": {"nose": 500}})["error"]["field"] == "nose"
    assert job(bench, "solve", {"recipe": load(A).table, "wants": {"nose": "x"}})["error"]["field"] == "nose"
    assert job(bench, "solve", {"recipe": load(A).table, "wants": {}})["error"]["problem"]


def test_relief_transfer_and_regrind(bench):
    recipe = load(A).table
    relief = job(bench, "relief", {"recipe": recipe, "land_mm": 2.5, "move": 6})["answer"]["exact"]
    table = from_table(relief["recipe"])
    assert measure(shape(table)).land == pytest.approx(2.5, abs=0.01)
    assert job(bench, "relief", {"recipe": recipe, "land_mm": 50, "move": 6})["error"]["field"] == "land_mm"
    assert job(bench, "relief", {"recipe": recipe, "land_mm": 2.5})["error"]["field"] == "land_mm"
    carried = job(bench, "transfer", {"recipe": recipe, "wheel": "wheel-150"})["answer"]
    other = measure(shape(from_table(carried["recipe"])))
    assert other.gouge.recipe.wheel.diameter_mm == 150
    assert other.nose_angle == pytest.approx(35, abs=1e-6)
    assert carried["largest_deg"] < 1.5
    assert job(bench, "transfer", {"recipe": recipe, "wheel": "../x.toml"})["error"]["field"] == "wheel"
    new = changed(load(A), {"grind.0.nose_angle_deg": 40})
    cost = job(bench, "regrind", {"recipe": new.table, "older": recipe})["answer"]
    expected = measure(shape(changed(new, {"older": recipe})))
    assert cost["nose_loss_mm"] == pytest.approx(expected.nose_loss, abs=1e-9)
    assert cost["steel_removed_mm3"] == pytest.approx(expected.steel_removed, rel=1e-9)
    assert job(bench, "regrind", {"recipe": recipe, "older": load(B).table})["error"]["problem"]


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


# ---- start and end


def test_a_taken_port_is_left_for_a_free_one_but_not_an_asked_one():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "-m", "gougeform.command", "workbench", "--no-browser", "--port", str(port)],
            capture_output=True,
            text=True,
            timeout=30,
            check=False,
        )
    assert done.returncode == 2
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr
    first, second = started(A), started(A)
    try:
        assert first[1] != second[1]
    finally:
        codes = [ended(process) for process, _ in (first, second)]
    assert [code[0] for code in codes] == [0, 0]
    assert all(code[2] == "" for code in codes)


def test_a_bad_recipe_is_said_before_anything_is_served(tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text("title = 3\n")
    done = subprocess.run(
        [sys.executable, "-m", "gougeform.command", "workbench", "--no-browser", str(path)],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == 2
    assert "bad.toml" in done.stderr


def test_ctrl_c_ends_running_jobs_too():
    process, port = started(A)
    body = json.dumps({"recipe": load(A).table, "work": "coves"})
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    connection.request("POST", "/long/reach", body, OWN | {"Host": f"127.0.0.1:{port}"})
    connection.getresponse().readline()
    began = time.time()
    code, _, err = ended(process)
    connection.close()
    assert code == 0
    assert "Traceback" not in err
    assert time.time() - began < 8
