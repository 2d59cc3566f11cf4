"""The worked example of demo/estimate_to_close.md: its commands are sent as they stand there."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from tests import ROOT
from triage.decide.causes.inference import compile_rulebook
from triage.loading.load import load
from triage.rulebook.reading.reader import read_with_files
from triage.service.service import Service
from triage.store import open_store

EXAMPLE = (ROOT / "demo/estimate_to_close.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"```(sh|json)\n(.*?)```", re.DOTALL)
NOW = datetime(2026, 11, 30, 15, tzinfo=UTC)
TOKENS: dict[str, tuple[Any, str | None, str | None]] = {
    "AGENT": ("agent", None, None),
    "VAN": ("technician", "fogline", None),
    "LEAD": ("ops", None, None),
    "MANAGER": ("authority", None, "area_manager"),
}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    rulebook, files = read_with_files(ROOT / "rules")
    store = open_store(f"sqlite:///{tmp_path / 'example.db'}")
    load(ROOT / "demo/records", store, rulebook)
    yield Service(store, rulebook, compile_rulebook(rulebook), lambda: NOW, files)
    store.close()


def run(client: FlaskClient, command: str, variables: dict[str, str]) -> Any:
    """The answer to one curl command; its options are -X, -H and -d."""
    one_line = command.replace("\\\n", " ")
    words = shlex.split(re.sub(r"\$([A-Z]+)", lambda name: variables[name[1]], one_line))
    assert words.pop(0) == "curl"
    method, path, body = "GET", "", None
    headers: dict[str, str] = {}
    while words:
        word = words.pop(0)
        match word:
            case "-X":
                method = words.pop(0)
            case "-H":
                name, _, value = words.pop(0).partition(": ")
                headers[name] = value
            case "-d":
                body = words.pop(0)
            case _:
                path = word
    return client.open(path, method=method, headers=headers, data=body).json


def missing(shown: Any, real: Any, place: str = "") -> list[str]:
    """Where what is shown is not part of the real answer."""
    if isinstance(shown, dict) and isinstance(real, dict):
        return [
            found for key, value in shown.items() for found in missing(value, real.get(key), f"{place}/{key}")
        ]
    if isinstance(shown, list) and isinstance(real, list) and len(shown) == len(real):
        return [
            found
            for index, (one, other) in enumerate(zip(shown, real, strict=True))
            for found in missing(one, other, f"{place}/{index}")
        ]
    return [] if shown == real else [f"{place}: {shown!r} is shown, {real!r} came"]


def test_the_example_is_answered_as_it_says(service: Service) -> None:
    with service.store.write() as work:
        variables = {
            name: work.tokens.add(name.lower(), role, contractor, NOW, authority)
            for name, (role, contractor, authority) in TOKENS.items()
        }
    variables["API"] = ""
    client = create_app(service).test_client()
    answer: Any = None
    commands = shown = 0
    for kind, text in BLOCK.findall(EXAMPLE):
        if kind == "sh":
            answer = run(client, text, variables)
            commands += 1
            if "ticket" in answer:
                variables.setdefault("TICKET", answer["ticket"])
                authorization = answer["repair"]["authorization"]
                if authorization is not None:
                    variables["NUMBER"] = authorization["number"]
        else:
            assert missing(json.loads(text), answer) == []
            shown += 1
    assert (commands, shown) == (6, 5)
