"""Requests straight into the application, without a socket, and how a worked request is spoiled at random.

What the tests that attack the service ask with: thousands of requests, most of them refused.
"""

from __future__ import annotations

import asyncio
import copy
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from random import Random
from typing import Any, Final
from urllib.parse import unquote

from service.api.app import SolverApp
from service.api.main import build_app
from service.api.settings import Settings
from tests.api import real

HOST: Final = "testserver"

Headers = Sequence[tuple[str, str]]


@cache
def attacked() -> SolverApp:
    """The whole application with short deadlines: what comes of an attack hangs on no optimum."""
    return build_app(Settings(deadline_s=0.1, batch_deadline_s=0.3))


@dataclass(frozen=True, slots=True)
class Answered:
    """What came back."""

    status: int
    headers: dict[str, list[str]]
    content: bytes

    @property
    def media_type(self) -> str:
        """The media type without its parameters, empty where there is none."""
        return next(iter(self.headers.get("content-type", [])), "").split(";")[0].strip()


class Line:
    """One caller: sends requests one after another on one event loop, which `close` ends."""

    def __init__(self, app: SolverApp) -> None:
        self.app = app
        self.sent = 0
        self._runner = asyncio.Runner()

    def close(self) -> None:
        """End the event loop."""
        self._runner.close()

    def send(
        self, method: str, path: str, query: str = "", headers: Headers = (), body: bytes = b"", host: str = HOST
    ) -> Answered:
        """Send one request; path is quoted as on the wire, and so is query."""
        self.sent += 1
        return self._runner.run(self._send(method, path, query, headers, body, host))

    def post(self, path: str, body: bytes) -> Answered:
        """Send a body as JSON."""
        return self.send("POST", path, headers=[("content-type", "application/json")], body=body)

    async def _send(self, method: str, path: str, query: str, headers: Headers, body: bytes, host: str) -> Answered:
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": unquote(path),
            "raw_path": path.encode("ascii"),
            "query_string": query.encode("ascii"),
            "root_path": "",
            "headers": [
                (name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in [("host", host), *headers]
            ],
            "client": ("127.0.0.1", 50_000),
            "server": (host, 80),
            "state": {},
        }
        told = iter([{"type": "http.request", "body": body, "more_body": False}])
        never = asyncio.Event()
        started: dict[str, Any] = {}
        parts: list[bytes] = []

        async def receive() -> Any:
            for message in told:
                return message
            await never.wait()
            return {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            if message["type"] == "http.response.start":
                assert not started, "an answer began twice"
                started.update(message)
            else:
                parts.append(message.get("body", b""))

        await self.app(scope, receive, send)
        found: dict[str, list[str]] = {}
        for name, value in started["headers"]:
            found.setdefault(name.decode("latin-1"), []).append(value.decode("latin-1"))
        return Answered(started["status"], found, b"".join(parts))


# What numbers and texts become: limits of floating point and of the trade, zeros, signs, other scripts and directions,
# halves of characters, formulas of spreadsheets, markup.
NUMBERS: Final[Sequence[Any]] = (
    0, -0.0, -1, 1, 1e-300, 5e-324, 1e300, 1.7976931348623157e308, -1e308, 1e15, 1e9, 1e5, 1000, 100, 99.999, 0.5,
    0.001, 1e-6, -0.001, 2**63, 10**25, 10**400, 0.998, 1.0, 1.5, 3.5, 14, 7, 20, -273.15, -300, True, False,
)  # fmt: skip
TEXTS: Final = (
    "", " ", "x", "\u0000", "\ud800", "\U0001f36f", "\u202eabc", "\u200f", "e\u0301", "\u0661\u0662 kg", "1e400 kg",
    "-1 kg", "0 kg", "1e-400 L", "NaN", "Infinity kg", "1/0 kg", "5 gal", "12 % vol", "1.012", "honey_acacia",
    "lemon_juice_fresh", "water", "a" * 200, "a" * 201, "=1+1", "<b>", "%s%n", "../..", "10 L ± 200 L", "10 L ± 0 L",
    "1 kg ± 1000 %", "0 L", "1e-9 L", "1e12 L", "1e300 kg", "1e-300 kg", "5 g/L tartaric", "500 g/L citric",
    "0 g/L malic", "1e300 g/L citric", "40 °C", "-20 °C", "1000 °C", "2 packs", "3 mg/L", "1e9 mg/L", "12 Bx", "99 Bx",
    "100 %", "0 %", "101 %", "ml", "kg", "½ tsp", "1 1/2 cup", "1\u00a0kg", "1 1/2", "1e-300 mL", "1e300 L",
)  # fmt: skip
NAMES: Final = ("x", "", "\u0000", "\U0001f36f", "a/b~c", "__proto__", "name", "note")
FACTORS: Final = (0, 1e-9, 1e-3, 0.1, 0.5, 0.9, 0.99, 1.01, 1.1, 2, 10, 100, 1e3, 1e9, -1)
SHAPES: Final[Sequence[Any]] = (None, {}, [], [None], [[]], "x", 0, 1.0, True)


def places(value: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Every value within a value, and where it stands."""
    yield at, value
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from places(inner, (*at, name))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from places(inner, (*at, index))


@dataclass(frozen=True, slots=True)
class Spoiler:
    """Worked requests of an operation, and the parts they are made of, to be put where they do not belong."""

    requests: tuple[Any, ...]
    texts: tuple[str, ...]
    parts: tuple[Any, ...]
    fields: tuple[tuple[str, Any], ...]

    def spoiled(self, random: Random) -> Any:
        """A worked request with one place changed, or several."""
        return self.changed(random, random.choice(self.requests))

    def changed(self, random: Random, body: Any) -> Any:
        """A request like the one given with one place changed, or several."""
        body = copy.deepcopy(body)
        for _ in range(random.choice((1, 1, 1, 2, 2, 3, 5))):
            body = self._changed(random, body)
        return body

    def _changed(self, random: Random, body: Any) -> Any:
        at, value = random.choice(list(places(body)))
        if isinstance(value, dict) and random.random() < 0.9:
            self._change_fields(random, value)
        elif isinstance(value, list) and random.random() < 0.9:
            self._change_items(random, value)
        else:
            return _with(body, at, self._instead(random, value))
        return body

    def _instead(self, random: Random, value: Any) -> Any:
        kind = random.random()
        if isinstance(value, bool) or value is None or isinstance(value, dict | list) or kind < 0.07:
            return copy.deepcopy(random.choice([*SHAPES, [value], random.choice(self.parts)]))
        if isinstance(value, int | float):
            small = abs(value) < 1e12  # a whole number may have hundreds of digits
            return value * random.choice(FACTORS) if small and kind < 0.6 else random.choice((*NUMBERS, *TEXTS[:20]))
        if kind < 0.45:
            return scaled(random, value)
        return random.choice(TEXTS) if kind < 0.7 else random.choice(self.texts)

    def _change_fields(self, random: Random, value: dict[str, Any]) -> None:
        kind = random.random()
        if kind < 0.35 and value:
            value.pop(random.choice(list(value)))
        elif kind < 0.75:
            name, content = random.choice(self.fields)
            value[name] = copy.deepcopy(content)
        elif kind < 0.85:
            value[random.choice(NAMES)] = copy.deepcopy(random.choice(SHAPES))
        elif value:
            value[random.choice(list(value))] = copy.deepcopy(random.choice(self.parts))

    def _change_items(self, random: Random, value: list[Any]) -> None:
        kind = random.random()
        if not value or kind < 0.1:
            value.append(copy.deepcopy(random.choice(self.parts)))
        elif kind < 0.4:
            value.pop(random.randrange(len(value)))
        elif kind < 0.75:
            value.insert(random.randrange(len(value) + 1), copy.deepcopy(random.choice(value)))
        elif kind < 0.9:
            value.reverse()
        else:
            value[:] = copy.deepcopy(value * random.choice((0, 2, 10, 30)))


def scaled(random: Random, text: str) -> str:
    """The text with its first number larger or smaller."""
    return re.sub(
        r"\d+(?:\.\d+)?", lambda found: f"{float(found[0]) * random.choice(FACTORS):.6g}", text, count=1, flags=re.ASCII
    )


def _with(body: Any, at: Sequence[str | int], value: Any) -> Any:
    if not at:
        return value
    here = body
    for part in at[:-1]:
        here = here[part]
    here[at[-1]] = value
    return body


@cache
def spoiler(operation_id: str) -> Spoiler:
    """That of an operation's worked examples, the refused ones too."""
    requests = tuple(real.worked(path)["request"] for path in real.all_examples(operation_id))
    found = [place for request in requests for place in places(request)]
    return Spoiler(
        requests,
        tuple(value for _, value in found if isinstance(value, str)),
        tuple(value for _, value in found),
        tuple((at[-1], value) for at, value in found if at and isinstance(at[-1], str)),
    )


def as_json(body: Any) -> bytes:
    """A body on the wire; NaN, Infinity and halves of characters stand in it as JSON can write them."""
    return json.dumps(body).encode("ascii")


def unresolved(problem: Mapping[str, Any], body: Any) -> list[str]:
    """The pointers of a problem document (RFC 6901) that lead nowhere in a body; the last step may be missing there.

    A pointer that was shortened because its names are too long is not followed.
    """
    pointers = [fault["pointer"] for fault in problem["errors"]]
    return [pointer for pointer in pointers if not pointer.endswith("…") and not _leads(pointer, body)]


def _leads(pointer: str, body: Any) -> bool:
    if not pointer:
        return True
    if not pointer.startswith("/"):
        return False
    steps = [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]
    here = body
    for number, step in enumerate(steps, start=1):
        if isinstance(here, list) and step.isascii() and step.isdigit() and int(step) < len(here):
            here = here[int(step)]
        elif isinstance(here, dict) and step in here:
            here = here[step]
        else:
            return isinstance(here, dict) and number == len(steps)
    return True
