"""Options of the whole test run: `--nightly` adds the long runs, which are skipped otherwise."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--nightly", action="store_true", help="also run the tests marked nightly (long)")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--nightly"):
        return
    skip = pytest.mark.skip(reason="long run; use --nightly")
    for item in items:
        if item.get_closest_marker("nightly") is not None:
            item.add_marker(skip)
