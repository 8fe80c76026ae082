"""Registers a route for GET and HEAD, and tells which methods a path answers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

from fastapi import APIRouter, FastAPI
from starlette.routing import Match
from starlette.types import Scope

__all__ = ["METHODS", "allowed_methods", "answers_method", "get_and_head"]

Endpoint = TypeVar("Endpoint", bound=Callable[..., Any])

METHODS: Final = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
"""The methods looked for; OPTIONS is answered for every path that has one of them."""


def get_and_head(
    router: APIRouter | FastAPI, path: str, *, head: Callable[..., Any] | None = None, **options: Any
) -> Callable[[Endpoint], Endpoint]:
    """Register an endpoint for GET, and for HEAD outside the document, so that both validate and answer alike.

    Parameters: router; path; head, a cheaper endpoint for HEAD with the same parameters and the same refusals (the
        endpoint itself if None); options, as of `router.get`.
    Returns: a decorator that leaves the endpoint unchanged.
    """

    def register(endpoint: Endpoint) -> Endpoint:
        router.get(path, **options)(endpoint)
        for_head = {key: value for key, value in options.items() if key not in ("operation_id", "include_in_schema")}
        router.head(path, include_in_schema=False, **for_head)(head or endpoint)
        return endpoint

    return register


def answers_method(app: FastAPI, scope: Scope, method: str) -> bool:
    """Whether a route of the application answers this path with this method."""
    asked = {**scope, "method": method}
    return any(route.matches(dict(asked))[0] is Match.FULL for route in app.router.routes)


def allowed_methods(app: FastAPI, scope: Scope) -> list[str]:
    """The methods that a path answers, for the Allow header; empty for an unknown path."""
    methods = [method for method in METHODS if answers_method(app, scope, method)]
    return [*methods, "OPTIONS"] if methods else []
