"""Every refusal this service can give, as one exception tree.

::

    ServiceError
    ├── InputError                 something in the request has to change
    │   ├── QuantityError          a text that is not a quantity, or lacks its unit
    │   ├── OutOfRangeError        a value outside the range in which a formula holds
    │   ├── InconsistentError      readings that cannot all be true
    │   ├── StopError              what was asked would be done against a `stop` caution
    │   ├── SeveralErrors          more than one of these at once
    │   └── NotBuiltYetError       a part of the contract that this version does not answer
    ├── UnknownIngredientError     an id that the catalogue does not hold
    ├── MissingExtraError          an optional part that is not installed beside this service
    └── SolverError                the optimiser itself failed (a defect, never the caller's fault)

An impossible target is *not* an error: it is an outcome of a plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "Fault",
    "InconsistentError",
    "InputError",
    "MissingExtraError",
    "NotBuiltYetError",
    "OutOfRangeError",
    "QuantityError",
    "ServiceError",
    "SeveralErrors",
    "SolverError",
    "StopError",
    "UnknownIngredientError",
]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to change: where it is (a JSON Pointer, RFC 6901) and what to do about it."""

    pointer: str
    detail: str


class ServiceError(Exception):
    """Root of the tree; `detail` is a sentence a maker understands, `pointer` says where."""

    title = "The request could not be answered"

    def __init__(self, detail: str, pointer: str = "") -> None:
        super().__init__(detail)
        self.detail = detail
        self.pointer = pointer

    def below(self, prefix: str) -> ServiceError:
        """Prefix the pointer while the error travels up through the parts of a request."""
        self.pointer = prefix + self.pointer
        return self

    def faults(self) -> list[Fault]:
        """The faults this error reports, for `errors[]` of a problem document."""
        return [Fault(self.pointer, self.detail)]


class InputError(ServiceError):
    """Something in the request has to change."""

    title = "Something in the request has to change"


class QuantityError(InputError):
    """A text that is not a quantity, or one without its unit."""

    title = "A quantity could not be read"


class OutOfRangeError(InputError):
    """A value outside the range in which a formula holds."""

    title = "A value lies outside the range of a formula"


class InconsistentError(InputError):
    """Readings that cannot all be true of one liquid."""

    title = "Readings contradict each other"


class StopError(InputError):
    """What was asked would be done against a `stop` caution, so there is no number for it."""

    title = "A stop: do not do it so"


class SeveralErrors(InputError):
    """More than one thing to change; `parts` are the single errors."""

    def __init__(self, parts: Sequence[ServiceError]) -> None:
        super().__init__(f"{parts[0].detail} ({len(parts)} things have to change.)", parts[0].pointer)
        self.parts = tuple(parts)

    def below(self, prefix: str) -> ServiceError:
        """Prefix every part."""
        for part in self.parts:
            part.below(prefix)
        return self

    def faults(self) -> list[Fault]:
        """The faults of every part."""
        return [fault for part in self.parts for fault in part.faults()]


class NotBuiltYetError(InputError):
    """A part of the published contract that this version refuses instead of ignoring."""

    title = "This part is not answered yet"


class UnknownIngredientError(ServiceError):
    """An ingredient id that the catalogue does not hold; names close matches."""

    title = "Unknown ingredient"


class MissingExtraError(ServiceError):
    """An optional part that is not installed beside this service: what needs it, and the extra that brings it."""

    title = "A part of the service is not installed"

    def __init__(self, what: str, extra: str) -> None:
        super().__init__(
            f"{what} cannot be made here, because an optional part is missing. Whoever runs this service installs it "
            f"with: pip install 'back-sweetening-solver[{extra}]'"
        )


class SolverError(ServiceError):
    """The optimiser failed: a defect of this service, not of the request."""

    title = "The optimiser failed"
