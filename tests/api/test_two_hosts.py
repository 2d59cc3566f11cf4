"""Two hosts on one PostgreSQL: each answers from what the other wrote, one goes on when the other dies."""

from __future__ import annotations

import http.client
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import URL

from tests import ROOT
from tests.api.test_serve import CLIENTS, PATIENCE, REPORTS_EACH, ended, free_port
from tests.api.test_upgrade import explained, filled
from tests.triage.cli.test_main import write_rulebook
from tests.triage.services import NOON, REPORT, rulebook_files
from triage.store import open_store
from triage.store.wrong_tokens import MOST

pytestmark = pytest.mark.postgresql
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@dataclass(frozen=True)
class Host:
    process: subprocess.Popen[str]
    port: int
    token: str

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> tuple[int, Any]:
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)) as connection:
            known = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
            connection.request(method, path, json.dumps(body), known | headers)
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())

    def sign_in(self, token: str) -> int:
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)) as connection:
            connection.request("POST", "/sign-in", f"token={token}", FORM)
            return connection.getresponse().status


@contextmanager
def host(folder: Path, settings: dict[str, str], token: str) -> Iterator[Host]:
    """`barrelwise serve` with folders of its own: nothing but the database is shared."""
    folder.mkdir()
    own = settings | {
        "BARRELWISE_LOG": "faults",
        "HOME": str(folder),
        "TMPDIR": str(folder),
        "XDG_CACHE_HOME": str(folder / "cache"),
    }
    own["BARRELWISE_RULEBOOK"] = str(write_rulebook(folder / "rules", rulebook_files()))
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "triage", "serve", "--port", str(port), "--workers", "2"],
        cwd=ROOT, env=os.environ | own, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    with ended(process):
        assert process.stderr is not None
        assert any(line.startswith("serving on") for line in process.stderr)
        threading.Thread(target=process.stderr.read, daemon=True).start()
        yield Host(process, port, token)


def test_two_hosts_are_one_service(tmp_path: Path, postgresql: Callable[[], URL]) -> None:
    url = postgresql().render_as_string(hide_password=False)
    settings = {"BARRELWISE_DATABASE": url, "BARRELWISE_ENGINE": "plain"}
    token = filled(url)
    with ExitStack() as stack:
        hosts = [stack.enter_context(host(tmp_path / name, settings, token)) for name in ("a", "b")]
        answers: list[tuple[str, int, str]] = []

        def client() -> None:
            """All send the same keys, now to one host and now to the other."""
            for number in range(REPORTS_EACH):
                for each in hosts:
                    key = f"call-{number}"
                    status, ticket = each.ask("POST", "/v1/reports", REPORT, **{"Idempotency-Key": key})
                    answers.append((key, status, ticket["ticket"] if status == 201 else str(ticket)))

        clients = [threading.Thread(target=client) for _ in range(CLIENTS)]
        for each in clients:
            each.start()
        for each in clients:
            each.join(PATIENCE)
        assert len(answers) == CLIENTS * REPORTS_EACH * len(hosts)
        assert {status for _, status, _ in answers} == {201}
        made = {(key, ticket) for key, _, ticket in answers}
        assert len(made) == len({ticket for _, ticket in made}) == REPORTS_EACH

        first, second = hosts
        for number in range(MOST):
            assert hosts[number % 2].sign_in("wrong") == 401
        assert [each.sign_in(token) for each in hosts] == [429, 429]

        first.process.kill()
        first.process.wait(PATIENCE)
        status, after = second.ask("POST", "/v1/reports", REPORT)
        assert status == 201
        with closing(open_store(url)) as store, store.write() as work:
            work.tokens.revoke("lead", NOON)
        assert second.ask("GET", f"/v1/tickets/{after['ticket']}")[0] == 401

    with closing(open_store(url)) as store, store.read() as work:
        assert list(work.verification.findings()) == []
        assert len(work.tickets.page({}, None, 100)[0]) == REPORTS_EACH + 1
    stored = {ticket for _, ticket in made} | {after["ticket"]}
    rules = {"BARRELWISE_RULEBOOK": str(tmp_path / "b" / "rules")}
    assert len(explained(settings | rules, stored)) == len(stored)
