"""Answers that depend on the request and the data version only: an ETag, and 304 where the caller has them."""

from __future__ import annotations

import hashlib

from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response

_MAX_AGE_S = 300


def cached_text(request: Request, text: str, media_type: str) -> Response:
    """A text with its ETag, or 304 if the caller's copy is the same."""
    etag = '"' + hashlib.sha256(text.encode()).hexdigest()[:32] + '"'
    headers = {"ETag": etag, "Cache-Control": f"public, max-age={_MAX_AGE_S}"}
    known = [tag.strip().removeprefix("W/") for tag in request.headers.get("if-none-match", "").split(",")]
    if etag in known:
        return Response(status_code=304, headers=headers)
    return Response(text, headers=headers, media_type=media_type)


def cached_json(request: Request, model: BaseModel) -> Response:
    """A model as JSON with its ETag, or 304 if the caller's copy is the same."""
    return cached_text(request, model.model_dump_json(), "application/json")
