"""One shape for every refusal: problem+json (RFC 9457) with JSON Pointers (RFC 6901) to what has to change."""

from __future__ import annotations

import json
import logging
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Scope

from service.api.routing import allowed_methods
from service.api.validation import faults_from_validation
from service.errors import (
    Fault,
    InconsistentError,
    InputError,
    MissingExtraError,
    NotBuiltYetError,
    OutOfRangeError,
    QuantityError,
    ServiceError,
    SolverError,
    StopError,
    UnknownIngredientError,
)

__all__ = [
    "PROBLEM_KINDS",
    "PROBLEM_MEDIA_TYPE",
    "Problem",
    "ProblemFault",
    "ProblemKind",
    "add_problem_handlers",
    "failure_response",
    "json_safe",
    "problem_document",
    "problem_from_error",
    "problem_response",
    "request_id_of",
    "with_status",
]

PROBLEM_MEDIA_TYPE: Final = "application/problem+json"
_MOST_FAULTS: Final = 50
_MOST_ECHOED_CHARACTERS: Final = 1000
_LONE_SURROGATE: Final = re.compile("[\ud800-\udfff]")
_log = logging.getLogger("service.errors")


class ProblemFault(BaseModel):
    """One thing to change."""

    pointer: str = Field(
        description="JSON Pointer (RFC 6901) into the body, or to the query parameter; empty for the whole."
    )
    detail: str = Field(description="What to change, in words.")


class Problem(BaseModel):
    """A refusal, RFC 9457."""

    type: str = Field(description="Relative reference of the kind of problem; it can be opened.")
    title: str = Field(description="The kind of problem in words.")
    status: int = Field(description="The HTTP status.")
    detail: str = Field(description="What went wrong this time, and what to change.")
    instance: str = Field(description="The path that was asked.")
    errors: list[ProblemFault] = Field(description="Each thing to change, with its place.")
    request_id: str = Field(description="The X-Request-ID of this request, to be quoted to the operator.")


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """A kind of problem: `/problems/<slug>`, its title and its usual status."""

    slug: str
    title: str
    status: int


_KINDS: Final = (
    ProblemKind("quantity-unreadable", QuantityError.title, 422),
    ProblemKind("out-of-range", OutOfRangeError.title, 422),
    ProblemKind("readings-contradict", InconsistentError.title, 422),
    ProblemKind("stopped", StopError.title, 422),
    ProblemKind("not-answered-yet", NotBuiltYetError.title, 422),
    ProblemKind("request-has-to-change", InputError.title, 422),
    ProblemKind("unknown-ingredient", UnknownIngredientError.title, 422),
    ProblemKind("not-installed", MissingExtraError.title, 501),
    ProblemKind("not-answered", ServiceError.title, 422),
    ProblemKind("optimiser-failed", SolverError.title, 500),
    ProblemKind("request-invalid", "Part of the request cannot be read", 422),
    ProblemKind("json-unreadable", "The body is not readable JSON", 400),
    ProblemKind("nesting-too-deep", "The body is nested too deeply", 400),
    ProblemKind("bad-request", "The request could not be read", 400),
    ProblemKind("key-needed", "This service asks for a key", 401),
    ProblemKind("not-found", "There is nothing at this path", 404),
    ProblemKind("method-not-allowed", "This path does not answer this method", 405),
    ProblemKind("request-too-slow", "The request took too long to arrive", 408),
    ProblemKind("body-too-large", "The body is too large", 413),
    ProblemKind("url-too-long", "The URL is too long", 414),
    ProblemKind("media-type-unsupported", "The body is not sent as JSON", 415),
    ProblemKind("too-many-requests", "Too many requests", 429),
    ProblemKind("headers-too-large", "The headers are too large", 431),
    ProblemKind("internal-error", "The service failed", 500),
    ProblemKind("busy", "The service is busy or not ready", 503),
)
PROBLEM_KINDS: Final[Mapping[str, ProblemKind]] = {kind.slug: kind for kind in _KINDS}
"""Every kind of problem by its slug."""

_SLUG_BY_ERROR: Final[Mapping[type[ServiceError], str]] = {
    QuantityError: "quantity-unreadable",
    OutOfRangeError: "out-of-range",
    InconsistentError: "readings-contradict",
    StopError: "stopped",
    NotBuiltYetError: "not-answered-yet",
    InputError: "request-has-to-change",
    UnknownIngredientError: "unknown-ingredient",
    MissingExtraError: "not-installed",
    SolverError: "optimiser-failed",
    ServiceError: "not-answered",
}
_PHRASES: Final = {int(status): status.phrase for status in HTTPStatus}
_SLUG_BY_STATUS: Final = {
    400: "bad-request",
    401: "key-needed",
    404: "not-found",
    405: "method-not-allowed",
    408: "request-too-slow",
    413: "body-too-large",
    414: "url-too-long",
    415: "media-type-unsupported",
    422: "request-invalid",
    429: "too-many-requests",
    431: "headers-too-large",
    500: "internal-error",
    503: "busy",
}
_FRAMEWORK_UNREADABLE: Final = "There was an error parsing the body"
_FAILED: Final = "This is a defect of the service, not of the request. It is logged under the request id."
_DETAIL_BY_STATUS: Final = {
    400: "The body could not be read. Send UTF-8 encoded JSON.",
    404: "Check the path; paths have no slash at their end. The document at /v1/openapi.json lists them.",
    500: _FAILED,
}


def json_safe(value: Any) -> Any:
    """Copy a value so that any JSON reader can read it: no NaN, no Infinity, no lone surrogate.

    >>> json_safe({"a": [float("nan"), "\\ud800"]})
    {'a': ['nan', '\ufffd']}
    """
    if isinstance(value, str):
        return _LONE_SURROGATE.sub("\ufffd", value)
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, Mapping):
        return {json_safe(str(key)): json_safe(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [json_safe(item) for item in value]
    return value


def request_id_of(scope: Scope) -> str:
    """The id of a request, or an empty text outside a request."""
    state = scope.get("state")
    return str(state.get("request_id", "")) if isinstance(state, Mapping) else ""


def with_status(error: ServiceError, status: int) -> ServiceError:
    """Give one error another HTTP status, such as 404 for an unknown id in a path: `raise with_status(error, 404)`."""
    error.__dict__["status"] = status
    return error


def problem_document(
    scope: Scope,
    slug: str,
    detail: str,
    *,
    status: int | None = None,
    title: str | None = None,
    errors: Sequence[Fault] = (),
) -> dict[str, Any]:
    """Build the problem document of one refusal.

    Parameters: scope of the request; slug, a key of PROBLEM_KINDS; detail; status and title instead of the kind's
        own; errors, the things to change.
    Returns: the document, fit for JSON.
    """
    kind = PROBLEM_KINDS[slug]
    shown = list(errors[:_MOST_FAULTS])
    if len(errors) > len(shown):
        shown.append(Fault("", f"{len(errors) - len(shown)} more places have to change."))
    document = {
        "type": f"/problems/{slug}",
        "title": title or kind.title,
        "status": kind.status if status is None else status,
        "detail": _short(detail),
        "instance": _short(str(scope.get("path", ""))),
        "errors": [{"pointer": _short(fault.pointer), "detail": _short(fault.detail)} for fault in shown],
        "request_id": request_id_of(scope),
    }
    safe: dict[str, Any] = json_safe(document)
    return safe


def _short(text: str) -> str:
    return text if len(text) <= _MOST_ECHOED_CHARACTERS else text[:_MOST_ECHOED_CHARACTERS] + "…"


def problem_response(
    scope: Scope,
    slug: str,
    detail: str,
    *,
    status: int | None = None,
    title: str | None = None,
    errors: Sequence[Fault] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Build the response of one refusal; parameters as in problem_document, and extra headers."""
    return _response(problem_document(scope, slug, detail, status=status, title=title, errors=errors), headers)


def _response(document: dict[str, Any], headers: Mapping[str, str] | None = None) -> Response:
    body = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode("utf-8")
    return Response(
        body,
        status_code=document["status"],
        headers={"Cache-Control": "no-store", **(headers or {})},
        media_type=PROBLEM_MEDIA_TYPE,
    )


def problem_from_error(scope: Scope, error: ServiceError) -> dict[str, Any]:
    """Build the problem document of an error of the service, for a response or as one result among several.

    Parameters: scope of the request; error.
    Returns: the document; a failure of the optimiser shows no inner detail.
    """
    slug = next(_SLUG_BY_ERROR[kind] for kind in type(error).__mro__ if kind in _SLUG_BY_ERROR)
    status = error.__dict__.get("status", PROBLEM_KINDS[slug].status)
    if isinstance(error, SolverError):
        return problem_document(scope, slug, _FAILED, status=status)
    return problem_document(scope, slug, error.detail, status=status, title=error.title, errors=error.faults())


def _answer_service_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, ServiceError):
        raise error
    if isinstance(error, SolverError):
        _log.error("request %s: %s", request_id_of(request.scope), error.detail, exc_info=error)
    return _response(problem_from_error(request.scope, error))


def _read_faults(request: Request, error: RequestValidationError) -> tuple[bool, list[Fault]]:
    """Whether the body was no JSON at all, and what to change."""
    asked_of = getattr(error, "asked_of", None) or request.scope.get("endpoint")
    return faults_from_validation(error.errors(), error.body, asked_of)


def faults_of_request(request: Request, error: Exception) -> list[Fault]:
    """What to change in a request, of a refusal by validation or by the questions themselves.

    Raises: the error itself if it is neither.
    """
    if isinstance(error, RequestValidationError):
        return _read_faults(request, error)[1]
    if isinstance(error, ServiceError):
        return error.faults()
    raise error


def _answer_validation_error(request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise error
    unreadable, faults = _read_faults(request, error)
    detail = (
        faults[0].detail if len(faults) == 1 else f"{len(faults)} places in the request have to change; see errors."
    )
    return problem_response(
        request.scope, "json-unreadable" if unreadable else "request-invalid", detail, errors=faults
    )


def _answer_http_exception(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    status = error.status_code
    headers = dict(error.headers or {})
    if status in (204, 304):
        return Response(status_code=status, headers=headers)
    phrase = _PHRASES.get(status, "Refused")
    detail = str(error.detail) if error.detail and error.detail != phrase else ""
    if status == 405:
        methods = allowed_methods(request.app, request.scope)
        headers["Allow"] = ", ".join(methods)
        detail = f"This path answers {headers['Allow']}."
    if status in _DETAIL_BY_STATUS and (not detail or detail == _FRAMEWORK_UNREADABLE):
        detail = _DETAIL_BY_STATUS[status]
    slug = _SLUG_BY_STATUS.get(status, "bad-request" if status < 500 else "internal-error")
    title = None if status in _SLUG_BY_STATUS else phrase
    return problem_response(request.scope, slug, detail or f"{phrase}.", status=status, title=title, headers=headers)


def failure_response(scope: Scope, error: Exception) -> Response:
    """Log an unexpected exception and build the answer that shows nothing of it."""
    _log.error("request %s failed", request_id_of(scope), exc_info=error)
    return problem_response(scope, "internal-error", _FAILED)


def add_problem_handlers(app: FastAPI) -> None:
    """Make every refusal of an application a problem document."""
    app.add_exception_handler(ServiceError, _answer_service_error)
    app.add_exception_handler(RequestValidationError, _answer_validation_error)
    app.add_exception_handler(HTTPException, _answer_http_exception)
