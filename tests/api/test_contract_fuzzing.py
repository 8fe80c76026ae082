"""Every operation under attack, in process: tens of thousands of requests made from the OpenAPI document, and each
answer held against the document by a tool of others (schemathesis).

Four phases for each operation: the document's examples; its coverage of the document (each bound, type, missing and
unknown field, wrong method and media type once; a sample of them, all with --long); hypothesis, valid and invalid by
the document; and worked requests spoiled at random, which reach deeper than what the document alone can tell. It
has no links from one operation to another, so there is no state to walk through.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from functools import cache
from random import Random
from typing import Any, Final, NamedTuple
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import CheckFunction, not_a_server_error
from schemathesis.config import SchemathesisConfig
from schemathesis.core.transport import Response
from schemathesis.generation.case import Case
from schemathesis.generation.drivers import CoverageGenerator
from schemathesis.generation.feedback import NO_FEEDBACK
from schemathesis.generation.hypothesis.examples import generate_one
from schemathesis.generation.modes import GenerationMode
from schemathesis.generation.overrides import Override
from schemathesis.specs.openapi import checks as conformance

from service.api.cell_questions import QUESTIONS
from tests.api import real
from tests.api.attack import HOST, SHAPES, TEXTS, Answered, Line, as_json, attacked, spoiler, unresolved

POSTED: Final = {
    path + ending: operation
    for operation, path in real.PATHS.items()
    for ending in ("", ".csv", *((".svg", ".png") if operation == "trade_off" else ()))
}
"""Path by path, whose worked requests are sent there."""
ASKED: Final = {f"/v1/cell/{question.name}": question.example for question in QUESTIONS}
"""The cell questions with a query that is answered."""
TOLD: Final = {
    "/v1/ingredients": "query=honey",
    "/v1/ingredients.csv": "query=honey",
    "/v1/ingredients/{id}": "",
    "/v1/sources": "",
    "/v1/sources.csv": "",
    "/v1/cell": "",
    "/v1/cell.csv": "",
    "/v1/cell/{question}.csv": QUESTIONS[0].example,
    "/v1/cell/{question}.xml": QUESTIONS[0].example,
    "/v1/cell/caution/{question}": QUESTIONS[0].example,
    "/v1/workbook.xlsx": "sheet=excel",
    "/version": "",
    "/v1/limits": "",
}
"""Everything else that is read."""

AT_LEAST: Final = 20_000
"""How many requests are sent in all."""


class Portion(NamedTuple):
    """What one operation gets: requests at least, of these at most so many of the coverage of the document, and so
    many valid and as many invalid ones drawn by hypothesis."""

    sent: int
    covered: int
    drawn: int


_POSTED: Final = Portion(220, 170, 2)
_TWINS: Final = Portion(110, 90, 1)
"""They read the same requests."""
_DRAWN_AS_PICTURES: Final = Portion(110, 100, 1)
"""A picture costs what fifty refusals cost, so fewer requests are sent that may be answered."""

PORTIONS: Final = {
    **dict.fromkeys(POSTED, _POSTED),
    **{path: _TWINS for path in POSTED if path.endswith(".csv")},
    **{path: _DRAWN_AS_PICTURES for path in POSTED if path.endswith((".svg", ".png"))},
    **dict.fromkeys(ASKED, Portion(430, 330, 2)),
    **dict.fromkeys(TOLD, Portion(105, 70, 3)),
}

_ONE_BY_ONE: Final = ("/v1/blend-plans:batch", "/v1/blend-plans:batch.csv")
"""Each request of a batch is refused on its own, in an answer with status 200."""
_IN_WORDS: Final = "/v1/cell/caution/{question}"
"""Its reader is a spreadsheet's cell that cannot show a refusal: the words are the answer."""

CHECKS: Final[Sequence[CheckFunction]] = (
    not_a_server_error,
    conformance.status_code_conformance,
    conformance.content_type_conformance,
    conformance.response_headers_conformance,
    conformance.response_schema_conformance,
    conformance.unsupported_method,
    conformance.allow_header_conformance,
)
_HEADERS: Final = (
    ("accept", "*/*;q=0"), ("accept", "text/event-stream"), ("accept", "\u00e9"), ("accept", "a/b/c;q=x,,;"),
    ("accept-encoding", "br;q=1.0, identity;q=0"), ("content-encoding", "gzip"), ("content-length", "9" * 30),
    ("content-length", "-1"), ("content-type", "text/plain"), ("content-type", "application/json; charset=utf-16"),
    ("if-none-match", "*"), ("if-none-match", '"'), ("range", "bytes=5-1"), ("expect", "200-ok"), ("host", "a b"),
    ("x-request-id", "\u00ff" * 300), ("x-request-id", "a" * 64), ("x-forwarded-for", "::1, x"), ("forwarded", "for=;"),
    ("cookie", "a=b; " * 50), ("origin", "null"), ("authorization", "Bearer \u00e9"), ("transfer-encoding", "chunked"),
    ("x-http-method-override", "DELETE"), ("if-modified-since", "yesterday"), ("accept-language", "*;q=2"),
)  # fmt: skip


@cache
def contract() -> Any:
    """The document, read by the tool; a refusal for size is a refusal of invalid data too."""
    refusals = ["400", "404", "405", "408", "413", "414", "415", "422", "429", "431"]
    config = SchemathesisConfig.from_dict({"checks": {"negative_data_rejection": {"expected-statuses": refusals}}})
    return schemathesis.openapi.from_dict(attacked().openapi(), config=config)


@pytest.fixture(scope="module")
def line() -> Iterator[Line]:
    """One caller for all."""
    found = Line(attacked())
    yield found
    found.close()


def test_the_operations_attacked_are_those_of_the_document_and_their_shares_suffice() -> None:
    assert {(path, method) for path, methods in attacked().openapi()["paths"].items() for method in methods} == {
        *((path, "post") for path in POSTED),
        *((path, "get") for path in (*ASKED, *TOLD)),
    }
    assert sum(portion.sent for portion in PORTIONS.values()) >= AT_LEAST
    assert min(portion.sent for portion in PORTIONS.values()) >= 100


@pytest.mark.parametrize("path", PORTIONS)
def test_every_answer_is_as_the_document_says(path: str, line: Line) -> None:
    before = line.sent
    attack(Attack(path, line), PORTIONS[path])
    assert line.sent - before >= PORTIONS[path].sent


@pytest.mark.slow
@pytest.mark.parametrize("path", PORTIONS)
def test_every_answer_is_as_the_document_says_to_ten_times_as_many(path: str, line: Line) -> None:
    before, portion = line.sent, PORTIONS[path]
    attack(Attack(path, line), Portion(10 * portion.sent, 100_000, 10 * portion.drawn))
    assert line.sent - before >= 10 * portion.sent


def sent_by(line: Line, case: Case[Any]) -> tuple[requests.PreparedRequest, Answered]:
    """Send what the tool made as it would stand on the wire; the request and its answer."""
    told = case.as_transport_kwargs(base_url=f"http://{HOST}")
    names = ("method", "url", "headers", "data", "json", "params", "cookies")
    request = requests.Request(**{name: told[name] for name in names if name in told}).prepare()
    where, body = urlsplit(str(request.url)), request.body or b""
    headers = [(name, _latin(value)) for name, value in request.headers.items()]
    sent = body.encode("utf-8", "surrogatepass") if isinstance(body, str) else body
    assert isinstance(sent, bytes)
    return request, line.send(str(request.method), where.path, where.query, headers, sent)


class Attack:
    """What is sent to one operation."""

    def __init__(self, path: str, line: Line) -> None:
        self.path, self.line = path, line
        self.operation = contract()[path]["POST" if path in POSTED else "GET"]
        self.random = Random(path)
        self.checks = [*CHECKS]
        if path not in (*_ONE_BY_ONE, _IN_WORDS):
            self.checks.append(conformance.negative_data_rejection)

    def send(self, case: Case[Any], *, accepted: bool = False) -> None:
        """Send what the tool made, and check the answer; accepted, whether it has to be one that is no refusal."""
        request, answer = sent_by(self.line, case)
        checks = [*self.checks, *([conformance.positive_data_acceptance] if accepted else [])]
        self.check(case, request, answer, checks)

    def check(
        self, case: Case[Any], request: requests.PreparedRequest, answer: Answered, checks: Sequence[CheckFunction]
    ) -> None:
        """Hold an answer against the document."""
        response = Response(answer.status, answer.headers, answer.content, request, elapsed=0.0, verify=False)
        case.validate_response(response, checks=[*checks])
        if self.path in _ONE_BY_ONE and answer.media_type == "application/json" and answer.status == 200:
            within = {result["status"] for result in json.loads(answer.content)["results"]}
            assert within <= {200, 422, 503}, answer.content[:2000]

    def spoil(self) -> None:
        """Send one request that was answered once, with something in it changed."""
        if self.path in POSTED:
            self._spoil_body()
        else:
            self._spoil_query()

    def _spoil_body(self) -> None:
        body = spoiler(POSTED[self.path]).spoiled(self.random)
        sent = as_json(body)
        headers = [("content-type", "application/json")]
        answer = self.line.send("POST", self.path, headers=headers, body=sent)
        self._check_sent("POST", self.path, "", headers, sent, answer)
        if answer.status >= 400:
            assert unresolved(json.loads(answer.content), body) == [], sent

    def _spoil_query(self) -> None:
        random = self.random
        example = ASKED.get(self.path, TOLD.get(self.path, ""))
        path = self.path.format(question=QUESTIONS[0].name, id=random.choice(("honey_acacia", "x", "%00")))
        pairs = parse_qsl(example)
        for _ in range(random.choice((0, 1, 1, 2, 3))):
            kind = random.random()
            if pairs and kind < 0.6:
                at = random.randrange(len(pairs))
                pairs[at] = (pairs[at][0], spoiled_text(random, pairs[at][1]))
            elif pairs and kind < 0.8:
                pairs.pop(random.randrange(len(pairs)))
            elif pairs and kind < 0.9:
                pairs.append(random.choice(pairs))
            else:
                pairs.append((random.choice(("x", "", "explain", "bound", "\u00e9")), random.choice(TEXTS)))
        query = urlencode(pairs, errors="replace")
        if random.random() < 0.1:
            query += random.choice(("&", "%", "%ff=%ff", "&&=", ";", "+", "%00", "&a" * 300))
        headers = random.sample(_HEADERS, random.choice((0, 0, 1, 2)))
        self._check_sent("GET", path, query, headers, b"", self.line.send("GET", path, query, headers))

    def _check_sent(
        self, method: str, path: str, query: str, headers: Sequence[tuple[str, str]], body: bytes, answer: Answered
    ) -> None:
        request = requests.Request(method, f"http://{HOST}{path}{'?' if query else ''}{query}", data=body).prepare()
        case = self.operation.Case(path_parameters={"question": QUESTIONS[0].name, "id": "x"})
        try:
            assert answer.status != 304 or any(name == "if-none-match" for name, _ in headers)
            if answer.status != 304:
                self.check(case, request, answer, self.checks)
        except AssertionError as error:
            error.add_note(f"{method} {path}?{query} {headers} {body!r}")
            raise


def attack(attack: Attack, portion: Portion) -> None:
    """All phases; the last one goes on until the portion is sent."""
    before, operation = attack.line.sent, attack.operation
    for strategy in operation.get_strategies_from_examples():
        attack.send(generate_one(strategy), accepted=attack.path not in POSTED)
    config = operation.schema.config.generation_for(operation=operation, phase="coverage")
    modes = [GenerationMode.POSITIVE, GenerationMode.NEGATIVE]
    cases = list(
        CoverageGenerator(
            operation=operation,
            generation_modes=modes,
            generation_config=config,
            auth_storage=None,
            override=Override(),
            feedback=NO_FEEDBACK,
            hooks=None,
        )
    )
    for case in attack.random.sample(cases, min(portion.covered, len(cases))):
        attack.send(case)
    for mode in modes:
        _draw(attack, mode, portion.drawn)
    while attack.line.sent - before < portion.sent:
        attack.spoil()


def _draw(attack: Attack, mode: GenerationMode, drawn: int) -> None:
    operation = attack.operation
    if mode is GenerationMode.NEGATIVE and not operation.body and not len(operation.query):
        return  # nothing stands in its document that could be wrong

    @settings(
        max_examples=drawn,
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate],
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def one(case: Case[Any]) -> None:
        attack.send(case)

    one()


def spoiled_text(random: Random, text: str) -> str:
    """A parameter of a query as somebody could have mistyped it."""
    kind = random.random()
    if kind < 0.5:
        try:
            return f"{float(text) * random.choice((0, 1e-9, 0.5, 0.9, 1.1, 2, 10, 1e3, 1e9, -1)):.9g}"
        except ValueError:
            return random.choice(TEXTS)
    if kind < 0.7:
        return text + random.choice((" ", "%", "\u00a0", "x", "e9", "e999", ".", ",5", "/0", "\u0000", "\u0661"))
    return random.choice((*TEXTS, "1e308", "-1e308", "5e-324", "nan", "inf", *map(str, SHAPES)))


def _latin(value: str | bytes) -> str:
    return value.decode("latin-1") if isinstance(value, bytes) else value
