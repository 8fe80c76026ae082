"""`GET /v1/cell/{question}`: one number as plain text, for a spreadsheet cell; with `bound`, an end of its interval.

The answer is the number and nothing else: decimal point, no unit, no trailing newline. Anything that is no number
has a status of 400 or more, so that IFERROR catches it. HEAD is answered like GET; an answer is kept for the GET
that follows it, because a spreadsheet asks both.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import Response

from service.api.cached import cached_json, cached_text
from service.api.cell_queries import CellQuery
from service.api.cell_questions import QUESTIONS
from service.api.numbers import NoQuery
from service.api.question import Question, number_text
from service.api.routing import get_and_head
from service.planner.single import Answer

_KEPT_ANSWERS = 2048


class CellQuestion(BaseModel):
    """A question that a cell can ask."""

    question: str
    meaning: str
    parameters: list[str]
    needed: list[str]
    bound: str | None = Field(description="What bound=low and bound=high give the ends of; null where it is refused.")
    example: str = Field(description="Path and query of a worked example.")


class CellList(BaseModel):
    """All questions that a cell can ask."""

    cells: list[CellQuestion]


def sentence(answer: Answer) -> str:
    """The answer in a sentence, `stop` cautions first."""
    assumed = [f"Assumed: {a.what} = {a.value}." for a in answer.assumed]
    return " ".join([answer.sentence, *(f"[{c.level}] {c.text}" for c in answer.cautions), *assumed])


def _endpoint(question: Question) -> Callable[..., Any]:
    kept = lru_cache(maxsize=_KEPT_ANSWERS)(question.answered)

    def endpoint(request: Request, query: CellQuery) -> Response:
        answer = kept(query)
        return cached_text(request, sentence(answer) if query.explain else number_text(answer.value), "text/plain")

    endpoint.__name__ = "cell_" + question.name.replace("-", "_")
    endpoint.__annotations__ = {"request": Request, "query": Annotated[question.query, Query()], "return": Response}
    endpoint.__doc__ = question.meaning
    return endpoint


def cells_router() -> APIRouter:
    """The cell questions, and the list of them."""
    router = APIRouter(prefix="/v1", tags=["cells"])
    answer: dict[int | str, dict[str, Any]] = {
        200: {
            "description": "The number, with bound an end of its interval, or with explain=1 a sentence.",
            "content": {"text/plain": {"schema": {"type": "string"}}},
        }
    }

    @get_and_head(router, "/cell", summary="The questions that a spreadsheet cell can ask", response_model=CellList)
    async def list_cells(request: Request, query: Annotated[NoQuery, Query()]) -> Response:
        del query
        return cached_json(request, CellList(cells=[_described(q) for q in QUESTIONS]))

    for question in QUESTIONS:
        get_and_head(
            router,
            f"/cell/{question.name}",
            summary=question.meaning,
            response_class=Response,
            responses=answer,
        )(_endpoint(question))
    return router


def _described(question: Question) -> CellQuestion:
    fields = question.query.model_fields
    return CellQuestion(
        question=question.name,
        meaning=question.meaning,
        parameters=question.parameters,
        needed=[field.alias or name for name, field in fields.items() if field.is_required()],
        bound=question.interval or None,
        example=f"/v1/cell/{question.name}?{question.example}",
    )
