"""What a cell question is: its name, its parameters, and how it becomes one number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

from service.api.cell_queries import CellQuery
from service.errors import InputError, ServiceError
from service.planner.single import Answer

ONE_FIGURE: Final = "No interval is told for this figure: ask without bound."


def number_text(value: float) -> str:
    """A number with seven significant digits and a decimal point, without an exponent where a sheet would stumble."""
    text = f"{value:.7g}"
    return f"{value:.10f}".rstrip("0").rstrip(".") if "e" in text else text


@dataclass(frozen=True, slots=True)
class Question:
    """One cell question: its path name, parameters, how it is answered, and an example query."""

    name: str
    query: type[CellQuery]
    answer: Callable[[Any], Answer]
    example: str
    about: str
    """The parameter that a fault without a place belongs to."""
    interval: str = ""
    """What `bound` gives the ends of, in words; empty where it is refused."""
    no_interval: str = ONE_FIGURE
    """Why it is refused there."""

    @property
    def parameters(self) -> list[str]:
        """Names of its parameters as they stand in a URL."""
        names = [field.alias or name for name, field in self.query.model_fields.items()]
        return [name for name in names if name != "bound" or self.interval]

    def answered(self, query: CellQuery) -> Answer:
        """The answer, or the end of its interval that is asked for; a fault points at the parameter it belongs to,
        however deep in the request it was found."""
        if query.bound is not None and not self.interval:
            raise InputError(self.no_interval, "/bound")
        try:
            answer = self.answer(query)
        except ServiceError as error:
            named = [part for part in error.pointer.split("/") if part in self.parameters]
            error.pointer = f"/{named[-1] if named else self.about}"
            raise
        if query.bound is None:
            return answer
        end = answer.low if query.bound == "low" else answer.high
        if end is None:
            raise InputError(f"There is no {query.bound} end of {self.interval} here: nothing holds it.", "/bound")
        which = "lower" if query.bound == "low" else "upper"
        told = f"{number_text(end)} is the {which} end of {self.interval}. {answer.sentence}"
        return replace(answer, value=end, sentence=told)

    @property
    def meaning(self) -> str:
        """What it asks, from the docstring of its parameters."""
        return (self.query.__doc__ or "").strip()
