"""The same study on a dask.distributed cluster of two workers, one of them killed: the same table.

No outside source: the run in one process is the reference.
"""

from __future__ import annotations

import os
import signal
import threading
import time

import pytest

pytestmark = pytest.mark.filterwarnings("default::DeprecationWarning:(distributed|dask|tornado).*")

from distributed import LocalCluster  # noqa: E402

from gougeform.errors import InputError  # noqa: E402
from gougeform.study.plan import read  # noqa: E402
from gougeform.study.run import JOURNAL, run  # noqa: E402

STUDY = """
recipe = "finial-round-10-fingernail-foot"
outputs = ["edge", "settings"]
sample = "latin"
points = 240
seed = 2
[[vary]]
field = "grind.0.nose_angle_deg"
from = 30.0
to = 48.0
[[vary]]
field = "jig.projection_mm"
from = 60.0
to = 110.0
"""


@pytest.fixture(scope="module")
def cluster():
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as local:
        yield local


@pytest.fixture
def plan(tmp_path):
    (tmp_path / "study.toml").write_text(STUDY)
    return read(tmp_path / "study.toml")


def test_a_cluster_with_a_worker_killed_gives_the_same_table(cluster, plan, tmp_path):
    folder, killed = tmp_path / "cluster", []

    def kill():
        for _ in range(2400):
            if (folder / JOURNAL).exists() and (folder / JOURNAL).read_bytes().count(b"\n") > 20:
                killed.append(cluster.workers[0].pid)
                os.kill(killed[0], signal.SIGKILL)
                return
            time.sleep(0.025)

    killer = threading.Thread(target=kill)
    killer.start()
    spread = run(plan, folder, cluster=cluster.scheduler_address)
    killer.join()
    assert killed
    alone = run(plan, tmp_path / "alone", workers=1)
    assert spread.computed == alone.computed == 240
    assert {"ok", "failed"} <= set(alone.table["status"].to_pylist())
    assert spread.table.equals(alone.table)


def test_no_cluster_there(plan, tmp_path):
    with pytest.raises(InputError, match=r"cluster: given tcp://127.0.0.1:9: no scheduler answers"):
        run(plan, tmp_path / "none", cluster="tcp://127.0.0.1:9")
    with pytest.raises(InputError, match=r"cluster: given nowhere"):
        run(plan, tmp_path / "none", cluster="nowhere")


def test_another_version_on_the_workers_is_refused(cluster, plan, tmp_path, monkeypatch):
    monkeypatch.setattr("gougeform.many.crew.__version__", "9.9.9")
    with pytest.raises(InputError, match=r"its workers run gougeform .*, this is 9.9.9"):
        run(plan, tmp_path / "old", cluster=cluster.scheduler_address)
