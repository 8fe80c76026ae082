"""`GET /v1/cell/{question}`: one number as plain text, for a spreadsheet cell; with `bound`, an end of its interval.

The answer is the number and nothing else: decimal point, no unit, no trailing newline. Anything that is no number
has a status of 400 or more, so that IFERROR catches it. Its twins tell more: `.csv`, `.xml`, and
`/v1/cell/caution/{question}`, which has words for the neighbouring cell and therefore never refuses. HEAD is answered
like GET, and costs the GET that follows nothing (`cell_kept`).
"""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Query, Request
from fastapi.exceptions import RequestValidationError
from starlette.responses import Response

from service.api.accepting import accepted_type
from service.api.addresses import address_of
from service.api.cached import cached_json, cached_text
from service.api.cell_kept import KeptAnswers
from service.api.cell_listing import CellList, cell_list, listed_csv, listed_html
from service.api.cell_queries import CellQuery
from service.api.cell_questions import QUESTIONS
from service.api.cell_twins import answer_csv, answer_xml, heed_words, refusal_words, sentence
from service.api.numbers import NoQuery
from service.api.problems import PROBLEM_MEDIA_TYPE, faults_of_request
from service.api.question import Question, number_text
from service.api.routing import GetRoute, get_and_head
from service.api.static_files import PAGE_CONTENT_POLICY
from service.api.validation import close_word
from service.errors import ServiceError, SolverError, StopError
from service.planner.single import Answer

Name = Annotated[
    str,
    Path(description="The name of a question.", json_schema_extra={"enum": [question.name for question in QUESTIONS]}),
]

_SAME_PARAMETERS: dict[str, Any] = {
    "parameters": [
        {
            "name": "parameters",
            "in": "query",
            "description": "The parameters of the question itself, each by its own name: see GET /v1/cell.",
            "style": "form",
            "explode": True,
            "schema": {"type": "object", "additionalProperties": {"type": "string"}},
        }
    ]
}


class _InWords(GetRoute):
    """A route whose reader is a cell that cannot show a refusal: its words are the answer."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Answer as the route does, a refusal in words."""
        handler = super().get_route_handler()

        async def in_words(request: Request) -> Response:
            try:
                return await handler(request)
            except (RequestValidationError, ServiceError) as error:
                if isinstance(error, SolverError):
                    raise
                words = refusal_words(faults_of_request(request, error), stop=isinstance(error, StopError))
                return cached_text(request, words, "text/plain")

        return in_words


def _endpoint(question: Question, kept: KeptAnswers) -> Callable[..., Any]:
    """The endpoint of the number itself: a coroutine where it is light, a function where it computes."""

    def computed(request: Request, query: CellQuery) -> Response:
        answer = kept.answer(question.name, query)
        return cached_text(request, sentence(answer) if query.explain else number_text(answer.value), "text/plain")

    async def light(request: Request, query: CellQuery) -> Response:
        return computed(request, query)

    endpoint: Callable[..., Any] = light if question.light else computed
    endpoint.__name__ = "cell_" + question.name.replace("-", "_")
    endpoint.__annotations__ = {"request": Request, "query": Annotated[question.query, Query()], "return": Response}
    endpoint.__doc__ = question.meaning
    return endpoint


def _no_such_question(name: str) -> HTTPException:
    close = close_word(name, [question.name for question in QUESTIONS])
    hint = f'Did you mean "{close}"?' if close else "GET /v1/cell lists the questions."
    return HTTPException(404, f'There is no cell question "{name[:80]}". {hint}')


_NO_SUCH_QUESTION: dict[int | str, dict[str, Any]] = {
    404: {
        "description": "No such question; a close match is named.",
        "content": {PROBLEM_MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
}


def _as(media_type: str, description: str) -> dict[int | str, dict[str, Any]]:
    return {200: {"description": description, "content": {media_type: {"schema": {"type": "string"}}}}}


def cells_router() -> APIRouter:
    """The cell questions, their twins, and the list of them."""
    router = APIRouter(prefix="/v1", tags=["cells"])
    kept = KeptAnswers(QUESTIONS)
    numbers = {question.name: _endpoint(question, kept) for question in QUESTIONS}
    _add_listing(router, kept)
    for question in QUESTIONS:
        get_and_head(
            router,
            f"/cell/{question.name}",
            summary=question.meaning,
            response_class=Response,
            responses=_as("text/plain", "The number, with bound an end of its interval, or with explain=1 a sentence."),
        )(numbers[question.name])
    _add_twins(router, kept, numbers)

    @get_and_head(router, "/cell/{question}", include_in_schema=False)
    async def no_such_cell(question: str) -> Response:
        raise _no_such_question(question)

    return router


def _add_twins(router: APIRouter, kept: KeptAnswers, numbers: dict[str, Callable[..., Any]]) -> None:
    """The same answers with everything that belongs to them, and the words for the neighbouring cell."""

    def answered(request: Request, name: str, *, explained: bool) -> Answer:
        if name not in numbers:
            raise _no_such_question(name)
        query = kept.read(name, request, numbers[name])
        return kept.answer(name, query.explained() if explained else query)

    @get_and_head(
        router,
        "/cell/{question}.csv",
        summary="The answer of a cell question as a header line and one row: value, interval, unit, words",
        response_class=Response,
        responses=_as("text/csv", "One row.") | _NO_SUCH_QUESTION,
        openapi_extra=_SAME_PARAMETERS,
    )
    def cell_as_csv(request: Request, question: Name) -> Response:
        """For IMPORTDATA and for tables filled by a script; an end of the interval that is not told is empty."""
        return cached_text(request, answer_csv(question, answered(request, question, explained=True)), "text/csv")

    @get_and_head(
        router,
        "/cell/{question}.xml",
        summary="The answer of a cell question as flat XML for FILTERXML: value, interval, unit, words, cautions",
        response_class=Response,
        responses=_as("application/xml", "One `cell` element with one child for each figure.") | _NO_SUCH_QUESTION,
        openapi_extra=_SAME_PARAMETERS,
    )
    def cell_as_xml(request: Request, question: Name) -> Response:
        """For FILTERXML: //value, //low, //high, //unit, //sentence, //heed (all cautions in one text), and a //caution
        with its @level for each. Every element is there, empty where nothing is told."""
        return cached_text(
            request, answer_xml(question, answered(request, question, explained=True)), "application/xml"
        )

    @get_and_head(
        router,
        "/cell/caution/{question}",
        route_class=_InWords,
        summary="The cautions of a cell question for the neighbouring cell, or why there is no number",
        response_class=Response,
        responses=_as("text/plain", "The words, a hyphen where there is nothing to heed.") | _NO_SUCH_QUESTION,
        openapi_extra=_SAME_PARAMETERS,
    )
    def caution_of_cell(request: Request, question: Name) -> Response:
        """Its reader is a cell that cannot show a refusal: where the number is refused, it answers 200 and says why."""
        words = heed_words(answered(request, question, explained=False).cautions)
        return cached_text(request, words, "text/plain")


def _add_listing(router: APIRouter, kept: KeptAnswers) -> None:
    """The list of questions: for scripts, for people, for spreadsheets."""

    @get_and_head(
        router,
        "/cell",
        summary="The questions that a spreadsheet cell can ask, with ready formulas",
        response_model=CellList,
        responses={200: {"content": {"text/html": {"schema": {"type": "string"}}}}},
    )
    def list_cells(request: Request, query: Annotated[NoQuery, Query()]) -> Response:
        """A page for people where the Accept header names text/html. The formulas ask the address that the list was
        asked by."""
        del query
        listed = cell_list(kept, address_of(request))
        wanted = accepted_type(request.headers.get("accept", ""), ("application/json", "text/html"))
        if wanted == "text/html":
            headers = {"Content-Security-Policy": PAGE_CONTENT_POLICY, "Vary": "Accept, Host"}
            return cached_text(request, listed_html(listed), wanted, headers=headers)
        return cached_json(request, listed, headers={"Vary": "Accept, Host"})

    @get_and_head(
        router,
        "/cell.csv",
        summary="The same as flat rows: one for each question",
        response_class=Response,
        responses=_as("text/csv", "One row for each question."),
    )
    def list_cells_csv(request: Request, query: Annotated[NoQuery, Query()]) -> Response:
        """The formulas stand in the rows as they are pasted into a cell."""
        del query
        listed = listed_csv(cell_list(kept, address_of(request)))
        return cached_text(request, listed, "text/csv", headers={"Vary": "Host"})
