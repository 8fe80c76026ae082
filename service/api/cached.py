"""Answers that depend on the request and the data version only: an ETag, and 304 where the caller has them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from pydantic import BaseModel
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import Response

_MAX_AGE_S = 300


def etag_of(content: bytes) -> str:
    """The ETag of some content."""
    return '"' + hashlib.sha256(content).hexdigest()[:32] + '"'


def caller_has(headers: Headers, etag: str) -> bool:
    """Whether the headers of a request say that its caller has the content with this ETag."""
    known = [tag.strip().removeprefix("W/") for tag in headers.get("if-none-match", "").split(",")]
    return etag in known or "*" in known


def cached(
    request: Request,
    content: bytes,
    media_type: str,
    *,
    etag: str | None = None,
    max_age_s: int = _MAX_AGE_S,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Content with its ETag (made if None), or 304 if the caller's copy is the same."""
    etag = etag_of(content) if etag is None else etag
    sent = {"ETag": etag, "Cache-Control": f"public, max-age={max_age_s}", **(headers or {})}
    if caller_has(request.headers, etag):
        return Response(status_code=304, headers=sent)
    return Response(content, headers=sent, media_type=media_type)


def cached_text(request: Request, text: str, media_type: str, *, headers: Mapping[str, str] | None = None) -> Response:
    """A text with its ETag, or 304 if the caller's copy is the same."""
    return cached(request, text.encode(), media_type, headers=headers)


def cached_json(request: Request, model: BaseModel, *, headers: Mapping[str, str] | None = None) -> Response:
    """A model as JSON with its ETag, or 304 if the caller's copy is the same."""
    return cached_text(request, model.model_dump_json(), "application/json", headers=headers)
