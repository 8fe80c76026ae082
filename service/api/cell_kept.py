"""What a cell question was answered or refused with, kept: a spreadsheet asks the same address again and again.

LibreOffice sends OPTIONS, HEAD and GET for every address; a caution stands beside a number; a sheet recalculates. All
of it costs one computation, of a refusal too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, Final

from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.requests import Request

from service.api.cell_queries import CellQuery
from service.api.question import Question
from service.errors import InputError, UnknownIngredientError
from service.planner.single import Answer

__all__ = ["KeptAnswers", "UnreadableQueryError"]

_KEPT: Final = 2048

_Refusal = InputError | UnknownIngredientError


class UnreadableQueryError(RequestValidationError):
    """Parameters that a question does not take; `asked_of` is the endpoint whose annotations name those it does."""

    def __init__(self, errors: Sequence[Any], asked_of: Callable[..., Any]) -> None:
        super().__init__(errors)
        self.asked_of = asked_of


class KeptAnswers:
    """The answers to one question by its parameters, the least recently asked for given up first."""

    def __init__(self, question: Question) -> None:
        self.question = question
        self._outcome = lru_cache(maxsize=_KEPT)(self._worked_out)

    def _worked_out(self, query: CellQuery) -> Answer | _Refusal:
        try:
            return self.question.answered(query)
        except (InputError, UnknownIngredientError) as refusal:
            refusal.__cause__ = refusal.__context__ = None
            return refusal.with_traceback(None)

    def __call__(self, query: CellQuery) -> Answer:
        """The answer; or raises what the question is refused with."""
        outcome = self._outcome(query)
        if isinstance(outcome, Answer):
            return outcome
        raise outcome.with_traceback(None)

    def read(self, request: Request, asked_of: Callable[..., Any]) -> CellQuery:
        """The parameters in the address of a request, validated as by the endpoint `asked_of` of the number itself.

        Raises: UnreadableQueryError.
        """
        given = request.query_params
        try:
            return self.question.query.model_validate(dict(given))
        except ValidationError as error:
            faults = [{**fault, "loc": ("query", *fault["loc"])} for fault in error.errors(include_url=False)]
            raise UnreadableQueryError(faults, asked_of) from None
