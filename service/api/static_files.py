"""Files beside the code that are served as they are: pages, styles, scripts, with their ETag and their policy."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from service.api.cached import cached, etag_of

__all__ = ["PAGE_CONTENT_POLICY", "StaticFile", "kept_content", "static_answer", "static_file"]

PAGE_CONTENT_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""What a page of ours may load: nothing but what this server sends, no script or style within the page itself."""

_STATIC: Final = files("service.api") / "static"
_MEDIA_TYPES: Final = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".txt": "text/plain",
}


@dataclass(frozen=True, slots=True)
class StaticFile:
    """A file as it is sent, or what is sent like one."""

    content: bytes
    media_type: str
    etag: str


def static_file(name: str) -> StaticFile:
    """Read a file of `service/api/static`; the end of its name tells the media type."""
    content = (_STATIC / name).read_bytes()
    return kept_content(content, _MEDIA_TYPES[name[name.rindex(".") :]])


def kept_content(content: bytes, media_type: str) -> StaticFile:
    """Content made once, to be sent like a file."""
    return StaticFile(content, media_type, etag_of(content))


def static_answer(request: Request, file: StaticFile, max_age_s: int, content_policy: str | None = None) -> Response:
    """The file, or 304 where the caller has it; a page gets the policy that says what it may load."""
    policy = {"Content-Security-Policy": content_policy} if content_policy else {}
    return cached(request, file.content, file.media_type, etag=file.etag, max_age_s=max_age_s, headers=policy)
