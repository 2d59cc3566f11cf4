"""Candidates made to break the engine, sent over HTTP: each is refused, and the live version goes on
answering before, while and after it is tried."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.v1.rulebook import LIMITS
from tests.api.conftest import Send
from tests.api.v1.test_rulebook import RENAMED
from tests.triage.hostile_rulebooks import crash_on_a_candidate
from tests.triage.rulebook_care.release.test_publishing import (
    enough_for_a_good_one,
    five_thousand_rules,
    many_words,
    ten_thousand_values,
    wide_rule,
)
from tests.triage.services import REPORT
from triage.rulebook_care.editing import candidate
from triage.rulebook_care.editing.candidate import Limits
from triage.rulebook_care.editing.child import Child
from triage.service.service import Service

PATIENCE_SECONDS = 120
"""Only a broken test waits so long."""


class Held:
    """Children that try for real, but do not answer before they may."""

    def __init__(self) -> None:
        self.begun, self.may_end = begun, may_end = threading.Event(), threading.Event()

        class HeldChild(Child):
            def call(self, *arguments: Any) -> Any:
                begun.set()
                try:
                    return super().call(*arguments)
                finally:
                    assert may_end.wait(PATIENCE_SECONDS)

        self.child = HeldChild


def problems_while_live_answers(
    send: Send, service: Service, monkeypatch: pytest.MonkeyPatch, files: dict[str, object]
) -> str:
    """What the check says of `files`; `/v1/triage` is asked before, during and after."""
    live = service.rulebook.version
    held = Held()
    monkeypatch.setattr(candidate, "Child", held.child)
    answers: list[Any] = []

    def check() -> None:
        answers.append(send("POST", "/v1/rulebook/check", {"files": files}, by="ops"))

    def answered_by() -> str:
        response = send("POST", "/v1/triage", REPORT)
        assert response.status_code == 200, response.text
        return str(response.json["rulebook"])  # type: ignore[index]

    served = [answered_by()]
    checking = threading.Thread(target=check)
    checking.start()
    assert held.begun.wait(PATIENCE_SECONDS)
    served += [answered_by() for _ in range(3)]
    assert checking.is_alive()
    held.may_end.set()
    checking.join(PATIENCE_SECONDS)
    served.append(answered_by())
    assert served == [live] * 5
    service.refresh()
    assert service.rulebook.version == live
    (response,) = answers
    assert response.status_code == 200, response.text
    assert (response.json["ok"], response.json["version"]) == (False, None)
    with service.store.read() as work:
        assert work.rulebooks.versions() == (live,)
    return "\n".join(problem["message"] for problem in response.json["problems"])


@pytest.mark.parametrize(
    ("hostile", "seconds", "said"),
    [
        (five_thousand_rules(), 1, "trying the rulebook took more than 1 seconds"),
        (ten_thousand_values(), 60, "at most 20,000 are read"),
        ({"evidence/deep.yml": wide_rule("deep", 40)}, 60, "nested"),
    ],
    ids=["5,000 rules", "10,000 values", "deep nesting"],
)
def test_a_candidate_too_much_for_the_engine_is_refused_while_the_live_version_answers(
    client: FlaskClient,
    send: Send,
    service: Service,
    monkeypatch: pytest.MonkeyPatch,
    hostile: dict[str, object],
    seconds: int,
    said: str,
) -> None:
    client.application.extensions[LIMITS] = Limits(seconds=seconds)
    found = problems_while_live_answers(send, service, monkeypatch, {**RENAMED, **hostile})
    assert said in found


def test_a_candidate_that_takes_all_memory_is_refused_while_the_live_version_answers(
    client: FlaskClient, send: Send, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    memory_mb = enough_for_a_good_one()
    client.application.extensions[LIMITS] = Limits(memory_mb=memory_mb)
    client.application.config["MAX_CONTENT_LENGTH"] = 512 * 1024 * 1024
    files = {**RENAMED, **many_words(memory_mb // 20)}
    found = problems_while_live_answers(send, service, monkeypatch, files)
    assert f"more than {memory_mb} MB of memory" in found or "ended by itself" in found


def test_a_candidate_that_crashes_the_engine_is_refused_while_the_live_version_answers(
    send: Send, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(candidate, "try_candidate", crash_on_a_candidate)
    found = problems_while_live_answers(send, service, monkeypatch, RENAMED)
    assert found.startswith("the process trying the rulebook ended by itself (exit -11: ")


def test_what_is_nested_too_deep_to_be_read_at_all_is_refused_without_being_tried(
    send: Send, service: Service
) -> None:
    body = b'{"files": {"evidence/deep.yml": ' + b'{"a": ' * 100_000 + b"1" + b"}" * 100_001 + b"}"
    response = send("POST", "/v1/rulebook/check", body, by="ops")
    assert response.status_code in (400, 422)
    assert response.content_type == "application/problem+json"
    assert send("POST", "/v1/triage", REPORT).json["rulebook"] == service.rulebook.version  # type: ignore[index]
