"""Sharing work out and keeping what is finished: the same results wherever it is done, and nothing believed by mistake.

No outside source: what this very process computes is the reference.
"""

from __future__ import annotations

import json
import math
import multiprocessing
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from gougeform.errors import InputError
from gougeform.many.crew import Died, asked_to_stop, crew
from gougeform.many.journal import Journal

# ---- crew


def root(value):
    return math.sqrt(value)


class Bomb:
    """Kills the process that unpickles it."""

    def __reduce__(self):
        return os._exit, (9,)


def refused(value):
    if value == 5:
        raise InputError("value", "given 5", "give another")
    return value


def pause(seconds):
    time.sleep(seconds)
    return seconds


@pytest.mark.parametrize("processes", [1, 2])
@pytest.mark.parametrize("at_a_time", [1, 7])
def test_every_task_has_its_result_wherever_it_is_done(processes, at_a_time):
    with crew(processes) as hands:
        found = dict(hands.finished(root, range(50), at_a_time=at_a_time))
        assert found == {k: math.sqrt(k) for k in range(50)}
        told = []
        assert hands.results(root, [9, 4, 1], told.append) == [3, 2, 1]
        assert told == [1, 2, 3]
        with pytest.raises(InputError, match="value: given 5"):
            hands.results(refused, list(range(20)))
    assert not multiprocessing.active_children()


@pytest.mark.parametrize("processes", [1, 2])
def test_endless_tasks_are_taken_as_they_are_needed(processes):
    taken = []

    def endless():
        while True:
            taken.append(len(taken))
            yield len(taken)

    with crew(processes) as hands:
        done = []
        for number, _ in hands.finished(root, endless(), at_a_time=3, stop=lambda: len(done) > 20):
            done.append(number)
            assert len(taken) <= len(done) + 3 * (2 * processes + 1)
        assert sorted(done) == taken, "what was taken is finished"


def test_a_task_that_kills_its_process_is_said_and_costs_no_other():
    tasks = [1, 4, Bomb(), 9, 16]
    with crew(2) as hands:
        found = dict(hands.finished(root, tasks))
        assert isinstance(found[2], Died)
        assert found[2].task is tasks[2]
        assert {k: v for k, v in found.items() if k != 2} == {0: 1, 1: 2, 3: 3, 4: 4}
        with pytest.raises(InputError, match=r"number 3 of 5: the process that computed it died, every time it was"):
            hands.results(root, tasks)


def test_what_is_left_is_given_up_at_once_where_one_fails():
    begin = time.monotonic()

    def first_fails():
        with crew(2) as hands:
            for _ in hands.finished(pause, [0.0, *[60.0] * 10]):
                raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        first_fails()
    assert time.monotonic() - begin < 30
    for _ in range(100):
        if not multiprocessing.active_children():
            return
        time.sleep(0.05)
    raise AssertionError("a process went on")


def test_the_first_ctrl_c_asks_and_the_second_interrupts():
    before = signal.getsignal(signal.SIGINT)
    with asked_to_stop() as stop:
        assert not stop()
        os.kill(os.getpid(), signal.SIGINT)
        assert stop()
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before


def test_ctrl_c_ends_everything_that_nobody_asked_to_stop(tmp_path):
    """As `compare` does: a terminal sends the signal to parent and children alike."""
    script = tmp_path / "run.py"
    script.write_text(
        "import time\nfrom gougeform.many.crew import crew\n"
        "with crew(2) as hands:\n    print('begun', flush=True)\n    hands.results(time.sleep, [60.0] * 4)\n"
    )
    run = subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    assert run.stdout.readline() == "begun\n"
    time.sleep(2)
    os.killpg(run.pid, signal.SIGINT)
    _, errors = run.communicate(timeout=20)
    assert errors.strip().endswith("KeyboardInterrupt")
    assert errors.count("Traceback") == 1, errors  # the children say nothing


# ---- journal

ROWS = [[3, "ok", "", [1 / 3, None, 1e-300]], [0, "failed", "because: “so”\n", []], [1, "ok", "", [35.0, -0.0, 2.5]]]


def kept(path, key="a"):
    with Journal(path, key) as journal:
        return list(journal.records()), journal.damaged


@pytest.fixture
def path(tmp_path):
    """A journal of ROWS."""
    path = tmp_path / "new" / "rows.jsonl"
    with Journal(path, "a") as journal:
        journal.add(ROWS)
    return path


def test_a_journal_is_one_question_and_one_run(path):
    with Journal(path, "a") as journal:
        with pytest.raises(InputError, match="another run is writing"):
            Journal(path, "a")
        assert repr(list(journal.records())) == repr(ROWS)
    assert repr(kept(path)) == repr((ROWS, 0))
    assert [json.loads(line)[1] for line in path.read_text().splitlines()][1:] == ROWS, "lines anybody can read"
    with pytest.raises(InputError, match=r"something else.*restart"):
        Journal(path, "b")
    assert kept(path) == (ROWS, 0), "a refusal changes nothing"
    with Journal(path, "b", restart=True) as journal:
        assert list(journal.records()) == []
    assert kept(path, "b") == ([], 0)
    with pytest.raises(InputError, match="cannot be written"):
        Journal(path / "below", "a")


def test_a_line_that_a_kill_has_cut_short_is_dropped(path):
    whole = path.read_bytes()
    begin = whole.rindex(b"\n", 0, -1) + 1
    for length in range(begin + 1, len(whole)):
        path.write_bytes(whole[:length])
        assert kept(path) == (ROWS[:2], 1)
        assert path.read_bytes() == whole[:begin]
        with Journal(path, "a") as journal:
            journal.add(ROWS[2:])
        assert path.read_bytes() == whole
    path.write_bytes(whole[:5])  # killed in its very first line
    assert kept(path) == ([], 1)
    assert kept(path) == ([], 0)


def test_no_flipped_bit_is_believed(path, monkeypatch):
    """Every bit of the file, one by one: its row is missing and said, or nothing is missing; never another row."""
    monkeypatch.setattr(os, "fsync", lambda handle: None)  # thousands of times the disk need not hurry
    whole = path.read_bytes()
    begins = [0, *(k + 1 for k in range(len(whole)) if whole[k : k + 1] == b"\n")]
    for place in range(len(whole)):
        hurt = [row for row, begin, end in zip(ROWS, begins[1:], begins[2:], strict=False) if begin <= place < end]
        if whole[place : place + 1] == b"\n":  # two lines run into one
            hurt += [row for row, begin in zip(ROWS, begins[1:], strict=False) if begin == place + 1]
        for bit in range(8):
            flipped = bytearray(whole)
            flipped[place] ^= 1 << bit
            path.write_bytes(flipped)
            assert kept(path)[0] == [row for row in ROWS if row not in hurt], (place, bit)
            assert kept(path) == ([row for row in ROWS if row not in hurt], 0), "said once"
    chance = random.Random(1)
    for _ in range(500):
        flipped = bytearray(whole)
        for _ in range(chance.randint(2, 40)):
            flipped[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
        path.write_bytes(flipped)
        try:
            found, damaged = kept(path)
        except InputError:
            assert path.read_bytes() == flipped
            continue
        assert damaged
        assert all(row in ROWS for row in found)


def test_damage_is_counted_and_new_rows_come_after_it(path):
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([lines[0], b"[1, oops\n", lines[1], lines[2].replace(b"failed", b"ok"), lines[3]]))
    assert kept(path) == ([ROWS[0], ROWS[2]], 2)
    with Journal(path, "a") as journal:
        assert journal.damaged == 0
        journal.add([ROWS[1]])
    assert kept(path) == ([ROWS[0], ROWS[2], ROWS[1]], 0)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_said(path):
    with Journal(path, "a") as journal, open("/dev/full", "wb", buffering=0) as full:
        own, journal._file = journal._file, full
        with pytest.raises(InputError, match=r"No space left.*what is finished is kept"):
            journal.add(ROWS)
        journal._file = own
