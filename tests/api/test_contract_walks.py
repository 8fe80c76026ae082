"""From answer to question along the links of the OpenAPI document, walked by a tool of others (schemathesis).

A walk begins with a worked request and goes on with what the answers hand on, as it stands and at its end spoiled; each
answer is held against the document. Links as the tool reads them, walks of our own: its machine begins with requests
drawn from the document, which are refused too often to lead anywhere.
"""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Iterator
from random import Random
from typing import Any

import pytest
from schemathesis.core.result import Ok
from schemathesis.core.transport import Response
from schemathesis.generation.stateful.state_machine import StepOutput
from schemathesis.specs.openapi.stateful import collect_transitions

from service.api.app import SolverApp
from service.api.links import FOLLOWERS
from tests.api import real
from tests.api.attack import Line, attacked, spoiler
from tests.api.test_contract_fuzzing import CHECKS, contract, sent_by


@pytest.fixture
def line() -> Iterator[Line]:
    app = real.patient().app  # with time enough, so that a busy machine hands on as much
    assert isinstance(app, SolverApp)
    found = Line(app)
    yield found
    found.close()


def answered() -> Iterator[tuple[str, Any, dict[str, Any]]]:
    """Operation, request and answer of every worked example that is no refusal."""
    for path in sorted(real.EXAMPLES.glob("*/*.json")):
        told = real.worked(path)
        if told["response"]["status"] == 200:
            yield path.parent.name, told["request"], told["response"]["body"]


def test_the_links_are_those_that_answers_hand_on() -> None:
    """Each is met in a worked answer, and no worked answer hands on what the document does not tell."""
    handed = {
        (operation, follower)
        for operation, _, answer in answered()
        for one in ([result["plan"] for result in answer["results"]] if "results" in answer else [answer])
        for follower in (one or {}).get("next", ())
    }
    assert handed == {(operation, follower) for operation, followers in FOLLOWERS.items() for follower in followers}


def test_a_link_of_the_document_leads_to_the_request_handed_on() -> None:
    told = {
        operation["operationId"]: operation["responses"]["200"].get("links", {})
        for operations in attacked().openapi()["paths"].values()
        for operation in operations.values()
    }
    for operation, _, answer in answered():
        for name, link in told[operation].items():
            steps = link["requestBody"].removeprefix("$response.body#/").split("/")
            place: Any = answer
            for step in steps:
                place = place[int(step)] if isinstance(place, list) else (place or {}).get(step)
            calls = answer["results"][0]["plan"] or {"next": {}} if "results" in answer else answer
            assert place == calls["next"].get(name, {}).get("request"), (operation, name)
    listed = told["list_ingredients"]["get_ingredient"]
    assert listed["parameters"] == {"id": "$response.body#/ingredients/0/id"}


class Walker:
    """Follows links as a tool of others reads them: where they lead, and what they take out of an answer."""

    def __init__(self, line: Line) -> None:
        self.line, self.random = line, Random(41)
        self.links = collect_transitions([found.ok() for found in contract().get_all_operations()]).operations
        self.followed: Counter[str] = Counter()
        self.worked = [(operation, body) for operation, body, _ in answered()]

    def walk(self, steps: int) -> None:
        """From a worked request so many steps on, the last of them with something in the request changed."""
        operation_id, body = self.random.choice(self.worked)
        output = self.ask(contract()[real.PATHS[operation_id]]["POST"], body)
        for step in range(steps):
            links = [
                (link, link.extract(output).request_body) for link in self.links[output.case.operation.label].outgoing
            ]
            bodies = [
                (link, body.value.ok()) for link, body in links if body is not None and isinstance(body.value, Ok)
            ]
            there = [(link, body) for link, body in bodies if isinstance(body, dict)]
            if not there:
                return
            link, body = self.random.choice(there)
            if step == steps - 1:
                body = spoiler(link.name).changed(self.random, body)
            output = self.ask(link.target, body)
            self.followed[link.full_name] += 1
            if step < steps - 1:
                assert output.response.status_code == 200, (link.full_name, body)
            elif output.response.status_code != 200:
                return

    def ask(self, operation: Any, body: Any) -> StepOutput:
        """Send a body, and hold the answer against the document."""
        case = operation.Case(body=copy.deepcopy(body), media_type="application/json")
        request, answer = sent_by(self.line, case)
        response = Response(answer.status, answer.headers, answer.content, request, elapsed=0.0, verify=False)
        case.validate_response(response, checks=[*CHECKS])
        return StepOutput(response, case)


def test_walks_along_the_links_are_answered_as_the_document_says(line: Line) -> None:
    walker = Walker(line)
    for _ in range(30):
        walker.walk(4)
    assert sum(walker.followed.values()) >= 75
    assert len(walker.followed) >= 20


@pytest.mark.slow
def test_every_link_is_walked(line: Line) -> None:
    walker = Walker(line)
    for _ in range(1000):
        walker.walk(6)
    assert len(walker.followed) == sum(map(len, FOLLOWERS.values()))
