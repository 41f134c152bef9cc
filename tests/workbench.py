"""Starts the workbench as a process and talks to it the way a page does, or a stranger would."""

import contextlib
import http.client
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import gougeform

A, B = "finial-round-10-fingernail-foot", "baluster-square-10-relief-foot"
OWN = {"X-Gougeform": "page", "Content-Type": "application/json"}


def started(*words, wait=True):
    environment = os.environ | {"PYTHONPATH": str(Path(gougeform.__file__).parents[1])}
    process = subprocess.Popen(
        [sys.executable, "-m", "gougeform.command", "workbench", *words, "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
    )
    return process, listening(process)


def listening(process):
    """The port a started workbench says it listens on."""
    line = process.stdout.readline()
    found = re.search(r"http://(\S+):(\d+)/", line)
    if not found:
        raise AssertionError(line + process.communicate(timeout=20)[1])
    return int(found[2])


def ended(process):
    process.send_signal(signal.SIGINT)
    try:
        out, err = process.communicate(timeout=40)
    finally:
        process.kill()
    return process.returncode, out, err


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
