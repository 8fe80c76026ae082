"""The route that is looked up is the one that the framework's router chooses by itself."""

from __future__ import annotations

from collections.abc import Callable
from inspect import iscoroutinefunction

import pytest
from fastapi import APIRouter, FastAPI
from starlette.testclient import TestClient

from service.api.cell_questions import QUESTIONS
from service.api.cells import cells_router
from service.api.routing import allowed_methods, answers_method, get_and_head, route_of

# Of two routes for one path the first counts; some have parameters and stand before or behind those without.
PATHS = ("/x/first", "/x/{name}", "/x/behind", "/x/{name}.csv", "/x/deep/{name}", "/y.csv", "/{whole:path}/end")
ASKED = (
    *("/x/first", "/x/first%0A", "/x/first%0A%0A", "/x/behind", "/x/other", "/x/other.csv", "/x/.csv", "/x/", "/x"),
    *("/x/deep/a", "/x/deep/a/b", "/y.csv", "/yxcsv", "/a/b/c/end", "/end", "/X/first", "/"),
)


def answering(path: str) -> Callable[[], str]:
    def endpoint() -> str:
        return path

    endpoint.__name__ = "at" + "".join(c if c.isalnum() else "_" for c in path)
    return endpoint


def application() -> FastAPI:
    app = FastAPI(redirect_slashes=False, openapi_url=None, docs_url=None, redoc_url=None)
    router = APIRouter()
    for path in PATHS:
        get_and_head(router, path)(answering(path))
    router.post("/x/behind")(answering("posted"))
    router.post("/x/posted")(answering("posted to its path"))
    app.include_router(router)
    return app


APP = application()


@pytest.mark.parametrize("path", ASKED)
def test_the_route_told_is_the_one_that_answers(path: str) -> None:
    answer = TestClient(APP).get(path)
    scope = {"type": "http", "method": "GET", "path": path.replace("%0A", "\n"), "root_path": ""}
    route = route_of(APP, scope)
    assert (route is None) == (answer.status_code == 404)
    if route is not None:
        assert route.endpoint() == answer.json()
        below = {**scope, "path": "/base" + scope["path"], "root_path": "/base"}
        assert route_of(APP, below) is route
        beside = {**scope, "path": "/base" + scope["path"], "root_path": "/bas"}
        assert route_of(APP, beside) is not route or path == "/a/b/c/end"


def test_methods_of_a_path() -> None:
    def asked(path: str) -> dict[str, str]:
        return {"type": "http", "method": "GET", "path": path, "root_path": ""}

    assert allowed_methods(APP, asked("/x/behind")) == ["GET", "HEAD", "POST", "OPTIONS"]
    assert allowed_methods(APP, asked("/y.csv")) == ["GET", "HEAD", "OPTIONS"]
    assert allowed_methods(APP, asked("/nothing")) == []
    assert answers_method(APP, asked("/x/posted"), "POST")
    assert not answers_method(APP, asked("/y.csv"), "POST")


def test_light_questions_are_coroutines_and_all_others_are_not() -> None:
    app = FastAPI()
    app.include_router(cells_router())
    for question in QUESTIONS:
        route = route_of(app, {"type": "http", "method": "GET", "path": f"/v1/cell/{question.name}", "root_path": ""})
        assert route is not None
        assert iscoroutinefunction(route.endpoint) == question.light
