"""What an operator reads: metrics in the exposition format of Prometheus, log lines as JSON, readiness."""

from __future__ import annotations

import json
import logging
import sys

import pytest
from prometheus_client.parser import text_string_to_metric_families
from starlette.testclient import TestClient

from service.api.logs import ACCESS_LOGGER, JsonLines
from service.api.main import build_app
from service.api.serving.metrics import Metrics
from service.api.settings import Settings
from tests.api.echo import client
from tests.api.real import BASE

Samples = dict[tuple[str, tuple[tuple[str, str], ...]], float]


def samples(text: str) -> Samples:
    """Every sample by name and labels, read by the reader of the client library."""
    found: Samples = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            found[sample.name, tuple(sorted(sample.labels.items()))] = sample.value
    return found


@pytest.fixture(scope="module")
def served() -> TestClient:
    return TestClient(build_app(Settings(workers=0)))


def labels(**given: str) -> tuple[tuple[str, str], ...]:
    return tuple(sorted(given.items()))


def test_requests_are_counted_by_operation_method_and_status(served: TestClient) -> None:
    served.post("/v1/blend-plans", json=BASE)
    served.post("/v1/blend-plans", json={})
    served.get("/v1/cell/sg-from-brix?brix=20")
    served.head("/v1/cell/sg-from-brix?brix=20")
    answer = served.get("/metrics")
    assert answer.headers["content-type"].startswith("text/plain; version=")
    assert answer.headers["cache-control"] == "no-store"
    found = samples(answer.text)
    for operation, method, status in (
        ("solve_blend", "POST", "200"),
        ("solve_blend", "POST", "422"),
        ("cell_sg_from_brix", "GET", "200"),
        ("cell_sg_from_brix", "HEAD", "200"),
    ):
        name = "service_requests_total", labels(operation=operation, method=method, status=status)
        assert found[name] == 1.0
    assert found["service_request_seconds_count", labels(operation="solve_blend")] == 2.0


def test_whatever_is_asked_adds_few_labels(served: TestClient) -> None:
    """Labels out of paths, queries, methods or callers would let anybody fill the memory."""
    for k in range(30):
        served.get(f"/nothing/{k}?x={k}")
        served.get(f"/v1/ingredients/nothing_{k}")
        served.get(f"/v1/cell/nothing-{k}")
        served.request(f"METHOD{k}", "/v1/limits")
    found = [key for key in samples(served.get("/metrics").text) if key[0] == "service_requests_total"]
    assert len(found) < 20
    assert {dict(key[1])["method"] for key in found} <= {"GET", "HEAD", "POST", "other"}


def test_an_application_counts_for_itself() -> None:
    first, second = Metrics(), Metrics()
    first.rejected("queue_full")
    assert b'service_rejections_total{reason="queue_full"} 1.0' in first.written()
    assert b"queue_full" not in second.written()


def test_solves_are_told_by_operation_and_outcome() -> None:
    metrics = Metrics()
    for seconds in (0.003, 0.3):
        metrics.solved("solve_blend", "targets_met", seconds)
    metrics.solved("solve_blend", "targets_clash", 0.03)
    found = samples(metrics.written().decode())
    met = {"operation": "solve_blend", "outcome": "targets_met"}
    assert found["service_solve_seconds_count", labels(**met)] == 2.0
    assert found["service_solve_seconds_sum", labels(**met)] == pytest.approx(0.303)
    assert found["service_solve_seconds_bucket", labels(**met, le="0.005")] == 1.0
    assert found["service_solve_seconds_count", labels(operation="solve_blend", outcome="targets_clash")] == 1.0


def test_a_log_line_is_one_json_object_whatever_happened() -> None:
    try:
        raise ValueError("two\nlines \ud800")
    except ValueError:
        failed = logging.LogRecord(
            "service.errors", logging.ERROR, "", 0, "request %s failed", ("abc",), sys.exc_info()
        )
    line = JsonLines().format(failed)
    assert "\n" not in line
    told = json.loads(line)
    assert (told["level"], told["logger"], told["message"]) == ("error", "service.errors", "request abc failed")
    assert "ValueError: two\nlines" in told["exception"]
    access = logging.LogRecord(ACCESS_LOGGER, logging.INFO, "", 0, '{"status": 200}', (), None)
    assert JsonLines().format(access) == '{"status": 200}'


def test_readiness_solves_and_tells_why_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.api.documents._READINESS_HOLDS_S", 3600.0)  # however slow the machine is
    asked: list[int] = []

    def unwell() -> str | None:
        asked.append(1)
        return None if len(asked) > 1 else "The cellar is flooded."

    probe = client(readiness=(unwell,))
    first = probe.get("/readyz")
    assert (first.status_code, first.headers["retry-after"]) == (503, "5")
    assert first.json()["errors"][0]["detail"] == "The cellar is flooded."
    assert probe.get("/readyz").status_code == 503, "whoever asks often is told what was found a moment ago"
    assert len(asked) == 1


def test_readiness_of_the_whole_service(served: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    assert served.get("/readyz").json() == {"status": "ready"}

    class Dead:
        def without_workers(self) -> list[str]:
            return ["single"]

    app = build_app(Settings(workers=0))
    monkeypatch.setattr(app.state, "lanes", Dead())
    answer = TestClient(app).get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["errors"][0]["detail"] == "No worker is alive for: single."
