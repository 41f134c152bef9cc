"""Running studies: rows equal single runs bit for bit, and no kill loses a finished row or computes one twice.

No outside source: the single run is the reference, and it is held against outside sources elsewhere.
"""

from __future__ import annotations

import csv
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pyarrow.parquet
import pytest

from gougeform.errors import InputError
from gougeform.grind.gouge import shape
from gougeform.measure.measures import measure, result
from gougeform.present.progress import duration
from gougeform.reach.quantities import EVERY
from gougeform.recipe.change import changed
from gougeform.recipe.reading import load
from gougeform.recipe.write import to_toml
from gougeform.study import table, worker
from gougeform.study.plan import read
from gougeform.study.run import JOURNAL, run
from gougeform.study.worker import CONSTRAINT, FAILED, OK

STUDY = """
title = "What the tests run"
recipe = "finial-round-10-fingernail-foot"
outputs = ["settings", "nose_angle_deg", "wing_angle_deg.50", "edge_length_mm", "bevel_length_mm", "land_mm"]
[[vary]]
field = "grind.0.nose_angle_deg"
from = 30.0
to = 45.0
steps = 30
[[vary]]
field = "jig.projection_mm"
values = [60, 65, 70, 105]
[[constraint]]
name = "jig.projection_mm"
least = 61
[[constraint]]
name = "wing_angle_deg.50"
most = 50.0
"""
ROWS = 120


@pytest.fixture
def study(tmp_path):
    path = tmp_path / "many.toml"
    path.write_text(STUDY)
    return path


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The study done in this process, without a break."""
    folder = tmp_path_factory.mktemp("whole")
    path = folder / "many.toml"
    path.write_text(STUDY)
    return run(read(path), folder / "out", study=STUDY, workers=1)


def numbers(folder: Path) -> list[int]:
    lines = (folder / JOURNAL).read_bytes().split(b"\n")[1:-1]
    return [json.loads(line)[1][0] for line in lines]


def wait_for_rows(folder: Path, count: int, running: subprocess.Popen | None = None) -> None:
    for _ in range(1200):
        if (folder / JOURNAL).exists() and (folder / JOURNAL).read_bytes().count(b"\n") > count:
            return
        assert running is None or running.poll() is None, "it ended too early"
        time.sleep(0.025)
    raise AssertionError("no rows after half a minute")


def command(study: Path, folder: Path, *more: str) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", "gougeform.command", "study", str(study), "-o", str(folder), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_rows_are_single_runs_bit_for_bit(whole):
    base, rows = load("finial-round-10-fingernail-foot"), whole.table.to_pylist()
    assert len(rows) == ROWS
    seen = set()
    for row in rows[::7]:
        seen.add(row["status"])
        setting = {name: row[name] for name in ("grind.0.nose_angle_deg", "jig.projection_mm")}
        if row["status"] == FAILED:
            with pytest.raises(InputError) as caught:
                measure(shape(changed(base, setting)))
            assert row["reason"] == f"{caught.value.field}: {caught.value.problem}"
            continue
        if row["jig.projection_mm"] < 61:
            assert row["status"] == CONSTRAINT
            assert row["reason"] == "jig.projection_mm is 60, asked is at least 61"
            assert row["nose_angle_deg"] is None
            continue
        single = result(measure(shape(changed(base, setting))), [])
        for name in ("centre_distance_mm", "rim_distance_mm", "nose_angle_deg", "edge_length_mm", "bevel_length_mm"):
            assert row[name] == single[name]
        assert row["wing_angle_deg.50"] == single["wing_angle_deg"]["50"]
        assert row["land_mm"] is None
        assert (row["status"] == OK) == (row["wing_angle_deg.50"] <= 50.0)
    assert seen == {OK, CONSTRAINT, FAILED}


def test_the_files_beside_the_table_say_how_it_was_made(whole):
    folder = whole.files[0].parent
    assert {path.name for path in whole.files} == {
        "many.parquet", "many.csv", "study.toml", "recipe.toml", "study.json",
    }  # fmt: skip
    assert (folder / "study.toml").read_text() == STUDY
    assert (folder / "recipe.toml").read_text() == to_toml(load("finial-round-10-fingernail-foot"))
    about = json.loads((folder / "study.json").read_text())
    assert about["complete"]
    assert about["tools"] == about["rows"] == ROWS
    assert {"gougeform", "numpy", "scipy", "python"} <= set(about["versions"])
    kept = pyarrow.parquet.read_table(folder / "many.parquet")
    assert kept.equals(whole.table)
    assert json.loads(kept.schema.metadata[b"gougeform"])["versions"] == about["versions"]


def test_the_csv_reads_back_bit_for_bit(whole):
    folder = whole.files[0].parent
    with open(folder / "many.csv", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert list(rows[0]) == whole.table.column_names
    assert set(whole.plan.outputs) <= set(EVERY)
    for text, row in zip(rows, whole.table.to_pylist(), strict=True):
        for name, value in row.items():
            assert (
                text[name] == value
                if isinstance(value, str)
                else text[name] == ""
                if value is None
                else float(text[name]) == value
            )


def test_processes_give_the_same_table(study, tmp_path, whole):
    two = run(read(study), tmp_path / "out", workers=2)
    assert two.computed == ROWS
    assert two.table.equals(whole.table)


def test_a_finished_study_is_not_computed_again(study, tmp_path):
    study.write_text(STUDY.replace("steps = 30", "steps = 2"))
    plan = read(study)
    first, second = run(plan, tmp_path / "out", workers=1), run(plan, tmp_path / "out", workers=1)
    assert (first.computed, second.computed) == (8, 0)
    assert first.table.equals(second.table)
    again = run(plan, tmp_path / "out", workers=1, restart=True)
    assert again.computed == 8


def test_a_killed_worker_costs_nothing(study, tmp_path, whole):
    folder, killed = tmp_path / "out", []

    def kill():
        wait_for_rows(folder, 8)
        child = multiprocessing.active_children()[0]
        killed.append(child.pid)
        child.kill()

    killer = threading.Thread(target=kill)
    killer.start()
    outcome = run(read(study), folder, workers=2)
    killer.join()
    assert killed
    assert not outcome.stopped
    assert outcome.table.equals(whole.table)
    assert sorted(numbers(folder)) == list(range(ROWS))


def test_a_killed_run_goes_on_where_it_was(study, tmp_path, whole):
    folder = tmp_path / "out"
    running = command(study, folder, "--workers", "2")
    wait_for_rows(folder, 12, running)
    children = [int(pid) for pid in Path(f"/proc/{running.pid}/task/{running.pid}/children").read_text().split()]
    assert len(children) >= 2
    os.kill(running.pid, signal.SIGKILL)
    running.wait(10)
    before = numbers(folder)
    assert 12 <= len(before) < ROWS
    for _ in range(200):  # the workers notice and end too
        left = [pid for pid in children if Path(f"/proc/{pid}").exists()]
        if not left:
            break
        time.sleep(0.05)
    for pid in left:
        os.kill(pid, signal.SIGKILL)
    assert not left, "processes that nobody waits for any more went on"
    running.communicate(timeout=10)
    with open(folder / JOURNAL, "ab") as stream:
        stream.write(b'[119, "ok", "", [1.0, 2')  # a line that the kill has cut short
    outcome = run(read(study), folder, workers=1)
    after = numbers(folder)
    assert after[: len(before)] == before
    assert sorted(after) == list(range(ROWS))
    assert outcome.computed == ROWS - len(before)
    assert outcome.table.equals(whole.table)


def test_ctrl_c_leaves_a_usable_table(study, tmp_path, whole):
    folder = tmp_path / "out"
    running = command(study, folder, "--workers", "1", "--json")
    wait_for_rows(folder, 4, running)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)
    assert running.returncode == 130, err
    assert "Traceback" not in err
    said = json.loads(out)
    assert not said["complete"]
    part = pyarrow.parquet.read_table(folder / "many.parquet")
    assert said["rows"] == part.num_rows == len(numbers(folder))
    assert 4 <= part.num_rows < ROWS
    assert part.equals(whole.table.take(part["point"]))
    assert not json.loads((folder / "study.json").read_text())["complete"]


def test_a_fault_of_the_program_is_a_row_too(study, monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("in the middle")

    monkeypatch.setattr("gougeform.study.worker.compute", broken)
    assert worker.row(read(study), 5, (30.0, 1)) == (
        5,
        FAILED,
        "fault of the program: ZeroDivisionError: in the middle",
        [],
    )


def test_a_large_table_is_built_in_little_time_and_memory(tmp_path):
    path = tmp_path / "large.toml"
    path.write_text(STUDY.replace("steps = 30", "steps = 25000"))
    plan = read(path)
    assert plan.size == 100_000
    values = [1.5] * len(plan.outputs)
    begin = time.process_time()
    rows = table.Rows(plan)
    for number in range(plan.size - 1, -1, -1):
        rows.put((number, "ok", "", values))
    made = rows.table()
    assert time.process_time() - begin < 5.0
    assert made.nbytes < 50e6
    assert made["point"].to_pylist()[:3] == [0, 1, 2]
    np.testing.assert_array_equal(made["jig.projection_mm"].to_numpy()[:4], [60, 65, 70, 105])


def test_times_are_said_in_words():
    assert [duration(seconds) for seconds in (0.2, 89, 200, 7200)] == ["0 s", "89 s", "3 min", "2.0 h"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "STUDY: is missing"),
        (["--workers", "0", "x.toml"], "--workers: given 0"),
        (["--workers", "two", "x.toml"], "--workers: given two"),
        (["--workers", "2", "--cluster", "tcp://127.0.0.1:9", "x.toml"], "beside --cluster"),
        (["nothing-like-it"], "not in the library's studies"),
        (["missing.toml"], "there is no such file"),
    ],
)
def test_bad_commands_say_what_to_change(words, said, capsys):
    from gougeform.command import main

    assert main(["study", *words]) == 2
    assert said in capsys.readouterr().err


def test_outputs_can_be_listed(capsys):
    from gougeform.command import main
    from gougeform.reach.quantities import EVERY

    assert main(["study", "--outputs"]) == 0
    said = capsys.readouterr().out
    assert all(name in said for name in EVERY)
