"""The page at `/`: to try the service, to look at trade-offs, and to print a batch record."""

from __future__ import annotations

from importlib.resources import files
from typing import Final

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.routing import get_and_head
from service.api.static_files import PAGE_CONTENT_POLICY, static_answer, static_file

__all__ = ["page_router"]

_FOLDER: Final = "page"
_START: Final = "index.html"
_PAGE_MAX_AGE_S: Final = 300
"""Page and files alike: one of them must not be much older than the others."""


def page_router() -> APIRouter:
    """Build the routes of `/` and of the files that it loads, each at `/page/<name>`.

    Returns: the router; none of its routes stands in the document.
    """
    router = APIRouter(include_in_schema=False)
    page = static_file(f"{_FOLDER}/{_START}")

    @get_and_head(router, "/")
    async def show_page(request: Request) -> Response:
        return static_answer(request, page, _PAGE_MAX_AGE_S, PAGE_CONTENT_POLICY)

    def register(name: str) -> None:
        file = static_file(f"{_FOLDER}/{name}")

        @get_and_head(router, f"/page/{name}")
        async def show_page_file(request: Request) -> Response:
            return static_answer(request, file, _PAGE_MAX_AGE_S)

    names = (found.name for found in (files("service.api") / "static" / _FOLDER).iterdir())
    for name in sorted(name for name in names if name != _START):
        register(name)
    return router
