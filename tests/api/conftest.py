"""A running program behind the app, with a token for each role."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from api.app import create_app
from api.http.work_folder import CHECKS
from tests.api.rule_folder import make_whole, rule_folder
from tests.triage.services import NOON, Clock, running_service
from triage.rulebook_care.editing.check_process import CheckProcess
from triage.service.service import Service

Send = Callable[..., TestResponse]
TOKENS = {
    "agent": ("agent", None),
    "ops": ("ops", None),
    "reporter": ("reporter", None),
    "authority": ("authority", None),
    "fogline": ("technician", "fogline"),
    "tern": ("technician", "tern"),
}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, Clock()) as running:
        yield running


@pytest.fixture
def tokens(service: Service) -> dict[str, str]:
    return add_tokens(service)


def add_tokens(service: Service) -> dict[str, str]:
    """A token for each of TOKENS, by name."""
    with service.store.write() as work:
        return {
            name: work.tokens.add(
                name,
                role,  # type: ignore[arg-type]
                contractor,
                NOON,
                "ops_lead" if role == "authority" else None,
            )
            for name, (role, contractor) in TOKENS.items()
        }


@pytest.fixture
def client(service: Service) -> FlaskClient:
    return create_app(service).test_client()


def signed_in(client: FlaskClient, token: str) -> FlaskClient:
    client.post("/sign-in", data={"token": token})
    return client


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, CheckProcess]]:
    """A folder of rules that the tests of a module change, and the process that checks it."""
    with rule_folder(tmp_path_factory.mktemp("edited")) as made:
        yield made


@pytest.fixture
def folder(checked: tuple[Path, CheckProcess]) -> Iterator[Path]:
    yield checked[0]
    make_whole(checked[0])


@pytest.fixture
def editing(service: Service, folder: Path, checked: tuple[Path, CheckProcess]) -> FlaskClient:
    """A client of an app that has the folder to edit."""
    app = create_app(service, folder=folder)
    app.extensions[CHECKS] = checked[1]
    return app.test_client()


@pytest.fixture
def send(client: FlaskClient, tokens: dict[str, str]) -> Send:
    """`send(method, path, body, by="agent", **headers)`: a request with that caller's token."""

    def request(
        method: str, path: str, body: Any = None, by: str | None = "agent", **headers: str
    ) -> TestResponse:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        if by is not None:
            named["Authorization"] = f"Bearer {tokens[by]}"
        if isinstance(body, bytes):
            return client.open(path, method=method, data=body, content_type="application/json", headers=named)
        return client.open(path, method=method, json=body, headers=named)

    return request
