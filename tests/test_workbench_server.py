"""The workbench as a process: who is let in, what is refused, what is answered, how it starts and ends."""

import argparse
import http.client
import json
import re
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

import gougeform
from gougeform.commands.workbench import port as port_number
from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.workbench.guard import checked_host, known, names_of
from workbench import OWN, A, B, asked, ended, started, told

PAGE = Path(gougeform.__file__).parent / "workbench" / "page"


@pytest.fixture(scope="module")
def bench():
    process, port = started(A, B, "--port", "0")
    yield port
    code, out, err = ended(process)
    assert code == 0
    assert err == ""
    assert "closed" in out


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
        with pytest.raises(InputError, match="host"):
            checked_host(host, True)


def test_with_the_network_let_in_foreign_names_are_still_foreign():
    names = names_of("0.0.0.0", 7340, True)
    for header in ("192.168.1.5:7340", "[fe80::1]:7340", "localhost:7340"):
        assert known(header, names, 7340, True), header
    for header in ("evil.example:7340", "192.168.1.5:80", "192.168.1.5", "192.168.1.5.evil.example:7340", ""):
        assert not known(header, names, 7340, True), header
    assert not known("192.168.1.5:7340", names_of("127.0.0.1", 7340, False), 7340, False)


@pytest.mark.parametrize("text", ["-1", "65536", "80a", "", "٣"])
def test_bad_ports_are_refused(text):
    with pytest.raises(argparse.ArgumentTypeError, match="given"):
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
    assert time.time() - began < 15
