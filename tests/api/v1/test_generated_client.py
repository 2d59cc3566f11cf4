"""A client that is generated from the OpenAPI document opens a report and reads its decision."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.api.conftest import Send
from tests.triage.services import REPORT
from triage.service.service import Service

httpx = pytest.importorskip("httpx")
pytest.importorskip("openapi_python_client")


@pytest.mark.nightly
def test_a_generated_client_reads_a_typed_decision(
    client: Any,
    send: Send,
    tokens: dict[str, str],
    service: Service,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    document = tmp_path / "openapi.json"
    document.write_text(json.dumps(send("GET", "/openapi.json").json), encoding="utf-8")
    made = subprocess.run(
        [sys.executable, "-m", "openapi_python_client", "generate", "--path", str(document), "--meta", "none",
         "--output-path", str(tmp_path / "made_client")],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stdout + made.stderr
    assert "Unable to" not in made.stdout, made.stdout
    monkeypatch.syspath_prepend(str(tmp_path))
    made_client = importlib.import_module("made_client")
    own = made_client.AuthenticatedClient(base_url="http://program", token=tokens["agent"])
    transport = httpx.WSGITransport(app=client.application)
    headers = {"Authorization": f"Bearer {tokens['agent']}"}
    own.set_httpx_client(httpx.Client(transport=transport, base_url="http://program", headers=headers))
    models = importlib.import_module("made_client.models")
    post = importlib.import_module("made_client.api.tickets.post_triage")
    decision = post.sync(client=own, body=models.TriageIn.from_dict(dict(REPORT)))
    assert decision.outcome.value == send("POST", "/v1/triage", REPORT).json["outcome"]
    assert decision.causes[0].chance > 0
    assert decision.limit.headroom
    lookups = importlib.import_module("made_client.api.lookups.get_lookups_causes")
    assert {one.id for one in lookups.sync(client=own).items} == set(service.rulebook.causes)
