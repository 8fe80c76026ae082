"""Options of the test run: `--long` adds the checks that take minutes, `--update-examples` rewrites the answers of
the worked examples for review."""

from __future__ import annotations

import os
from itertools import groupby, islice

import hypothesis
import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--update-examples", action="store_true", default=False, help="rewrite the answers in openapi_examples"
    )
    parser.addoption("--long", action="store_true", default=False, help="also run the long versions of the checks")


def pytest_configure(config: pytest.Config) -> None:
    """Draws are the same in every run, unless `--hypothesis-seed` asks for others; and no time is measured by them."""
    seeded = config.getoption("--hypothesis-seed") is not None
    hypothesis.settings.register_profile(
        "busy machine",
        deadline=None,
        derandomize=not seeded,
        database=None,
        suppress_health_check=[hypothesis.HealthCheck.too_slow],
        print_blob=True,
    )
    hypothesis.settings.load_profile("busy machine")


def _spread(items: list[pytest.Item], processes: int) -> list[pytest.Item]:
    """Tests in an order whose equal shares, one for each process, begin with a share of the files with real clients.

    Those wait much, so others compute beside them from the start; and a file's server or browser is started once.
    """
    files = [list(found) for _, found in groupby(items, key=lambda item: item.path)]
    clients = [file for file in files if file[0].path.parent.name == "clients"]
    rest = iter([item for file in files if file not in clients for item in file])
    ordered: list[pytest.Item] = []
    for k in range(processes):
        ordered += [item for file in clients[k::processes] for item in file]
        ordered += islice(rest, max(0, (k + 1) * len(items) // processes - len(ordered)))
    return [*ordered, *rest]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    items[:] = _spread(items, int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1")))
    if config.getoption("--long"):
        return
    reason = pytest.mark.skip(reason="the long version of a check that also runs short: run it with --long")
    for item in items:
        if "slow" in item.keywords:
            item.add_marker(reason)
