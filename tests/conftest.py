"""Options of the test run: `--long` adds the checks that take minutes, `--update-examples` rewrites the answers of
the worked examples for review."""

from __future__ import annotations

import hypothesis
import pytest

hypothesis.settings.register_profile("busy machine", deadline=None)  # time is measured by benchmarks, not by tests
hypothesis.settings.load_profile("busy machine")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--update-examples", action="store_true", default=False, help="rewrite the answers in openapi_examples"
    )
    parser.addoption("--long", action="store_true", default=False, help="also run the long versions of the checks")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    # real clients wait much, so they come first: beside them others compute, and what they start is started once
    items.sort(key=lambda item: "/clients/" not in item.nodeid)
    if config.getoption("--long"):
        return
    reason = pytest.mark.skip(reason="the long version of a check that also runs short: run it with --long")
    for item in items:
        if "slow" in item.keywords:
            item.add_marker(reason)
