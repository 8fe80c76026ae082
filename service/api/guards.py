"""Pure ASGI guards around the application: sizes, nesting, media types, OPTIONS, request ids, headers and the log.

From the outside in: `Envelope` (id, headers, log line, the last resort for exceptions), `serving.Callers` (401, 429),
`UrlGuard` (414), `OptionsAnswer` (204 with Allow), `BodyGuard` (408, 413, 415, nesting), `serving.Forwarding` (503).
Nothing here reads what a body means.
"""

from __future__ import annotations

import asyncio
import json
import logging
import re
import time
import uuid
from collections.abc import Callable, Mapping
from contextlib import suppress
from email.message import Message as HeaderMessage
from typing import Final

from fastapi import FastAPI
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.logs import ACCESS_LOGGER
from service.api.problems import failure_response, json_safe, problem_response
from service.api.routing import METHODS, allowed_methods, answers_method
from service.api.streaming import CallerGoneError

__all__ = ["SECURITY_HEADERS", "BodyGuard", "Envelope", "OptionsAnswer", "UrlGuard", "nesting_exceeds"]

SECURITY_HEADERS: Final[Mapping[str, str]] = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
}
"""What stands on every answer; a page has another Content-Security-Policy instead."""

_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._-]{1,64}", re.ASCII)
_WITH_BODY: Final = frozenset({"POST", "PUT", "PATCH"})
_LONGEST_METHOD: Final = 20
_LEFT: Final = 499
"""Told in log and metrics where the caller left before the answer, sent to nobody: common practice, no standard."""
_ASKED_BY_MACHINES: Final = frozenset({"get_health", "get_readiness", "get_metrics"})
"""Asked every few seconds, so that nothing is logged of them while all is well."""
_PART_BYTES: Final = 64 * 1024
"""A larger answer is sent in parts of this size [B], each when most of the one before is on its way: however slowly a
caller reads, what waits for them is small."""

_DRAINED_BYTES: Final = 16 * 1024 * 1024
_DRAINED_S: Final = 2.0
"""So much of a body that was refused, and for so long, is read and thrown away: a caller who sends all before reading
would otherwise find the connection reset instead of the refusal."""

_BRACKETS: Final = b"[]{}"
_ALL_SQUARE: Final = bytes.maketrans(b"{}", b"[]")
_NO_BRACKETS: Final = bytes(byte for byte in range(256) if byte not in _BRACKETS)


class Envelope:
    """Outermost: the request id in and out, security headers, one log line, and an answer for any exception.

    Parameters: app; on_answer, told the operation, the method, the status and the time [s] of every request; None where
    another process, which has an envelope of its own, sends the answer.
    """

    def __init__(self, app: ASGIApp, on_answer: Callable[[str, str, int, float], None] | None = None) -> None:
        self.app, self.on_answer = app, on_answer
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
                body = message.get("body", b"")
                sent_bytes += len(body)
                last = max(0, len(body) - 1) // _PART_BYTES * _PART_BYTES if self.on_answer is not None else 0
                for begin in range(0, last, _PART_BYTES):
                    await send({**message, "body": body[begin : begin + _PART_BYTES], "more_body": True})
                message = {**message, "body": body[last:]}
            await send(message)

        try:
            await self.app(scope, receive, send_enveloped)
        except CallerGoneError:
            pass  # nobody is there to be answered
        except asyncio.CancelledError:  # the service ends, and its patience with what was asked before is over
            if status:
                raise
            detail = "The service ended before this was answered. Send it again, to another one or later."
            response = problem_response(scope, "busy", detail, headers={"Retry-After": "2", "Connection": "close"})
            await response(scope, receive, send_enveloped)
        except Exception as error:
            response = failure_response(scope, error)
            if status:  # the answer has begun: nothing better can be sent, so the server closes the connection
                raise
            await response(scope, receive, send_enveloped)
        finally:
            self._write(scope, request_id, status, sent_bytes, time.perf_counter() - started)

    def _write(self, scope: Scope, request_id: str, status: int, sent_bytes: int, duration_s: float) -> None:
        operation = getattr(scope.get("endpoint"), "__name__", None)
        if self.on_answer is None:
            return
        method = scope["method"] if scope["method"] in (*METHODS, "OPTIONS") else "other"
        self.on_answer(operation or "none", method, status or _LEFT, duration_s)
        if status == 200 and operation in _ASKED_BY_MACHINES:
            return
        line = {
            "time": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
            "request_id": request_id,
            "method": scope["method"][:_LONGEST_METHOD],
            "path": str(scope["path"])[:200],
            "operation": operation,
            "status": status or _LEFT,
            "milliseconds": round(duration_s * 1000.0, 2),
            "bytes": sent_bytes,
            "caller": scope["state"].get("caller") or None,
        }
        self.log.info(json.dumps(json_safe(line)))


def _add_headers(headers: MutableHeaders, request_id: str, status: int) -> None:
    headers["X-Request-ID"] = request_id
    for name, value in SECURITY_HEADERS.items():
        headers.setdefault(name, value)
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

    def __init__(
        self, app: ASGIApp, routes_of: FastAPI, max_body_bytes: int, max_nesting_depth: int, timeout_s: float
    ) -> None:
        self.app = app
        self.routes_of = routes_of
        self.max_body_bytes = max_body_bytes
        self.max_nesting_depth = max_nesting_depth
        self.timeout_s = timeout_s

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
        try:
            async with asyncio.timeout(self.timeout_s):
                body = None if oversize else await self._read(receive)
        except TimeoutError:
            await self._too_slow(scope)(scope, receive, send)
            return
        if body is None and not oversize:
            return  # the client has gone: there is nobody to answer
        refusal = self._too_large(scope) if body is None else self._refusal(scope, headers, body)
        if refusal is not None:
            await refusal(scope, receive, _drained(receive, send) if refusal.status_code == 413 else send)
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
        if not _is_utf8(body):
            return problem_response(
                scope, "bad-request", "Send the body as JSON in UTF-8; it has bytes that are no such text."
            )
        if nesting_exceeds(body, self.max_nesting_depth):
            detail = f"Brackets stand more than {self.max_nesting_depth} deep within each other; no request needs that."
            return problem_response(scope, "nesting-too-deep", detail)
        return None

    def _too_slow(self, scope: Scope) -> Response:
        detail = f"The body did not arrive within {self.timeout_s:g} s."
        return problem_response(scope, "request-too-slow", detail, headers={"Connection": "close"})

    def _too_large(self, scope: Scope) -> Response:
        detail = f"The body has more than {self.max_body_bytes} bytes. Split the request."
        return problem_response(scope, "body-too-large", detail, headers={"Connection": "close"})


def _drained(receive: Receive, send: Send) -> Send:
    """Sends an answer, and before its end reads what is left of the request, within limits."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.body" and not message.get("more_body", False):
            await send({**message, "more_body": True})
            left = _DRAINED_BYTES
            with suppress(TimeoutError):
                async with asyncio.timeout(_DRAINED_S):
                    while left > 0:
                        read = await receive()
                        left -= len(read.get("body", b""))
                        if not read.get("more_body", False):
                            break
            message = {"type": "http.response.body", "body": b""}
        await send(message)

    return sent


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


def _is_utf8(body: bytes) -> bool:
    """Whether a body is text in UTF-8 (RFC 8259, section 8.1) without NUL, which JSON holds nowhere.

    A reader of JSON may guess another encoding where it finds NUL, and then reads other brackets than were counted.
    """
    try:
        body.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return b"\x00" not in body


def nesting_exceeds(body: bytes, max_depth: int) -> bool:
    """Whether brackets of a JSON text stand deeper within each other than a limit; strings do not count.

    Pairs of brackets with nothing between them are taken out `max_depth` times; what is left was deeper. Everything is
    done by searches over the whole text, since this runs in the event loop and a body may be brackets alone.

    Parameters: body, the text in UTF-8; max_depth.
    Returns: the answer, whatever the body is; an unclosed bracket counts as closed at the end.

    >>> nesting_exceeds(b'[["]]"]][["]]', 2), nesting_exceeds(b"[[[]]]", 2)
    (False, True)
    """
    if body.count(b"[") + body.count(b"{") <= max_depth:
        return False
    without_escapes = body.replace(b"\\\\", b"").replace(b'\\"', b"")
    brackets = b"".join(without_escapes.split(b'"')[::2]).translate(_ALL_SQUARE, _NO_BRACKETS) + b"]" * max_depth
    if b"[" * (max_depth + 1) in brackets:
        return True
    for _ in range(max_depth):
        brackets = brackets.replace(b"[]", b"")
    return b"[" in brackets
