"""One running service for the real clients of a test module."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.clients.serving import Served, served


@pytest.fixture(scope="module")
def service() -> Iterator[Served]:
    """The service behind a socket of this machine."""
    with served() as running:
        yield running
