"""Refuses lists and texts longer than the operator's limits, wherever they stand, and a query parameter given twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from typing import Any

from fastapi import Request

from service.api.settings import Settings
from service.api.validation import json_pointer
from service.errors import Fault, InputError

__all__ = ["OversizeError", "size_check", "too_long"]


class OversizeError(InputError):
    """Several lists or texts at once."""

    title = "Something in the request is too long, or given twice"

    def __init__(self, found: list[Fault]) -> None:
        super().__init__(found[0].detail, found[0].pointer)
        self.found = found

    def faults(self) -> list[Fault]:
        """Every list and text that is too long."""
        return self.found


def too_long(value: Any, settings: Settings, *, batch: bool = False) -> Iterator[Fault]:
    """Every list and text of a body that is too long; of a `batch` only the number of its requests.

    Parameters: value, as parsed from JSON; settings; batch, whether it holds requests that are each looked at by
    themselves.
    Yields: faults.
    """
    if batch:
        requests = value.get("requests") if isinstance(value, dict) else None
        if isinstance(requests, list):
            if len(requests) > settings.max_batch_requests:
                yield Fault(
                    "/requests",
                    f"Send at most {settings.max_batch_requests} requests at once; these are {len(requests)}.",
                )
            value = {k: v for k, v in value.items() if k != "requests"}
    waiting: list[tuple[tuple[str | int, ...], Any]] = [((), value)]
    while waiting:
        place, here = waiting.pop()
        if isinstance(here, str):
            if len(here) > settings.max_string_characters:
                detail = f"Write at most {settings.max_string_characters} characters; these are {len(here)}."
                yield Fault(json_pointer(place), detail)
        elif isinstance(here, list):
            if len(here) > settings.max_list_items:
                yield Fault(
                    json_pointer(place), f"Give at most {settings.max_list_items} items; these are {len(here)}."
                )
            else:
                waiting.extend(((*place, index), item) for index, item in enumerate(here))
        elif isinstance(here, dict):
            for key, item in here.items():
                if len(key) > settings.max_string_characters:
                    yield Fault(json_pointer(place), f"A field's name here has {len(key)} characters; leave it out.")
                else:
                    waiting.append(((*place, key), item))


def size_check(settings: Settings) -> Callable[[Request], Awaitable[None]]:
    """Build the dependency of every route that refuses over-long lists and texts, and repeated parameters, with 422.

    Parameters: settings, whose `max_list_items` and `max_string_characters` count.
    Returns: a dependency; the body it looks at is the one that FastAPI parsed already.
    """

    async def check_sizes(request: Request) -> None:
        given = request.query_params.multi_items()
        found = list(too_long(dict(given), settings))
        for name, times in Counter(name for name, _ in given).items():
            if times > 1:
                found.append(Fault(json_pointer([name]), f"This query parameter is given {times} times; give it once."))
        if request.method in ("POST", "PUT", "PATCH") and await request.body():
            try:
                found.extend(too_long(await request.json(), settings, batch=":batch" in request.url.path))
            except ValueError:
                return  # not JSON, and this route does not read it
        if found:
            raise OversizeError(found)

    return check_sizes
