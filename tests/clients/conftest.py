"""One running service for the real clients of a test module."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.clients.attacking import at_ease, attacked, attacked_at_ease, quick
from tests.clients.serving import Served, served

__all__ = ["at_ease", "attacked", "attacked_at_ease", "quick", "service"]


@pytest.fixture(scope="module")
def service() -> Iterator[Served]:
    """The service behind a socket of this machine."""
    with served() as running:
        yield running
