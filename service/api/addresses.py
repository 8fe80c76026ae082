"""The service's own address, as formulas and copied commands need it."""

from __future__ import annotations

import re
from typing import Final

from starlette.requests import Request

from service.api.settings import Settings

__all__ = ["address_of"]

_HOST: Final = re.compile(r"(?:[A-Za-z0-9.-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::\d{1,5})?", re.ASCII)


def address_of(request: Request) -> str:
    """The address that a caller reaches this service by, without a slash at its end.

    Parameters: request, whose application has settings.
    Returns: the setting `public_url`; without one the scheme and host of the request; where its Host header is none,
        the socket that it came in by.
    """
    settings: Settings = request.app.state.settings
    if settings.public_url:
        return settings.public_url
    scheme, host = request.url.scheme, request.headers.get("host", "")
    if _HOST.fullmatch(host):
        return f"{scheme}://{host}"
    name, port = request.scope.get("server") or ("127.0.0.1", None)
    name = f"[{name}]" if ":" in name else name
    return f"{scheme}://{name}" + ("" if port is None else f":{port}")
