"""What tells about the service: the OpenAPI document, the offline documentation page, limits, version and health."""

from __future__ import annotations

import asyncio
import json
import logging
from asyncio import to_thread
from collections.abc import Callable, Mapping, Sequence
from math import inf
from threading import Lock
from time import monotonic
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import PlainTextResponse, Response

from service import MODEL_VERSION
from service.api.answering import OPERATIONS
from service.api.batch import BatchAnswer
from service.api.cell_documents import complete_cells
from service.api.field_texts import describe_fields
from service.api.links import link_answers
from service.api.named_values import name_shared_values
from service.api.numbers import NoQuery
from service.api.problems import (
    PROBLEM_KINDS,
    PROBLEM_MEDIA_TYPE,
    Problem,
    ProblemFault,
    problem_response,
)
from service.api.routing import get_and_head
from service.api.settings import Settings
from service.api.static_files import PAGE_CONTENT_POLICY, StaticFile, kept_content, static_answer, static_file
from service.errors import Fault

__all__ = [
    "Limits",
    "ReadinessCheck",
    "Version",
    "complete_openapi",
    "documents_router",
    "operations_router",
    "problem_reference",
    "refuse_any_query",
]

ReadinessCheck = Callable[[], str | None]
"""Returns None if ready, otherwise why not; an exception counts as not ready."""

_log = logging.getLogger("service.errors")

_READINESS_HOLDS_S: Final = 1.0
"""How long the outcome of the checks is told without looking again [s]: anybody may ask as often as they like."""

_FILES: Final = {
    "swagger-ui-bundle.js": "swagger-ui/swagger-ui-bundle.js",
    "swagger-ui.css": "swagger-ui/swagger-ui.css",
    "docs-init.js": "docs-init.js",
}

# Refusals that every operation may answer, and those of an operation with a body.
_EVERYWHERE: Final = {
    413: "body-too-large",
    414: "url-too-long",
    422: "request-invalid",
    429: "too-many-requests",
    431: "headers-too-large",
    500: "internal-error",
    503: "busy",
}
_WITH_BODY: Final = {400: "json-unreadable", 408: "request-too-slow", 415: "media-type-unsupported"}
# Refusals of those operations that name them themselves, and of all where keys are needed.
_WHERE_NAMED: Final = {501: "not-installed"}
_WITHOUT_KEY: Final = {401: "key-needed"}
_KEYS: Final = {
    "bearer": {"type": "http", "scheme": "bearer", "description": "The key, as Authorization: Bearer …"},
    "basic": {"type": "http", "scheme": "basic", "description": "The key as the password; any name."},
    "parameter": {"type": "apiKey", "in": "query", "name": "api_key", "description": "The key, for a cell."},
}
"""The ways to send a key (OpenAPI 3.1.0, Security Scheme Object)."""

# What is sent as octets, to be saved as a file.
_OCTETS: Final = ("image/", "application/vnd.")


class Limits(BaseModel):
    """The limits that requests meet here; an operator may change them."""

    max_body_bytes: int = Field(description="Largest body [B].")
    max_url_characters: int = Field(description="Longest path with its query [characters].")
    max_nesting_depth: int = Field(description="Deepest nesting of brackets in a body.")
    max_list_items: int = Field(description="Most items of any list.")
    max_string_characters: int = Field(description="Longest text [characters].")
    deadline_s: float = Field(description="Longest time for computing one answer [s].")
    max_batch_requests: int = Field(description="Most requests in one batch.")
    batch_deadline_s: float = Field(description="Longest time for computing a whole batch [s].")
    workers: int = Field(description="Processes that compute answers; 0 where threads do.")
    max_waiting: int = Field(description="Most requests that wait for a worker; more are refused with 503.")
    max_wait_s: float = Field(description="Longest expected wait for a worker [s]; beyond it a request gets 503.")
    max_connections: int = Field(description="Most connections open at once.")
    max_header_bytes: int = Field(description="Largest request line with headers [B].")
    header_timeout_s: float = Field(description="Longest time for the head of a request to arrive [s].")
    body_timeout_s: float = Field(description="Longest time for a body to arrive [s].")
    keep_alive_s: int = Field(description="How long an idle connection is kept open [s].")
    shutdown_s: int = Field(description="How long what was asked is answered still when the service ends [s].")
    requests_per_s: float = Field(description="Requests a second, over time, of one key or address; more get 429.")
    request_burst: int = Field(description="Requests at once of one key or address.")
    max_draws: int = Field(description="Most simulated drinks (`draws`) of one answer; the same everywhere.")


class Version(BaseModel):
    """What answers here."""

    api_version: str = Field(description="Version of the paths; only additive change within it.")
    model_version: str = Field(description="Release whose equations answer.")
    data_version: str | None = Field(description="Version of the catalogue, if it is loaded.")


class Health(BaseModel):
    """The state of the process."""

    status: str


def complete_openapi(document: dict[str, Any], *, needs_key: bool = False) -> dict[str, Any]:
    """Bring the OpenAPI document to what the service answers: every refusal is a problem document.

    Parameters: document, as FastAPI builds it; changed in place; needs_key, whether the service asks for a key.
    Returns: the same document.
    """
    components = document.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    schemas["ProblemFault"] = ProblemFault.model_json_schema()
    problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    problem.pop("$defs", None)
    schemas["Problem"] = problem
    describe_fields(schemas, (BatchAnswer, *(operation.answer for operation in OPERATIONS.values())))
    name_shared_values(document)
    components["schemas"] = dict(sorted(schemas.items()))
    answers = components.setdefault("responses", {})
    without_key = _WITHOUT_KEY if needs_key else {}
    for status, slug in {**_EVERYWHERE, **_WITH_BODY, **_WHERE_NAMED, **without_key}.items():
        answers[_response_name(status)] = {
            "description": PROBLEM_KINDS[slug].title,
            "content": {PROBLEM_MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
    for operations in document.get("paths", {}).values():
        for operation in operations.values():
            _complete_operation(operation, without_key)
    if needs_key:
        components["securitySchemes"] = _KEYS
        document["security"] = [{name: []} for name in _KEYS]
    complete_cells(document)
    link_answers(document)
    return document


def problem_reference(status: int) -> dict[str, str]:
    """The refusal of this status as a response of an operation in the document."""
    return {"$ref": f"#/components/responses/{_response_name(status)}"}


def _response_name(status: int) -> str:
    return f"Problem{status}"


def _complete_operation(operation: dict[str, Any], without_key: Mapping[int, str]) -> None:
    responses = operation.setdefault("responses", {})
    by_default = "#/components/schemas/HTTPValidationError"
    if by_default in json.dumps(responses.get("422", {})):
        del responses["422"]
    for status in {**_EVERYWHERE, **without_key, **(_WITH_BODY if "requestBody" in operation else {})}:
        responses.setdefault(str(status), problem_reference(status))
    for response in responses.values():
        for media_type, written in response.get("content", {}).items():
            if media_type.startswith(_OCTETS):
                written["schema"] = {"type": "string", "format": "binary"}
    operation["responses"] = dict(sorted(responses.items()))


def documents_router(openapi: Callable[[], dict[str, Any]]) -> APIRouter:
    """Build the routes of `/docs`, its files, `/v1/openapi.json` and the pages that a problem's `type` names.

    Parameters: openapi, which builds the document (called at the first request).
    Returns: the router; none of its routes stands in the document.
    """
    router = APIRouter(include_in_schema=False)
    page = static_file("docs.html")
    static = {name: static_file(path) for name, path in _FILES.items()}
    written: list[StaticFile] = []
    writing = Lock()

    @get_and_head(router, "/docs")
    async def show_docs(request: Request) -> Response:
        return static_answer(request, page, 300, PAGE_CONTENT_POLICY)

    def register(name: str) -> None:
        @get_and_head(router, f"/docs/{name}")
        async def show_docs_file(request: Request) -> Response:
            return static_answer(request, static[name], 86_400)

    for name in static:
        register(name)

    @get_and_head(router, "/v1/openapi.json")
    def show_openapi(request: Request) -> Response:
        with writing:  # two threads that build it at once would see each other's half
            if not written:
                content = json.dumps(openapi(), ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
                written.append(kept_content(content, "application/json"))
        return static_answer(request, written[0], 300)

    def register_kind(slug: str) -> None:
        @get_and_head(router, f"/problems/{slug}")
        async def explain_problem() -> Response:
            kind = PROBLEM_KINDS[slug]
            return PlainTextResponse(f"{kind.title} (usually HTTP {kind.status}).\n")

    for slug in PROBLEM_KINDS:
        register_kind(slug)
    return router


def refuse_any_query(query: Annotated[NoQuery, Query()]) -> NoQuery:
    """Refuse any query parameter, for `Depends` of a route that has none."""
    return query


def operations_router(
    settings: Settings, readiness: Sequence[ReadinessCheck] = (), data_version: str | None = None
) -> APIRouter:
    """Build `/healthz`, `/readyz`, `/version` and `/v1/limits`.

    Parameters: settings; readiness, what has to hold before requests are welcome; data_version of the catalogue.
    Returns: the router; the two probes stand outside the document.
    """
    router = APIRouter(tags=["operations"])
    looked: list[Any] = [-inf, []]
    looking = asyncio.Lock()

    @get_and_head(router, "/healthz", include_in_schema=False)
    async def get_health() -> Health:
        return Health(status="alive")

    @get_and_head(router, "/readyz", include_in_schema=False, response_model=Health)
    async def get_readiness(request: Request) -> Health | Response:
        async with looking:  # who comes meanwhile waits for the same look
            if looked[0] + _READINESS_HOLDS_S < monotonic():
                found = await to_thread(lambda: [reason for reason in map(_not_ready, readiness) if reason is not None])
                looked[:] = monotonic(), found
        if looked[1]:
            faults = [Fault("", reason) for reason in looked[1]]
            return problem_response(
                request.scope, "busy", "The service is not ready yet.", errors=faults, headers={"Retry-After": "5"}
            )
        return Health(status="ready")

    @get_and_head(
        router, "/version", summary="Versions of paths, equations and data", dependencies=[Depends(refuse_any_query)]
    )
    async def get_version() -> Version:
        """The version of the paths, of the equations and of the catalogue; every answer carries the latter two."""
        return Version(api_version="v1", model_version=MODEL_VERSION, data_version=data_version)

    @get_and_head(router, "/v1/limits", summary="Limits that requests meet", dependencies=[Depends(refuse_any_query)])
    async def get_limits() -> Limits:
        """What is refused as too large, too long or too many, and how long an answer may take."""
        return Limits.model_validate(settings.limits())

    return router


def _not_ready(check: ReadinessCheck) -> str | None:
    try:
        return check()
    except Exception:
        _log.exception("readiness check %s failed", getattr(check, "__name__", "?"))
        return f"The check {getattr(check, '__name__', '?')} failed; the reason is logged."
