"""Who may ask, from where, and how often: keys where the operator gives some out, for each key or address a rate, and
pages of other origins where the operator lists them.

A key comes as `Authorization: Bearer …`, as the password of `Authorization: Basic …` (which a browser asks its user
for), or, because a cell of a spreadsheet sends no headers, as the parameter `api_key` of the address.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import ipaddress
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from math import ceil
from time import monotonic
from typing import Final
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.problems import problem_response
from service.api.serving.metrics import Metrics
from service.api.settings import Settings

__all__ = ["PROBES", "Callers", "Origins", "Rate"]

PROBES: Final = frozenset({"/healthz", "/readyz"})
"""Asked by machines that look whether the service lives: no key, no rate."""

_PARAMETER: Final = "api_key"
_CHALLENGE: Final = 'Basic realm="key as the password", charset="UTF-8", Bearer'
_MOST_CALLERS: Final = 10_000
_NEARLY_ONE: Final = 1.0 - 1e-6
"""A token: after exactly the time that was told there is one, whatever the rounding."""
_NETWORK_BITS: Final = 64
"""Of an address of IPv6: whoever has one usually has the whole network, and could ask from each of its addresses."""


@dataclass(slots=True)
class _Bucket:
    tokens: float
    at: float


class Rate:
    """A bucket of tokens for every caller: one is taken by each request, and they come back at a steady rate.

    Parameters: per_s, tokens that come back in a second; burst, tokens of a full bucket. Of very many callers those
    unheard of for longest are forgotten.
    """

    def __init__(self, per_s: float, burst: int) -> None:
        self.per_s, self.burst = per_s, burst
        self._buckets: OrderedDict[str, _Bucket] = OrderedDict()

    def wait_s(self, caller: str, now: float) -> float:
        """Take a token; or tell after how many seconds there is one.

        >>> rate = Rate(2.0, 3)
        >>> [rate.wait_s("a", 0.0) for _ in range(4)], rate.wait_s("b", 0.0), rate.wait_s("a", 0.5)
        ([0.0, 0.0, 0.0, 0.5], 0.0, 0.0)
        """
        bucket = self._buckets.pop(caller, None) or _Bucket(self.burst, now)
        bucket.tokens = min(self.burst, bucket.tokens + max(0.0, now - bucket.at) * self.per_s)
        bucket.at = now
        self._buckets[caller] = bucket
        if len(self._buckets) > _MOST_CALLERS:
            self._buckets.popitem(last=False)
        if bucket.tokens < _NEARLY_ONE:
            return (1.0 - bucket.tokens) / self.per_s
        bucket.tokens = max(0.0, bucket.tokens - 1.0)
        return 0.0


class Callers:
    """Refuses a request without a key, where keys are needed, with 401; and one too many with 429.

    Callers without a key are told apart by their address; those of this machine itself, a balancer perhaps, are not
    counted. OPTIONS and the probes are free. Where keys are needed, an answer may be kept by its caller alone: a cache
    between would give it to others.

    Parameters: app; settings; metrics; clock, that tells seconds.
    """

    def __init__(
        self, app: ASGIApp, settings: Settings, metrics: Metrics, clock: Callable[[], float] = monotonic
    ) -> None:
        self.app, self.metrics, self.clock = app, metrics, clock
        self.digests = [_digest(key) for key in settings.api_keys]
        self.rate = Rate(settings.requests_per_s, settings.request_burst)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http" or scope["path"] in PROBES or scope["method"] == "OPTIONS":
            await self.app(scope, receive, send)
            return
        caller = _address(scope)
        known, key = True, ""
        if self.digests:
            key = _key_taken_from(scope)
            number = self._number(key)
            known = number > 0
            caller = f"key {number}" if known else caller or "this machine"
        scope.setdefault("state", {})["caller"] = caller
        wait_s = self.rate.wait_s(caller, self.clock()) if caller else 0.0
        if wait_s > 0.0:
            self.metrics.rejected("too_many_requests")
            after_s = max(1, ceil(wait_s))
            response = problem_response(
                scope,
                "too-many-requests",
                f"Too many at once: {self.rate.burst} are answered, and over time {self.rate.per_s:g} in a second. "
                f"Send this request again after {after_s} s.",
                headers={"Retry-After": str(after_s)},
            )
        elif not known:
            self.metrics.rejected("no_key")
            response = problem_response(
                scope,
                "key-needed",
                ("The key that was sent is none of those given out. " if key else "")
                + "This service asks for a key, which whoever runs it gives out. Send it as Authorization: Bearer …, "
                "as the password where a browser asks for one, or in a cell as the parameter api_key.",
                headers={"WWW-Authenticate": _CHALLENGE},
            )
        else:
            await self.app(scope, receive, _not_shared(send) if self.digests else send)
            return
        await response(scope, receive, send)

    def _number(self, key: str) -> int:
        """Which of the keys it is, from 1; 0 if none. Compared with all, and as digests, so that time tells nothing."""
        digest = _digest(key)
        found = 0
        for number, known in enumerate(self.digests, 1):
            found += number * hmac.compare_digest(digest, known)
        return found


def _digest(key: str) -> bytes:
    return hashlib.sha256(key.encode("utf-8", "replace")).digest()


def _not_shared(send: Send) -> Send:
    """Sends an answer that only its caller may keep."""

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            kept = headers.get("cache-control", "no-store")
            headers["Cache-Control"] = kept.replace("public", "private")
        await send(message)

    return sent


def _address(scope: Scope) -> str:
    """The address of a caller, of IPv6 its network; empty for this machine and where there is none."""
    host = str((scope.get("client") or ("", 0))[0])
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return ""
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is None:
            network = ipaddress.IPv6Network((int(address), _NETWORK_BITS), strict=False)
            return "" if address.is_loopback else str(network)
        address = address.ipv4_mapped
    return "" if address.is_loopback else str(address)


def _key_taken_from(scope: Scope) -> str:
    """The key that was sent, empty if none. A parameter that carries one is taken out of the request, so that nothing
    further in can repeat it; of several parameters none counts."""
    scheme, _, content = Headers(scope=scope).get("authorization", "").partition(" ")
    key = ""
    if scheme.lower() == "bearer":
        key = content.strip()
    elif scheme.lower() == "basic":
        try:
            key = base64.b64decode(content.strip(), validate=True).decode("utf-8").partition(":")[2]
        except ValueError:  # not Base64, or not UTF-8
            key = ""
    pairs = parse_qsl(scope.get("query_string", b"").decode("latin-1"), keep_blank_values=True)
    given = [value for name, value in pairs if name == _PARAMETER]
    if given:
        scope["query_string"] = urlencode([pair for pair in pairs if pair[0] != _PARAMETER]).encode("ascii")
    return key or (given[0] if len(given) == 1 else "")


class Origins:
    """Lets pages of listed origins read answers (Fetch Standard, "CORS protocol"); to others nothing is said.

    A listed origin is compared letter by letter, so none is let in that only begins or ends alike. Credentials that a
    browser keeps are not asked for: a page of another origin sends its key itself.

    Parameters: app; origins, each as a browser writes it in the header Origin.
    """

    def __init__(self, app: ASGIApp, origins: tuple[str, ...]) -> None:
        self.app, self.origins = app, frozenset(origins)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        asked = Headers(scope=scope)
        given = asked.getlist("origin")
        origin = given[0] if len(given) == 1 and given[0] in self.origins else None

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.add_vary_header("Origin")
                if origin is not None:
                    headers["Access-Control-Allow-Origin"] = origin
                    headers["Access-Control-Expose-Headers"] = "ETag, Retry-After, X-Request-ID"
            await send(message)

        if origin is not None and scope["method"] == "OPTIONS" and "access-control-request-method" in asked:
            headers = {
                "Access-Control-Allow-Methods": "GET, HEAD, POST",
                "Access-Control-Allow-Headers": "Authorization, Content-Type, X-Request-ID",
                "Access-Control-Max-Age": "600",
            }
            await Response(status_code=204, headers=headers)(scope, receive, told)
        else:
            await self.app(scope, receive, told)
