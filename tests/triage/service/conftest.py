"""A running service and the clock that it goes by."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.triage.services import Clock, running_service
from triage.service.service import Service


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(tmp_path: Path, clock: Clock) -> Iterator[Service]:
    with running_service(tmp_path, clock) as running:
        yield running
