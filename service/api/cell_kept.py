"""What a cell question was answered or refused with, kept: a spreadsheet asks the same address again and again.

LibreOffice sends OPTIONS, HEAD and GET for every address; a caution stands beside a number; a sheet recalculates. All
of it costs one computation, of a refusal too; the twins, which tell the interval besides, cost one more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, Final
from urllib.parse import parse_qsl

from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.requests import Request

from service.api.cell_queries import CellQuery
from service.api.question import Question
from service.errors import InputError, UnknownIngredientError
from service.planner.single import Answer

__all__ = ["KeptAnswers", "UnreadableQueryError"]

_KEPT: Final = 2048
"""An answer takes about 10 kB with its words."""

_Refusal = InputError | UnknownIngredientError


class UnreadableQueryError(RequestValidationError):
    """Parameters that a question does not take; `asked_of` is the endpoint whose annotations name those it does."""

    def __init__(self, errors: Sequence[Any], asked_of: Callable[..., Any]) -> None:
        super().__init__(errors)
        self.asked_of = asked_of


class KeptAnswers:
    """The answers to some questions by their parameters, of all together the least recently asked for given up first.

    Parameters: questions, the questions that can be asked.
    """

    def __init__(self, questions: Sequence[Question]) -> None:
        self.questions = {question.name: question for question in questions}
        self._outcome = lru_cache(maxsize=_KEPT)(self._worked_out)

    def _worked_out(self, name: str, query: CellQuery) -> Answer | _Refusal:
        try:
            return self.questions[name].answered(query)
        except (InputError, UnknownIngredientError) as refusal:
            refusal.__cause__ = refusal.__context__ = None
            return refusal.with_traceback(None)

    def answer(self, name: str, query: CellQuery) -> Answer:
        """The answer of a question; or raises what it is refused with."""
        outcome = self._outcome(name, query)
        if isinstance(outcome, Answer):
            return outcome
        raise outcome.with_traceback(None)

    def example(self, question: Question) -> Answer:
        """The answer to the example of a question."""
        return self.answer(question.name, question.query.model_validate(dict(parse_qsl(question.example))))

    def read(self, name: str, request: Request, asked_of: Callable[..., Any]) -> CellQuery:
        """The parameters in the address of a request, validated as by the endpoint `asked_of` of the number itself.

        Raises: UnreadableQueryError.
        """
        try:
            return self.questions[name].query.model_validate(dict(request.query_params))
        except ValidationError as error:
            faults = [{**fault, "loc": ("query", *fault["loc"])} for fault in error.errors(include_url=False)]
            raise UnreadableQueryError(faults, asked_of) from None
