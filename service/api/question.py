"""What a cell question is: its name, its parameters, and how it becomes one number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from service.api.cell_queries import CellQuery
from service.errors import ServiceError
from service.planner.single import Answer


@dataclass(frozen=True, slots=True)
class Question:
    """One cell question: its path name, parameters, how it is answered, and an example query."""

    name: str
    query: type[CellQuery]
    answer: Callable[[Any], Answer]
    example: str
    about: str
    """The parameter that a fault without a place belongs to."""

    @property
    def parameters(self) -> list[str]:
        """Names of its parameters as they stand in a URL."""
        return [field.alias or name for name, field in self.query.model_fields.items()]

    def answered(self, query: CellQuery) -> Answer:
        """The answer; a fault points at the parameter it belongs to, however deep in the request it was found."""
        try:
            return self.answer(query)
        except ServiceError as error:
            named = [part for part in error.pointer.split("/") if part in self.parameters]
            error.pointer = f"/{named[-1] if named else self.about}"
            raise

    @property
    def meaning(self) -> str:
        """What it asks, from the docstring of its parameters."""
        return (self.query.__doc__ or "").strip()
