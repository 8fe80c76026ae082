"""Every limit of `/v1/limits` below, at and above its value, and every environment variable that sets one.

The limits themselves are common practice, no source.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import nullcontext, suppress
from functools import partial
from typing import Any, Final

import httpx
import pytest
import uvicorn
from pydantic import ValidationError
from starlette.testclient import TestClient
from starlette.types import Receive, Scope, Send

from service import __main__ as command
from service.api import batch
from service.api.app import create_app
from service.api.blends import blends_router
from service.api.main import build_app
from service.api.requests_blend import BlendPlanRequest
from service.api.serving import lanes as lanes_module
from service.api.serving import server as serving
from service.api.serving.callers import Rate
from service.api.serving.lanes import BusyError, Lane, Lanes
from service.api.serving.metrics import Metrics
from service.api.serving.workers import Job
from service.api.settings import _RANGE, MOST_DRAWS, Settings
from service.api.sizes import too_long
from service.errors import InputError, ServiceError
from tests.api import real
from tests.api.echo import client as echo
from tests.clients import test_attacks_connections as attacks

JSON: Final = {"Content-Type": "application/json"}
WAITS_S: Final = 60.0
"""Longer than anything takes on a busy machine."""


# Of one request


def max_body_bytes() -> None:
    small = echo(Settings(max_body_bytes=1024))
    statuses = [
        small.post("/v1/echoes", content=b"{}".ljust(size), headers=JSON).status_code for size in (1023, 1024, 1025)
    ]
    assert statuses == [200, 200, 413]

    def parts(size: int) -> Iterator[bytes]:
        yield b"{}"
        yield b" " * (size - 2)

    statuses = [small.post("/v1/echoes", content=parts(size), headers=JSON).status_code for size in (1023, 1024, 1025)]
    assert statuses == [200, 200, 413]  # counted, where no length is declared


def max_url_characters() -> None:
    small = echo(Settings(max_url_characters=256))
    begin = "/v1/echo?note="
    statuses = [small.get(begin + "x" * (size - len(begin))).status_code for size in (200, 256, 257)]
    assert statuses == [200, 422, 414]  # a note of more than 200 characters is refused for itself
    assert [small.get("/" + "x" * (size - 1)).status_code for size in (255, 256, 257)] == [404, 404, 414]


def max_nesting_depth() -> None:
    small = echo(Settings(max_nesting_depth=8))

    def sent(depth: int) -> int:
        content = '{"anything":' + "[" * (depth - 1) + "]" * (depth - 1) + "}"
        return small.post("/v1/echoes", content=content, headers=JSON).status_code

    assert [sent(7), sent(8), sent(9)] == [200, 200, 400]


def max_list_items() -> None:
    small = echo(Settings(max_list_items=3))
    lots = [{"name": "dry"}] * 4
    statuses = [small.post("/v1/echoes", json={"lots": lots[:n]}).status_code for n in (2, 3, 4)]
    assert statuses == [200, 200, 422]


def max_string_characters() -> None:
    small = echo(Settings(max_string_characters=16))
    assert [small.post("/v1/echoes", json={"batch": "x" * n}).status_code for n in (15, 16, 17)] == [200, 200, 422]
    assert [small.get(f"/v1/echo?note={'x' * n}").status_code for n in (15, 16, 17)] == [200, 200, 422]


def deadline_s() -> None:
    """Every plan gets what the settings say, or what a batch has left; how it is kept is for tests of the solver."""
    given: list[float] = []
    with pytest.MonkeyPatch.context() as patch:
        for module in ("batch", "blends"):
            patch.setattr(f"service.api.{module}.planned", partial(_refuse, given))
        for deadline in (0.05, 10.0):
            client = TestClient(
                create_app(Settings(deadline_s=deadline), (blends_router(Settings(deadline_s=deadline)),))
            )
            client.post("/v1/blend-plans", json=real.BASE)
            client.post("/v1/blend-plans:batch", json={"requests": [real.BASE]})
    assert given == [0.05, 0.05, 10.0, 10.0]


def _refuse(given: list[float], request: BlendPlanRequest, deadline: float) -> Any:
    del request
    given.append(deadline)
    raise ServiceError("no matter")


def max_draws() -> None:
    for draws, fits in ((MOST_DRAWS - 1, True), (MOST_DRAWS, True), (MOST_DRAWS + 1, False)):
        with nullcontext() if fits else pytest.raises(ValidationError, match="less than or equal to 50000"):
            BlendPlanRequest.model_validate({**real.BASE, "draws": draws})


def max_batch_requests() -> None:
    small = Settings(max_batch_requests=2)
    faults = [[f.pointer for f in too_long({"requests": [{}] * n}, small, batch=True)] for n in (1, 2, 3)]
    assert faults == [[], [], ["/requests"]]


def batch_deadline_s() -> None:
    """Requests begin as long as there is time: by a clock of our own, at which each takes a second."""
    for seconds, begun in ((0.5, 1), (4.5, 5), (5.0, 5), (60.0, 10)):
        with pytest.MonkeyPatch.context() as patch:
            now = [100.0]

            def planned(*_: Any, now: list[float] = now) -> Any:
                now[0] += 1.0
                raise ServiceError("no matter")

            patch.setattr(batch, "perf_counter", lambda now=now: now[0])
            patch.setattr(batch, "planned", planned)
            results = batch.answer_batch([real.BASE] * 10, Settings(batch_deadline_s=seconds)).results
        assert [result.status for result in results] == begun * [422] + (10 - begun) * [503]


# Of all together


class _Hands:
    """Workers that never take anything."""

    def __init__(self, count: int = 1, *_: Any, **__: Any) -> None:
        self.count = self.alive = count

    def submit(self, job: Job) -> None:
        del job


def _lane(**limits: Any) -> Lane:
    settings = Settings(**limits)
    hands: Any = _Hands()
    return Lane("single", hands, 2, settings.max_waiting, settings.max_wait_s, Metrics())


def _job() -> Job:
    nowhere: Any = None
    return Job({}, b"", nowhere)


def max_waiting() -> None:
    lane = _lane(max_waiting=3)
    leaves = [lane.enter(_job()) for _ in range(3)]
    assert lane.waiting == 3
    with pytest.raises(BusyError):
        lane.enter(_job())
    assert lane.waiting == 3
    leaves.pop()()
    lane.enter(_job())
    assert lane.waiting == 3


def max_wait_s() -> None:
    lane = _lane(max_wait_s=2.0)
    lane._mean.seconds = 1.0  # two workers: the fifth who waits expects two seconds
    for expected_s in (0.0, 0.5, 1.0, 1.5, 2.0):
        assert lane.waiting * 1.0 / 2 == expected_s
        lane.enter(_job())
    with pytest.raises(BusyError) as busy:
        lane.enter(_job())
    assert busy.value.retry_after_s == 3  # 2.5 s, rounded up


def workers() -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lanes_module, "prepare", lambda: None)
        patch.setattr(lanes_module, "Workers", _Hands)
        for count, for_batches in ((1, 1), (2, 1), (3, 1), (4, 2), (64, 32)):
            hands: list[Any] = [lane.workers for lane in Lanes(Settings(workers=count), Metrics()).lanes.values()]
            assert [each.count for each in hands] == [count, for_batches]
    with TestClient(build_app(Settings(workers=0))) as client:  # threads of the process itself
        assert client.app.state.lanes is None  # type: ignore[attr-defined]
        assert client.post("/v1/blend-plans", json=real.BASE).status_code == 200


def request_burst() -> None:
    rate = Rate(1.0, Settings(request_burst=3).request_burst)
    assert [rate.wait_s("a", 0.0) == 0.0 for _ in range(4)] == [True, True, True, False]


def requests_per_s() -> None:
    rate = Rate(Settings(requests_per_s=4.0).requests_per_s, 1)
    assert rate.wait_s("a", 0.0) == 0.0
    assert [rate.wait_s("a", at) == 0.0 for at in (0.24, 0.25, 0.49, 0.5, 0.51)] == [False, True, False, True, False]


# Of a connection; those over a socket stand beside the other attacks


def shutdown_s() -> None:
    """What takes less is answered still when the service ends; what takes more is not, and does not hold it up."""

    begun, go_on = threading.Event(), threading.Event()

    async def slow(scope: Scope, receive: Receive, send: Send) -> None:
        del scope, receive
        begun.set()
        while not go_on.is_set():
            await asyncio.sleep(0.01)
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"0")]})
        await send({"type": "http.response.body", "body": b""})

    logging.getLogger("uvicorn.error").disabled = True  # which tells of the task that it cancels
    try:
        for settings, answered in ((Settings(shutdown_s=60), True), (Settings(shutdown_s=1), False)):
            begun.clear()
            go_on.clear()
            listening = serving.listening_socket("127.0.0.1", 0)
            server = uvicorn.Server(
                uvicorn.Config(slow, log_config=None, lifespan="off", timeout_graceful_shutdown=settings.shutdown_s)
            )
            running = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
            running.start()
            found: list[bool] = []

            def ask(port: int, found: list[bool]) -> None:
                try:
                    status = httpx.get(f"http://127.0.0.1:{port}/", timeout=WAITS_S).status_code
                    found.append(status == 200)
                except httpx.TransportError:
                    found.append(False)

            port = listening.getsockname()[1]
            asking = threading.Thread(target=ask, args=(port, found))
            asking.start()  # which waits for the server
            assert begun.wait(WAITS_S)
            server.should_exit = True
            for _ in range(int(WAITS_S / 0.01)):  # until it has begun to end, and lets nobody in
                with suppress(OSError), socket.create_connection(("127.0.0.1", port)):
                    time.sleep(0.01)
                    continue
                break
            if answered:
                go_on.set()
            running.join(WAITS_S)
            asking.join(WAITS_S)
            listening.close()
            assert not running.is_alive()
            assert found == [answered]
    finally:
        logging.getLogger("uvicorn.error").disabled = False


CASES: Final[dict[str, tuple[Callable[..., None], ...]]] = {
    "max_body_bytes": (max_body_bytes,),
    "max_url_characters": (max_url_characters,),
    "max_nesting_depth": (max_nesting_depth,),
    "max_list_items": (max_list_items,),
    "max_string_characters": (max_string_characters,),
    "deadline_s": (deadline_s,),
    "max_draws": (max_draws,),
    "max_batch_requests": (max_batch_requests,),
    "batch_deadline_s": (batch_deadline_s,),
    "max_waiting": (max_waiting,),
    "max_wait_s": (max_wait_s,),
    "workers": (workers,),
    "request_burst": (request_burst,),
    "requests_per_s": (requests_per_s,),
    "shutdown_s": (shutdown_s,),
}
OVER_A_SOCKET: Final[dict[str, tuple[Callable[..., None], ...]]] = {
    "max_connections": (attacks.test_as_many_connections_as_there_may_be,),
    "max_header_bytes": (attacks.test_the_size_of_a_head, attacks.test_a_large_head_behind_another_request),
    "header_timeout_s": (
        attacks.test_a_head_and_a_body_that_come_just_in_time,
        attacks.test_a_head_that_does_not_come,
        attacks.test_a_head_that_never_ends_while_others_are_served,
    ),
    "body_timeout_s": (
        attacks.test_a_head_and_a_body_that_come_just_in_time,
        attacks.test_a_body_that_does_not_come,
        attacks.test_a_body_that_drips,
        attacks.test_a_caller_who_does_not_read,
    ),
    "keep_alive_s": (attacks.test_an_idle_connection_is_closed,),
}


@pytest.mark.parametrize("name", CASES)
def test_a_limit(name: str) -> None:
    for case in CASES[name]:
        case()


def test_every_limit_has_its_test() -> None:
    assert {**CASES, **OVER_A_SOCKET}.keys() == Settings().limits().keys()
    assert set(_RANGE) | {"max_draws"} == set(Settings().limits())
    assert not CASES.keys() & OVER_A_SOCKET.keys()


def test_limits_are_shown_as_they_are() -> None:
    unusual = Settings(workers=0, max_body_bytes=2048, header_timeout_s=3.5, request_burst=77, shutdown_s=9)
    shown = TestClient(create_app(unusual)).get("/v1/limits").json()
    assert shown == unusual.limits()
    assert {"max_body_bytes": 2048, "header_timeout_s": 3.5, "request_burst": 77}.items() <= shown.items()


def test_the_server_is_started_with_its_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[uvicorn.Config] = []
    monkeypatch.setenv("SERVICE_WORKERS", "")  # which is put back
    monkeypatch.setattr(serving, "write_log_lines", lambda: None)
    monkeypatch.setattr(uvicorn.Server, "run", lambda self, **_: started.append(self.config))
    limits = {
        "keep_alive_s": 7,
        "shutdown_s": 8,
        "max_header_bytes": 5000,
        "header_timeout_s": 3.0,
        "max_connections": 9,
    }
    with socket.socket() as listening:
        serving.serve(listening, Settings(workers=0, **limits))  # type: ignore[arg-type]
    (config,) = started
    assert (config.timeout_keep_alive, config.timeout_graceful_shutdown) == (7, 8)
    protocol: Any = config.http
    assert (protocol.limits.header_timeout_s, protocol.limits.max_connections) == (3.0, 9)
    assert protocol.limits.max_header_bytes == 5000
    assert (config.server_header, config.access_log, config.ws) == (False, False, "none")


# The environment


def _whole(name: str) -> bool:
    return isinstance(getattr(Settings(), name), int)


def _beyond(name: str) -> tuple[Any, Any]:
    lowest, highest = _RANGE[name]
    return (lowest - 1, highest + 1) if _whole(name) else (lowest * 0.99, highest * 1.01)


@pytest.mark.parametrize("name", _RANGE)
def test_a_variable_of_the_environment(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    variable = f"SERVICE_{name.upper()}"
    for text in map(str, _RANGE[name]):
        found = getattr(Settings.from_environment({variable: f" {text} "}), name)
        assert (found, type(found)) == ((int if _whole(name) else float)(text), int if _whole(name) else float)
    for text in ("", "  "):
        assert Settings.from_environment({variable: text}) == Settings()
    for value in _beyond(name):
        with pytest.raises(InputError, match=f"{variable} has to lie between"):
            Settings.from_environment({variable: str(value)})
        with pytest.raises(InputError, match=variable):
            Settings(**{name: value})
    garbage = ["many", "-", "1 2", "1,5", "0x10", "nan", "inf", "1e999", "9" * 5000, "½", "\x00", "1;2"]
    for text in garbage + (["1.5", "1e3", "10.0"] if _whole(name) else []):
        with pytest.raises(InputError, match=variable) as refused:
            Settings.from_environment({variable: text})
        assert len(refused.value.detail) < 200
    monkeypatch.setenv(variable, str(_RANGE[name][1]))
    assert getattr(Settings.from_environment(), name) == _RANGE[name][1]


KEY: Final = "a-key-of-sixteen"


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        (KEY, (KEY,)),
        (f" {KEY} , {KEY}2 ", (KEY, f"{KEY}2")),
        (f"{KEY},{KEY},,{KEY}2,", (KEY, f"{KEY}2")),
        ("k" * 200, ("k" * 200,)),
        ("Az09._~-Az09._~-", ("Az09._~-Az09._~-",)),
    ],
)
def test_keys_of_the_environment(text: str, keys: tuple[str, ...]) -> None:
    assert Settings.from_environment({"SERVICE_API_KEYS": text}).api_keys == keys


@pytest.mark.parametrize(
    "text",
    [
        KEY[:15],
        "k" * 201,
        f"{KEY} {KEY}",
        f"{KEY},short",
        f"{KEY}\n",
        f"{KEY}=",
        f"{KEY};{KEY}",
        f"{KEY}é",
        f'"{KEY}"',
        ",",
        " , ,",
    ],
)
def test_keys_that_cannot_be_used(text: str) -> None:
    if text == f"{KEY}\n":
        assert Settings.from_environment({"SERVICE_API_KEYS": text}).api_keys == (KEY,)  # as of a file with one line
        with pytest.raises(InputError):
            Settings(api_keys=(text,))
        return
    with pytest.raises(InputError, match="SERVICE_API_KEYS") as refused:
        Settings.from_environment({"SERVICE_API_KEYS": text})
    assert KEY not in refused.value.detail


@pytest.mark.parametrize(
    ("text", "origins"),
    [
        ("", ()),
        ("https://sheets.example.org", ("https://sheets.example.org",)),
        ("http://a:1, http://b:65535", ("http://a:1", "http://b:65535")),
        ("http://127.0.0.1:5173", ("http://127.0.0.1:5173",)),
        ("http://a:443,https://a:80", ("http://a:443", "https://a:80")),
    ],
)
def test_origins_of_the_environment(text: str, origins: tuple[str, ...]) -> None:
    assert Settings.from_environment({"SERVICE_CORS_ORIGINS": text}).cors_origins == origins


@pytest.mark.parametrize(
    "text",
    [
        "*", "null", "https://*", "https://*.example.org", "https://a/", "https://a/b", "https://a?b", "https://A", "HTTPS://a",
        "a.example.org", "//a", "ftp://a", "https://", "https://a:0", "https://a:65536", "https://a:443", "http://a:80",
        "https://user@a", "https://a b", "https://a;https://b", "https://é", ",", "https://a, *", "https://a\nhttps://b",
    ],
)  # fmt: skip
def test_origins_that_cannot_be_used(text: str) -> None:
    """As a browser writes them (HTML Standard, "origin"): another spelling would never be met."""
    with pytest.raises(InputError, match="SERVICE_CORS_ORIGINS"):
        Settings.from_environment({"SERVICE_CORS_ORIGINS": text})


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("", ""),
        ("https://solver.example.org", "https://solver.example.org"),
        ("https://solver.example.org/", "https://solver.example.org"),
        ("http://10.0.0.7:8000/solver/", "http://10.0.0.7:8000/solver"),
        ("http://[::1]:8000", "http://[::1]:8000"),
    ],
)
def test_the_public_address_of_the_environment(text: str, address: str) -> None:
    assert Settings.from_environment({"SERVICE_PUBLIC_URL": text}).public_url == address


@pytest.mark.parametrize(
    "text",
    ["solver.example.org", "ftp://a", "https://", "https://a?b=1", "https://a#b", "https://u:p@a", "https://a:0", "https://a:70000",
     "https://a b", 'https://a"', "https://a\nb", "javascript:alert(1)", "https://a/<b>", "https://a/%0d"],
)  # fmt: skip
def test_a_public_address_that_cannot_be_used(text: str) -> None:
    with pytest.raises(InputError, match="SERVICE_PUBLIC_URL"):
        Settings.from_environment({"SERVICE_PUBLIC_URL": text})


@pytest.mark.parametrize(
    ("variable", "text", "words"),
    [
        *((f"SERVICE_{name.upper()}", "many", "has to be a") for name in _RANGE),
        ("SERVICE_MAX_BODY_BYTES", "1", "between 1024 and"),
        ("SERVICE_API_KEYS", "short", "16 to 200"),
        ("SERVICE_API_KEYS", ",", "lists nothing"),
        ("SERVICE_API_KEYS", "", "lists nothing"),
        ("SERVICE_CORS_ORIGINS", "*", "origins such as"),
        ("SERVICE_PUBLIC_URL", "here", "an address such as"),
    ],
)
def test_a_server_does_not_start_with_it(
    variable: str, text: str, words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv(variable, text)
    monkeypatch.setattr(sys, "argv", ["service", "serve", "--port", "0"])
    assert command.main() == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert variable in told.err
    assert words in told.err
    assert told.err.count("\n") == 1


@pytest.mark.parametrize("workers_", ["-1", "65"])
def test_a_server_does_not_start_with_so_many_workers(
    workers_: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["service", "serve", "--port", "0", "--workers", workers_])
    assert command.main() == 2
    assert "SERVICE_WORKERS has to lie between 0 and 64" in capsys.readouterr().err
