"""What a cell question is: its name, its parameters, and how it becomes one number."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Any, Final

from pydantic import ValidationError

from service.api.cell_queries import CellQuery
from service.api.validation import faults_from_validation, json_pointer
from service.errors import InputError, OutOfRangeError, ServiceError, SeveralErrors
from service.planner.single import Answer

ONE_FIGURE: Final = "No interval is told for this figure: ask without bound."


def number_text(value: float) -> str:
    """A number with seven significant digits and a decimal point, without an exponent where a sheet would stumble."""
    text = f"{value + 0.0:.7g}"  # no minus sign before a zero
    return f"{value:.10f}".rstrip("0").rstrip(".") if "e" in text else text


def _refused(error: ValidationError) -> ServiceError:
    """The faults of a request that was made of parameters, as a caller would have been told them."""
    told: list[ServiceError] = []
    for fault in error.errors(include_url=False):
        _, (first, *_) = faults_from_validation([{**fault, "loc": ("query", *fault["loc"])}], None, None)
        told.append(InputError(first.detail, json_pointer(fault["loc"])))
    return told[0] if len(told) == 1 else SeveralErrors(told)


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

    inner: Mapping[str, str] = field(default_factory=dict)
    """Parameters by the names that their values have deeper in the request they become."""
    light: bool = False
    """Whether any parameters are answered in well under a millisecond, so that nothing has to wait beside it."""

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
        except ValidationError as error:
            raise self._at_parameters(_refused(error)) from None
        except ServiceError as error:
            self._at_parameters(error)
            raise
        if not all(isfinite(end) for end in (answer.value, answer.low, answer.high) if end is not None):
            raise OutOfRangeError(
                "No number comes of these figures: one of them is far too large or too small.", f"/{self.about}"
            )
        if query.bound is None:
            return answer
        end = answer.low if query.bound == "low" else answer.high
        if end is None:
            raise InputError(f"There is no {query.bound} end of {self.interval} here: nothing holds it.", "/bound")
        which = "lower" if query.bound == "low" else "upper"
        told = f"{number_text(end)} is the {which} end of {self.interval}. {answer.sentence}"
        return replace(answer, value=end, sentence=told)

    def _at_parameters(self, error: ServiceError) -> ServiceError:
        """The fault, and those it is made of, at the parameters that they belong to."""
        names = [self.inner.get(part, part) for part in error.pointer.split("/")]
        named = [name for name in names if name in self.parameters]
        error.pointer = f"/{named[-1] if named else self.about}"
        for part in getattr(error, "parts", ()):
            self._at_parameters(part)
        return error

    @property
    def meaning(self) -> str:
        """What it asks, from the docstring of its parameters."""
        return (self.query.__doc__ or "").strip()
