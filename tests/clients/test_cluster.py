"""The batch core on a cluster of processes: what two workers answer is what one process answers."""

from __future__ import annotations

import ast
import copy
import importlib
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from service.api.settings import Settings
from service.api.sweeps import answer_bodies
from service.planner.sweep import LotRows, SweptRows, amounts_for, joined
from tests.clients.serving import needs

README = Path(__file__).parents[2] / "README.md"
GET = "pip install 'back-sweetening-solver[sweeps]'"
COLUMNS = ("state", "mass_g", "volume_l", "gravity", "abv_percent")


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """Two worker processes of this machine, on ports that the system chooses, without the web page of Dask."""
    needs(package="distributed", get=GET)
    distributed: Any = importlib.import_module("distributed")
    with (
        # not at the usual port, at which the README's script starts its own
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=":0") as local,
        distributed.Client(local) as client,
    ):
        client.wait_for_workers(2, timeout=120)
        yield client


def _bodies() -> list[Any]:
    """Requests of several kinds, one impossible, one that is refused and one that is no request at all."""
    found: list[Any] = [
        {
            "lots": [{"name": "dry base", "volume": "24 L", "gravity": 0.996 + 0.001 * k, "abv_percent": 8.1}],
            "additions": [{"ingredient": "honey", "max": "3 kg"}, {"ingredient": "lemon_juice"}][: 1 + k % 2],
            "targets": {"gravity": 1.012},
        }
        for k in range(4)
    ]
    impossible, refused = copy.deepcopy(found[0]), copy.deepcopy(found[1])
    impossible["targets"] = {"gravity": 1.2}
    refused["lots"][0]["volume"] = "24"
    return [*found, impossible, refused, ["no request"]]


def _timeless(answers: list[dict[str, Any]]) -> list[str]:
    """Each answer as JSON, without the time that its proof took."""
    for answer in answers:
        if answer["plan"] is not None:
            assert answer["plan"]["proof"].pop("milliseconds") >= 0.0
    return [json.dumps(answer, ensure_ascii=False) for answer in answers]


def test_bodies_are_answered_as_in_one_process(cluster: Any) -> None:
    bodies = _bodies()
    patient = Settings(deadline_s=10.0)
    here = answer_bodies(bodies, patient)
    assert [answer["status"] for answer in here] == [200] * 5 + [422] * 2
    assert here[4]["plan"]["outcome"] == "targets_clash"
    workers = list(cluster.scheduler_info()["workers"])
    assert len(workers) == 2
    halves = zip((bodies[:4], bodies[4:]), workers, strict=True)
    parts = [cluster.submit(answer_bodies, half, patient, workers=[at], pure=False) for half, at in halves]
    there = [answer for part in cluster.gather(parts) for answer in part]
    assert _timeless(there) == _timeless(here)


def test_arrays_are_swept_as_in_one_process(cluster: Any) -> None:
    dice = np.random.default_rng(5)
    lots = [
        LotRows(dice.uniform(5.0, 500.0, 400), dice.uniform(0.98, 1.03, 400), dice.uniform(0.0, 16.0, 400))
        for _ in range(5)
    ]
    target = np.linspace(0.99, 1.08, 400)
    here = [amounts_for("gravity", target, part, "honey") for part in lots]
    jobs = [cluster.submit(amounts_for, "gravity", target, part, "honey", pure=False) for part in lots]
    _same(joined(cluster.gather(jobs)), joined(here))
    assert 0 < joined(here).reached.sum() < 2000


def _same(one: SweptRows, other: SweptRows) -> None:
    for column in COLUMNS:
        a, b = getattr(one, column), getattr(other, column)
        assert a.dtype == b.dtype
        assert a.tobytes() == b.tobytes(), column


def _block() -> str:
    blocks = re.findall(r"^```python\n(.*?)^```$", README.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    (found,) = [str(block) for block in blocks if "from distributed import" in block]
    return found


def _told(lines: list[str]) -> None:
    """What the block of the README prints: its 20 plans, its million of amounts, and what to change in the others."""
    plans, swept, reasons = lines
    assert plans == "20 of 20 plans meet their target"
    counted = re.fullmatch(r"(\d+) of 1000000 rows have an amount; the most is \d+ g", swept)
    assert counted is not None
    assert int(counted[1]) + sum(ast.literal_eval(reasons).values()) == 1_000_000


def test_the_cluster_of_the_readme(
    cluster: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its block as it stands there, with the workers of this test in the place of those that it would start."""

    class Shared:
        """What the block takes for a client of its own: that of this test, which stays when the block is done."""

        def __init__(self, **chosen: Any) -> None:
            assert chosen["n_workers"] == 2

        def __enter__(self) -> Any:
            return cluster

        def __exit__(self, *_: object) -> None: ...

    monkeypatch.setattr("distributed.Client", Shared)
    exec(compile(_block(), "README script", "exec"), {"__name__": "__main__"})
    _told(capsys.readouterr().out.splitlines())


@pytest.mark.slow
def test_the_script_of_the_readme_starts_its_own_workers(tmp_path: Path) -> None:
    """As a file of its own: each worker imports it anew, which the guard at its end is for."""
    needs(package="distributed", get=GET)
    script = tmp_path / "sweep.py"
    script.write_text(_block(), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-W", "error", str(script)],
        env={**os.environ, "PYTHONPATH": str(README.parent)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    _told(done.stdout.splitlines())
