"""What the whole test run shares: the option `--nightly` for the long runs, and the databases."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy.engine import URL

from tests.postgresql import server

os.environ.setdefault("BARRELWISE_LOG", "faults")  # nobody reads what served programs say of every request

BOTH = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--nightly", action="store_true", help="also run the tests marked nightly (long)")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--nightly"):
        return
    skip = pytest.mark.skip(reason="long run; use --nightly")
    for item in items:
        if item.get_closest_marker("nightly") is not None:
            item.add_marker(skip)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Callable[[], URL]]:
    """Makes a new, empty database on the run's own PostgreSQL server and says where it is."""
    with server() as made:
        yield made


@pytest.fixture(params=BOTH)
def store_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new database is; the test runs on SQLite and on PostgreSQL."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'program.db'}"
    made: Callable[[], URL] = request.getfixturevalue("postgresql")
    return made().render_as_string(hide_password=False)
