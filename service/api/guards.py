"""Pure ASGI guards around the application: sizes, nesting, media types, OPTIONS, request ids, headers and the log.

From the outside in: `Envelope` (id, headers, log line, the last resort for exceptions), `UrlGuard` (414),
`OptionsAnswer` (204 with Allow), `BodyGuard` (413, 415, nesting). Nothing here reads what a body means.
"""

from __future__ import annotations

import json
import logging
import re
import time
import uuid
from email.message import Message as HeaderMessage
from typing import Final

from fastapi import FastAPI
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.problems import failure_response, json_safe, problem_response
from service.api.routing import allowed_methods, answers_method

__all__ = ["ACCESS_LOGGER", "BodyGuard", "Envelope", "OptionsAnswer", "UrlGuard", "nesting_exceeds"]

ACCESS_LOGGER: Final = "service.access"
"""Name of the logger that gets one JSON line per request at level INFO."""

_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._-]{1,64}", re.ASCII)
_JSON_CONTENT_POLICY: Final = "default-src 'none'; frame-ancestors 'none'"
_WITH_BODY: Final = frozenset({"POST", "PUT", "PATCH"})
# A string to its end (or to the end of the body), or one bracket: linear, since nothing is read twice.
_STRING_OR_BRACKET: Final = re.compile(rb'"(?:[^"\\]++|\\.)*+"?|[\[{]|[\]}]', re.DOTALL)


class Envelope:
    """Outermost: the request id in and out, security headers, one log line, and an answer for any exception."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.log = logging.getLogger(ACCESS_LOGGER)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = time.perf_counter()
        given = Headers(scope=scope).get("x-request-id", "")
        request_id = given if _REQUEST_ID.fullmatch(given) else uuid.uuid4().hex
        scope["state"] = {**(scope.get("state") or {}), "request_id": request_id}
        status, sent_bytes = 0, 0

        async def send_enveloped(message: Message) -> None:
            nonlocal status, sent_bytes
            if message["type"] == "http.response.start":
                status = message["status"]
                _add_headers(MutableHeaders(scope=message), request_id, status)
            elif message["type"] == "http.response.body":
                if scope["method"] == "HEAD":
                    message = {**message, "body": b""}
                sent_bytes += len(message.get("body", b""))
            await send(message)

        try:
            await self.app(scope, receive, send_enveloped)
        except Exception as error:
            response = failure_response(scope, error)
            if status:  # the answer has begun: nothing better can be sent, so the server closes the connection
                raise
            await response(scope, receive, send_enveloped)
        finally:
            self._write(scope, request_id, status, sent_bytes, time.perf_counter() - started)

    def _write(self, scope: Scope, request_id: str, status: int, sent_bytes: int, duration_s: float) -> None:
        endpoint = scope.get("endpoint")
        line = {
            "time": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
            "request_id": request_id,
            "method": scope["method"],
            "path": str(scope["path"])[:200],
            "operation": getattr(endpoint, "__name__", None),
            "status": status,
            "milliseconds": round(duration_s * 1000.0, 2),
            "bytes": sent_bytes,
        }
        self.log.info(json.dumps(json_safe(line)))


def _add_headers(headers: MutableHeaders, request_id: str, status: int) -> None:
    headers["X-Request-ID"] = request_id
    headers["X-Content-Type-Options"] = "nosniff"
    headers["Referrer-Policy"] = "no-referrer"
    headers.setdefault("Content-Security-Policy", _JSON_CONTENT_POLICY)
    if status >= 400:
        headers.setdefault("Cache-Control", "no-store")


class UrlGuard:
    """Refuses a path with its query longer than a limit, with 414."""

    def __init__(self, app: ASGIApp, max_url_characters: int) -> None:
        self.app = app
        self.max_url_characters = max_url_characters

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] == "http":
            query = scope.get("query_string", b"")
            path = scope.get("raw_path") or str(scope["path"]).encode("utf-8", "replace")
            characters = len(path) + (1 + len(query) if query else 0)
            if characters > self.max_url_characters:
                detail = (
                    f"The path with its query has {characters} characters; at most {self.max_url_characters} are read."
                )
                response = problem_response(scope, "url-too-long", detail)
                await response(scope, receive, send)
                return
        await self.app(scope, receive, send)


class OptionsAnswer:
    """Answers OPTIONS with 204, empty, and the methods that the path has; an unknown path goes on to its 404."""

    def __init__(self, app: ASGIApp, routes_of: FastAPI) -> None:
        self.app = app
        self.routes_of = routes_of

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] == "http" and scope["method"] == "OPTIONS":
            methods = allowed_methods(self.routes_of, scope)
            if methods:
                response = Response(status_code=204, headers={"Allow": ", ".join(methods)})
                await response(scope, receive, send)
                return
        await self.app(scope, receive, send)


class BodyGuard:
    """Refuses a body too large (declared or counted), not JSON by its headers, or nested too deeply.

    The whole body is held (it is small), and handed on only when it passed. A path or method that does not exist
    goes on untouched to its 404 or 405.
    """

    def __init__(self, app: ASGIApp, routes_of: FastAPI, max_body_bytes: int, max_nesting_depth: int) -> None:
        self.app = app
        self.routes_of = routes_of
        self.max_body_bytes = max_body_bytes
        self.max_nesting_depth = max_nesting_depth

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        declared = headers.get("content-length", "")
        oversize = declared.isascii() and declared.isdigit() and int(declared[:20]) > self.max_body_bytes
        has_body = scope["method"] in _WITH_BODY
        if not (oversize or has_body) or not answers_method(self.routes_of, scope, scope["method"]):
            await self.app(scope, receive, send)
            return
        body = None if oversize else await self._read(receive)
        if body is None and not oversize:
            return  # the client has gone: there is nobody to answer
        refusal = self._too_large(scope) if body is None else self._refusal(scope, headers, body)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        handed_on = False

        async def receive_again() -> Message:
            nonlocal handed_on
            if handed_on:
                return await receive()
            handed_on = True
            return {"type": "http.request", "body": body, "more_body": False}

        await self.app(scope, receive_again, send)

    async def _read(self, receive: Receive) -> bytes | None:
        """The body, cut just above the limit; or None if the client disconnected."""
        body = bytearray()
        while len(body) <= self.max_body_bytes:
            message = await receive()
            if message["type"] == "http.disconnect":
                return None
            body += message.get("body", b"")
            if not message.get("more_body", False):
                break
        return bytes(body)

    def _refusal(self, scope: Scope, headers: Headers, body: bytes) -> Response | None:
        if len(body) > self.max_body_bytes:
            return self._too_large(scope)
        if headers.get("content-encoding", "identity").strip().lower() not in ("", "identity"):
            return problem_response(
                scope,
                "media-type-unsupported",
                "Send the body uncompressed, without Content-Encoding.",
                headers={"Accept-Encoding": "identity"},
            )
        if body and not _is_json(headers.get("content-type", "")):
            return problem_response(
                scope, "media-type-unsupported", "Send the body as UTF-8 JSON with Content-Type: application/json."
            )
        if nesting_exceeds(body, self.max_nesting_depth):
            detail = f"Brackets stand more than {self.max_nesting_depth} deep within each other; no request needs that."
            return problem_response(scope, "nesting-too-deep", detail)
        return None

    def _too_large(self, scope: Scope) -> Response:
        detail = f"The body has more than {self.max_body_bytes} bytes. Split the request."
        return problem_response(scope, "body-too-large", detail, headers={"Connection": "close"})


def _is_json(content_type: str) -> bool:
    header = HeaderMessage()
    header["content-type"] = content_type or "application/octet-stream"
    subtype = header.get_content_subtype()
    charset = str(header.get_param("charset") or "utf-8").lower()
    return (
        header.get_content_maintype() == "application"
        and (subtype == "json" or subtype.endswith("+json"))
        and charset in ("utf-8", "utf8", "us-ascii")
    )


def nesting_exceeds(body: bytes, max_depth: int) -> bool:
    """Whether brackets of a JSON text stand deeper within each other than a limit; strings do not count.

    Parameters: body, the text in UTF-8; max_depth.
    Returns: the answer; one pass, whatever the body is.

    >>> nesting_exceeds(b'[["]]][[["]]', 2), nesting_exceeds(b"[[[]]]", 2)
    (False, True)
    """
    if body.count(b"[") + body.count(b"{") <= max_depth:
        return False
    depth = 0
    for found in _STRING_OR_BRACKET.finditer(body):
        first = found[0][0]
        if first in b"[{":
            depth += 1
            if depth > max_depth:
                return True
        elif first in b"]}":
            depth -= 1
    return False
