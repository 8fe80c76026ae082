"""HTTP on one connection, with limits before there is a request: how many connections, how large a head, how slow.

What is refused here is a problem document too, although it has no path: the request could not be read. After a refusal
a connection is closed, but not before its caller had time to read it: a socket that is closed while something unread
has come is reset, and the refusal may be lost with it.
"""

from __future__ import annotations

import asyncio
import json
import logging
import sys
import time
import uuid
from collections.abc import Callable
from http import HTTPStatus
from typing import Any, ClassVar, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from service.api.guards import SECURITY_HEADERS
from service.api.logs import ACCESS_LOGGER
from service.api.problems import PROBLEM_KINDS, PROBLEM_MEDIA_TYPE, problem_document
from service.api.serving.together import Together
from service.api.settings import Settings

__all__ = ["MOST_HEADERS", "limited_protocol"]

MOST_HEADERS: Final = 128
"""Headers of one request; each costs time wherever one is looked for."""

_MOST_PARTS: Final = 4096
"""Parts (chunks, or what came at once) that one body may arrive in; each costs time, however small it is."""

_LINGERS_S: Final = 1.0
"""How long a caller who was refused is listened to, so that they can read why [s]."""
_MOST_LINGERING: Final = 64
_LEAST_READ_BYTES: Final = 16 * 1024
"""What a caller has to read of an answer that waits for them, in every `body_timeout_s`."""

_DETAILS: Final = {
    "bad-request": "This is no request of HTTP/1.1 that can be read without doubt about its headers and its length.",
    "request-too-slow": "The head of the request did not arrive within {settings.header_timeout_s:g} s.",
    "headers-too-large": "Request line and headers together may have {settings.max_header_bytes} bytes, and there may "
    f"be {MOST_HEADERS} headers.",
    "busy": "{settings.max_connections} connections are open already. Send the request again after a second.",
}
_log = logging.getLogger(ACCESS_LOGGER)


def limited_protocol(settings: Settings, on_refusal: Callable[[str], None] = lambda _: None) -> type[asyncio.Protocol]:
    """The protocol of a server with the limits of some settings.

    Parameters: settings; on_refusal, told the reason of every refusal.
    Returns: the class.
    """

    class Limited(_LimitedProtocol):
        limits = settings
        told = staticmethod(on_refusal)
        lingering: ClassVar[set[_LimitedProtocol]] = set()

    return Limited


class _Connection(h11.Connection):
    """Refuses more than its parent does: a large head also where it came at once, what one server could read otherwise
    than another before it, and bodies in very many parts.

    Parameters: most_bytes, of a head.
    """

    def __init__(self, most_bytes: int) -> None:
        super().__init__(h11.SERVER, most_bytes)
        self.most_bytes = most_bytes
        self.asks_for_no_body = False
        self._parts = 0

    def next_event(self) -> Any:
        """As of the parent.

        Raises: RemoteProtocolError, with status 431 as its hint where that is the reason.
        """
        before = len(self.trailing_data[0]) if self.their_state is h11.IDLE else 0
        event = super().next_event()
        if isinstance(event, h11.Request):
            self._parts = 0
            self.asks_for_no_body = event.method == b"HEAD"
            names = [name for name, _ in event.headers]
            if before - len(self.trailing_data[0]) > self.most_bytes or len(names) > MOST_HEADERS:
                raise h11.RemoteProtocolError("the head is too large", error_status_hint=431)
            if not event.http_version.startswith(b"1."):
                raise h11.RemoteProtocolError("another version")
            if b"transfer-encoding" in names and (b"content-length" in names or event.http_version == b"1.0"):
                raise h11.RemoteProtocolError("two lengths")
        elif isinstance(event, h11.Data):
            self._parts += 1
            if self._parts > _MOST_PARTS:
                raise h11.RemoteProtocolError("too many parts")
        return event


class _LimitedProtocol(H11Protocol):
    limits: ClassVar[Settings]
    told: Callable[[str], None]
    lingering: ClassVar[set[_LimitedProtocol]]
    """Those that were refused and are not closed yet."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.conn: _Connection = _Connection(self.limits.max_header_bytes)
        self.refused = False
        self._together: Together
        self._head_due: asyncio.TimerHandle | None = None
        self._ends: asyncio.TimerHandle | None = None
        self._look_due: asyncio.TimerHandle | None = None
        self._has_read_on = False

    # what the event loop calls

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        self._together = Together(transport, self.loop)
        super().connection_made(self._together)
        if len(self.connections) > self.limits.max_connections:
            self._refuse("busy", ("Retry-After", "1"))
        else:
            self._expect_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._head_arrived()
        self._unset_keepalive_if_required()
        self.lingering.discard(self)
        for due in (self._ends, self._look_due):
            if due is not None:
                due.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if self.refused or self.transport.is_closing():
            return
        super().data_received(data)
        if self.cycle is not None and not self.cycle.response_complete:
            self._head_arrived()
        elif not self.refused and not self.transport.is_closing():
            self._expect_head()

    def eof_received(self) -> None:
        self._together.flush()  # the event loop closes next, and knows nothing of what is held

    def pause_writing(self) -> None:
        super().pause_writing()
        self._expect_to_be_read()

    def resume_writing(self) -> None:
        super().resume_writing()
        self._has_read_on = True

    # what the server calls

    def on_response_complete(self) -> None:
        self._head_arrived()
        self._expect_to_be_read()
        super().on_response_complete()

    def timeout_keep_alive_handler(self) -> None:
        if self.transport.get_write_buffer_size() == 0:
            super().timeout_keep_alive_handler()
        else:  # the caller is still reading; whether they are is looked at elsewhere
            self.timeout_keep_alive_task = self.loop.call_later(
                self.timeout_keep_alive, self.timeout_keep_alive_handler
            )

    def send_400_response(self, msg: str) -> None:
        """What the server calls, while it handles the error, where bytes are no HTTP."""
        del msg
        error = sys.exc_info()[1]
        head = self.cycle is None or self.cycle.response_complete
        too_large = head and isinstance(error, h11.RemoteProtocolError) and error.error_status_hint == 431
        self._refuse("headers-too-large" if too_large else "bad-request")

    def _unsupported_upgrade_warning(self) -> None:
        """An Upgrade is ignored, as RFC 9110, section 7.8, allows; nobody needs two log lines about it."""

    # a head that does not come

    def _expect_head(self) -> None:
        if self._head_due is None:
            self._head_due = self.loop.call_later(self.limits.header_timeout_s, self._refuse, "request-too-slow")

    def _head_arrived(self) -> None:
        if self._head_due is not None:
            self._head_due.cancel()
            self._head_due = None

    # an answer that is not read

    def _expect_to_be_read(self) -> None:
        if self._look_due is None:
            self._look_after()

    def _look_after(self) -> None:
        self._look_due = None
        left = self.transport.get_write_buffer_size()
        if left > 0:
            self._has_read_on = False
            written = self._together.written
            self._look_due = self.loop.call_later(self.limits.body_timeout_s, self._look, written, written - left)

    def _look(self, owed: int, taken: int) -> None:
        """Cut a connection whose caller has hardly read since the last look: what waits for them takes memory.

        What came to wait since then does not count: a caller who asks on and on may always be about to read something.
        """
        taken_now = self._together.written - self.transport.get_write_buffer_size()
        waits = self.flow.write_paused or self.cycle is None or self.cycle.response_complete
        if waits and not self._has_read_on and taken_now < owed and taken_now - taken < _LEAST_READ_BYTES:
            self._look_due = None
            self.transport.abort()
        else:
            self._look_after()

    # refusals

    def _refuse(self, slug: str, *headers: tuple[str, str]) -> None:
        """Answer with a problem and close; where an answer has begun, only close."""
        if self.refused or self.transport.is_closing():
            return
        self._head_arrived()
        self._unset_keepalive_if_required()
        if self.cycle is not None and not self.cycle.response_complete:
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        if self.conn.our_state not in (h11.IDLE, h11.SEND_RESPONSE):
            self.transport.close()
            return
        self.told(slug.replace("-", "_"))
        request_id = uuid.uuid4().hex
        status = PROBLEM_KINDS[slug].status
        scope = {"state": {"request_id": request_id}}
        body = json.dumps(problem_document(scope, slug, _DETAILS[slug].format(settings=self.limits))).encode()
        head = [
            *((name.decode(), value.decode()) for name, value in self.server_state.default_headers),
            ("Content-Type", PROBLEM_MEDIA_TYPE),
            ("Content-Length", str(len(body))),
            ("Cache-Control", "no-store"),
            ("X-Request-ID", request_id),
            ("Connection", "close"),
            *SECURITY_HEADERS.items(),
            *headers,
        ]
        no_body = self.conn.our_state is h11.SEND_RESPONSE and self.conn.asks_for_no_body
        for event in (
            h11.Response(status_code=status, headers=head, reason=HTTPStatus(status).phrase.encode()),
            h11.Data(data=b"" if no_body else body),
            h11.EndOfMessage(),
        ):
            self.transport.write(self.conn.send(event) or b"")
        line = {"request_id": request_id, "method": None, "path": None, "operation": None, "status": status}
        _log.info(json.dumps({"time": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()), **line}))
        self._close_soon()

    def _close_soon(self) -> None:
        """Say that no more comes, and close once the caller does, or after a while."""
        self.refused = True
        self.connections.discard(self)  # it takes no place from others, and nothing waits for it at the end
        if len(self.lingering) >= _MOST_LINGERING or not self.transport.can_write_eof():
            self.transport.close()
            return
        self.lingering.add(self)
        self.transport.write_eof()
        self._ends = self.loop.call_later(_LINGERS_S, self.transport.abort)
