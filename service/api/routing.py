"""Registers a route for GET and HEAD, and tells which route and which methods a path has.

The framework analyses an endpoint again for each method that it is registered for, and tries every route's expression
to tell which one answers. Here GET and HEAD are one route, and a path is looked up.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar, cast

from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute, RouteContext, iter_route_contexts
from starlette.routing import Match
from starlette.types import Receive, Scope, Send

__all__ = ["METHODS", "GetRoute", "allowed_methods", "answers_method", "get_and_head", "route_of"]

Endpoint = TypeVar("Endpoint", bound=Callable[..., Any])

METHODS: Final = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
"""The methods looked for; OPTIONS is answered for every path that has one of them."""


class GetRoute(APIRoute):
    """A route for GET that answers HEAD as well, outside the document, so that both validate and answer alike."""

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Whether it answers a request."""
        return super().matches(_as_get(scope))

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request; of what HEAD is answered with, the body is cut off further out."""
        await super().handle(_as_get(scope), receive, send)


def _as_get(scope: Scope) -> Scope:
    return {**scope, "method": "GET"} if scope.get("method") == "HEAD" else scope


def get_and_head(
    router: APIRouter | FastAPI, path: str, *, route_class: type[GetRoute] = GetRoute, **options: Any
) -> Callable[[Endpoint], Endpoint]:
    """Register an endpoint for GET, and for HEAD outside the document.

    Parameters: router; path; route_class; options, as of `router.get`.
    Returns: a decorator that leaves the endpoint unchanged.
    """
    registered = router.router if isinstance(router, FastAPI) else router

    def register(endpoint: Endpoint) -> Endpoint:
        registered.add_api_route(path, endpoint, methods=["GET"], route_class_override=route_class, **options)
        return endpoint

    return register


class _Paths:
    """The routes of an application by the paths they answer: those without parameters are looked up, the few with
    parameters are tried in the order of their registration."""

    def __init__(self, app: FastAPI) -> None:
        self._exact: dict[tuple[str, str], tuple[int, APIRoute]] = {}
        self._patterns: list[tuple[int, frozenset[str], RouteContext]] = []
        for place, context in enumerate(iter_route_contexts(app.routes)):
            route = context.original_route
            if not isinstance(route, APIRoute):
                continue
            methods = frozenset(context.methods or ()) | ({"HEAD"} if isinstance(route, GetRoute) else set())
            if context.param_convertors:
                self._patterns.append((place, methods, context))
                continue
            for method in methods:
                self._exact.setdefault((context.path or "", method), (place, route))

    def find(self, path: str, method: str) -> APIRoute | None:
        """The first route registered for a path and a method."""
        # An expression that ends in $ matches before a last line feed too, and so does the router.
        before, found = self._exact.get((path.removesuffix("\n"), method), (None, None))
        for place, methods, context in self._patterns:
            if before is not None and place > before:
                break
            if method in methods and context.path_regex.match(path):
                return cast(APIRoute, context.original_route)
        return found


def _paths(app: FastAPI) -> _Paths:
    """The paths of an application, gathered when they are first asked for: routes are registered before that."""
    paths: _Paths | None = getattr(app.state, "paths", None)
    if paths is None:
        paths = app.state.paths = _Paths(app)
    return paths


def _path_below_root(scope: Scope) -> str:
    """The path that routes are compared with: without the path that the application is mounted at."""
    path: str = scope["path"]
    below = path.removeprefix(scope.get("root_path", ""))
    return below if below[:1] in ("", "/") else path


def route_of(app: FastAPI, scope: Scope) -> APIRoute | None:
    """The route that will answer a request, the first one registered for its path and method as the router chooses.

    Parameters: app; scope, of an HTTP request.
    Returns: the route, whose `endpoint` is the function; None where the answer is 404, 405 or OPTIONS.
    """
    return _paths(app).find(_path_below_root(scope), scope["method"])


def answers_method(app: FastAPI, scope: Scope, method: str) -> bool:
    """Whether a route of the application answers this path with this method."""
    return _paths(app).find(_path_below_root(scope), method) is not None


def allowed_methods(app: FastAPI, scope: Scope) -> list[str]:
    """The methods that a path answers, for the Allow header; empty for an unknown path."""
    methods = [method for method in METHODS if answers_method(app, scope, method)]
    return [*methods, "OPTIONS"] if methods else []
