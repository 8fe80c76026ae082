"""Hostile paths, queries, hosts, ids and names over a real socket, and keys of a real process.

The rules of HTTP are those of RFC 9110 and RFC 9112; those of problem documents RFC 9457.
"""

from __future__ import annotations

import csv
import io
import json
import re
import time
from typing import Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.requests import Request

from service.api.addresses import address_of
from service.api.guards import SECURITY_HEADERS
from service.api.settings import Settings
from service.api.tables import csv_text
from tests.api.real import BASE
from tests.clients.attacking import Answer, Quick, Wire, get, post, quick_server
from tests.clients.serving import started


def test_no_security_header_is_forgotten() -> None:
    """What the OWASP HTTP Headers Cheat Sheet asks of an API and of a page, from memory; TLS is for who speaks it."""
    assert SECURITY_HEADERS == {
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    }


@pytest.mark.parametrize(
    "target",
    [
        "/v1/../etc/passwd", "/../../etc/passwd", "//v1/limits", "/v1//limits", "/v1/./limits", "/v1/limits/",
        "/V1/limits",
        "/%2e%2e/%2e%2e/etc/passwd", "/%00", "/v1/limits%00", "/v1/limits%0d%0aX-Evil:%201", "/%ff%fe",
        "/%", "/%zz", "/page/..%2f..%2fsettings", "/page/%2e%2e/%2e%2e/app", "/docs/", "/docs/..%2fpage%2findex.html",
        "/docs/../page/index.html", "/page/../../../settings", "/problems/", "/problems/x", "/problems/../docs",
        "/problems/%2e%2e", "/v1/ingredients/..%2f..%2fsettings", "/v1/cell/..%2flimits", "/v1/cell/%3Cscript%3E",
        "/v1/cell/%0d%0aX-Evil:%201", "/v1/ingredients/%0d%0a", "/static/page/index.html", "/.env", "/.git/config",
        "/docs/docs-init.js.map", "/v1/limits;a=b", "/v1/limits%3Fa", "\\..\\..\\windows", "/" + "../" * 600,
    ],
)  # fmt: skip
def test_paths_that_lead_nowhere(at_ease: Quick, target: str) -> None:
    answer = at_ease.ask(get(target))
    assert answer.status == 404
    assert "x-evil" not in answer.headers
    assert answer.problem()["type"] in ("/problems/not-found", "/problems/unknown-ingredient")


@pytest.mark.parametrize(
    "query", ["a%0d%0aX-Evil:%201=1", "brix=20%00", "brix=%ff", "brix=20&brix=21", "&&&=&=", "%", "brix"]
)
def test_queries(at_ease: Quick, query: str) -> None:
    answer = at_ease.ask(get(f"/v1/cell/sg-from-brix?{query}"))
    assert answer.status == 422
    assert "x-evil" not in answer.headers


HOSTS: Final = (
    "a\" onload=\"x", "<script>alert(1)</script>", "a/../b", "a?b", "a#b", "a@b", "user:pw@a", "a b", "a,b", "=1+1",
    "a'b", 'a")&cmd|',
    "a\\b", "a:99999999", "a%0d%0ab", "\xe9.example", "x" * 300, "[::1", "[::1]x", "a:b", "", "a;b", "{{a}}", "${a}",
)  # fmt: skip


@pytest.mark.parametrize("host", HOSTS)
def test_a_host_that_is_none_stands_nowhere(at_ease: Quick, host: str) -> None:
    """Formulas that would carry it name the socket instead; seen here without a socket, for all hosts quickly."""
    scope = {
        "type": "http",
        "app": at_ease.server.config.app,
        "scheme": "http",
        "path": "/v1/cell",
        "server": ("192.0.2.7", 8000),
        "headers": [(b"host", host.encode("latin-1")), (b"x-forwarded-host", b"evil.example")],
    }
    assert address_of(Request(scope)) == "http://192.0.2.7:8000"


@pytest.mark.parametrize(
    ("target", "accept"), [("/v1/cell", "text/html"), ("/v1/cell", "application/json"), ("/v1/cell.csv", "*/*")]
)
def test_a_host_in_no_page(at_ease: Quick, target: str, accept: str) -> None:
    host = '"><script>=1+1'
    answer = at_ease.ask(get(target, f"Accept: {accept}", "X-Forwarded-Host: evil.example", host=host))
    assert answer.status == 200
    assert f"http://127.0.0.1:{at_ease.port}/v1/cell/".encode() in answer.content
    assert b"script>=1" not in answer.content
    assert b"evil.example" not in answer.content


@pytest.mark.parametrize("scheme", ["javascript", "https, http", "", "http\x00"])
def test_a_forwarded_scheme_is_http_or_https(at_ease: Quick, scheme: str) -> None:
    answer = at_ease.ask(get("/v1/cell", f"X-Forwarded-Proto: {scheme}", host="sheets.example"))
    assert answer.status in (200, 400)
    if answer.status == 200:
        assert b"http://sheets.example/v1/cell" in answer.content


def asked_as(*forwarded: tuple[str, ...]) -> list[list[int]]:
    """The statuses of three requests each of whom a proxy on this machine names so, each with a burst of two.

    A new one may be asked every ten seconds: where all of it took longer, it is asked anew.
    """
    for _ in range(10):
        with quick_server(Settings(workers=0, request_burst=2, requests_per_s=0.1)) as server:
            begin = time.monotonic()
            found = [
                [
                    server.ask(get("/v1/limits", *(f"X-Forwarded-For: {each}" for each in lines))).status
                    for _ in range(3)
                ]
                for lines in forwarded
            ]
            took_s = time.monotonic() - begin
        if took_s < 9.5:
            return found
    raise AssertionError(f"{took_s:.1f} s for a few light requests")


def test_whose_forwarded_addresses_count() -> None:
    """Those that a proxy on this machine names, of several the last that is not its own; nobody names themselves."""
    program, *proxied = asked_as(
        (),
        ("203.0.113.7",),
        ("127.0.0.1, 203.0.113.7",),
        ("198.51.100.1", "203.0.113.7"),
        ("203.0.113.7, 127.0.0.1",),
        ("[2001:db8::1]",),
        ("2001:db8::2",),
    )
    assert program == [200, 200, 200]  # a program on this machine
    first, refused = [200, 200, 429], [429, 429, 429]
    assert proxied == [first, refused, refused, refused, first, refused]


@pytest.mark.parametrize("given", ['a"b', "a b", "<b>", "a" * 65, "é", "a\tb", "../..", "${a}"])
def test_a_request_id_that_cannot_be_used(at_ease: Quick, given: str) -> None:
    assert at_ease.ask(get("/healthz", f"X-Request-ID: {given}")).headers["x-request-id"] != given


@pytest.mark.parametrize("accept", ["a" * 3000, "," * 3000, ";q=" * 900, "*/*;q=nan", "text/html;q=1e999,\xff"])
def test_any_accept_is_answered(at_ease: Quick, accept: str) -> None:
    assert at_ease.ask(get("/v1/cell", f"Accept: {accept}")).status == 200


@pytest.mark.parametrize(
    ("target", "lines", "method", "status"),
    [
        ("/", (), "GET", 200),
        ("/docs", (), "GET", 200),
        ("/page/icon.svg", (), "GET", 200),
        ("/page/app.js", (), "GET", 200),
        ("/v1/ingredients", ("If-None-Match: *",), "GET", 304),
        ("/v1/ingredients.csv", (), "GET", 200),
        ("/v1/cell", ("Accept: text/html",), "GET", 200),
        ("/v1/cell/sg-from-brix?brix=20", (), "GET", 200),
        ("/v1/cell/sg-from-brix.xml?brix=20", (), "GET", 200),
        ("/problems/busy", (), "GET", 200),
        ("/v1/limits", ("Origin: https://elsewhere.example",), "GET", 200),
        ("/v1/limits", ("Origin: null",), "OPTIONS", 204),
        ("/v1/blend-plans", ("Origin: https://a.example", "Access-Control-Request-Method: POST"), "OPTIONS", 204),
    ],
)
def test_headers_of_every_kind_of_answer(
    at_ease: Quick, target: str, lines: tuple[str, ...], method: str, status: int
) -> None:
    """What stands on every answer is checked where it is read, and that no origin is let in unless it is listed."""
    assert at_ease.ask(get(target, *lines, method=method), method).status == status


@given(st.lists(st.text("=+-@;,\t\n \"'a\uff1d", max_size=12), min_size=1, max_size=4))
@settings(max_examples=150)
def test_no_cell_of_a_table_is_a_formula(texts: list[str]) -> None:
    """Opened with either separator that spreadsheets use (which may end a cell although it stands within quotes)."""
    written = csv_text([{"first": 1.0, **{f"name {k}": text for k, text in enumerate(texts)}}])
    for separator in ",;":
        for row in csv.reader(io.StringIO(written), delimiter=separator):
            assert not [cell for cell in row if re.match(r"\s*[=+@\uff1d-]", cell)], (written, separator)


def test_a_table_of_a_hostile_recipe(at_ease: Quick) -> None:
    """Names that a recipe brings along become cells and, as those of lots, titles of columns."""
    formula = 'x;=HYPERLINK("http://evil.example";"open")'
    body = {**BASE, "batch": "=1+1", "lots": [{**BASE["lots"][0], "name": formula}]}
    answer = at_ease.ask(post(json.dumps(body).encode(), target="/v1/blend-plans.csv"))
    assert answer.status == 200
    text = answer.content.decode()
    assert "'=1+1" in text
    assert "x;'=HYPERLINK(" in text
    assert ";=" not in text


KEYS: Final = ("first-key-of-a-maker-0001", "second~key.of_a-maker-02")


@pytest.mark.slow
def test_keys_and_rates_of_a_real_process() -> None:
    variables = {"SERVICE_API_KEYS": ", ".join(KEYS), "SERVICE_WORKERS": "1", "SERVICE_DEADLINE_S": "5"}
    with started(**variables) as server:
        ask = Quick(server.port, None).ask  # type: ignore[arg-type]
        computed = "/v1/cell.csv"
        for target in ("/v1/cell", "/v1/workbook.xlsx", "/v1/openapi.json", "/metrics", "/", computed, "/nothing"):
            assert ask(get(target)).status == 401
            assert ask(get(target, f"Authorization: Bearer {KEYS[0]}x")).status == 401
            assert ask(get(f"{target}{'&' if '?' in target else '?'}api_key=")).status == 401
        assert ask(get("/healthz")).status == ask(get("/readyz")).status == 200

        def with_key(target: str) -> Answer:
            return ask(get(target, f"Authorization: Bearer {KEYS[0]}"))

        # kept answers are for those with a key, with whichever, and for no cache between
        first = with_key(computed)
        again = ask(get(f"{computed}?api_key={KEYS[1]}"))
        assert (first.status, first.content) == (again.status, again.content)
        assert first.status == 200
        assert first.headers["cache-control"].startswith("private")
        assert ask(get(computed, f"If-None-Match: {first.headers['etag']}")).status == 401
        assert ask(get(computed)).status == 401
        # a key is told to nobody
        for target in ("/v1/cell", "/v1/cell.csv", f"/nothing?api_key={KEYS[1]}", f"/v1/limits?x=1&api_key={KEYS[0]}"):
            content = with_key(target).content
            assert not [key for key in KEYS if key.encode() in content]
        metrics = with_key("/metrics").content
        log = server.log()
        assert not [key for key in KEYS if key.encode() in metrics or key in log]
        assert b'service_rejections_total{reason="no_key"}' in metrics
        assert "Traceback" not in log
        # a workbook asks 240 things at once, a column of formulas 190
        with Wire(server.port) as wire:
            for _ in range(430):
                wire.send(get(f"/v1/cell/sg-from-brix?brix=20&api_key={KEYS[1]}"))
                assert wire.answer().status == 200
