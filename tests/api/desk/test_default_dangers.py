"""The default rulebook's dangers as an agent's page shows them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.api.desk.test_desk import step
from tests.triage.rulebook_care.safety.default_files import default_files, default_rulebook
from tests.triage.services import AGENT, OPS, running_service
from triage.decide.causes.guards import near_facts
from triage.service import tickets
from triage.service.service import Service


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, files=default_files()) as running:
        yield running


@pytest.fixture
def desk(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["agent"]})
    return client


def opened(service: Service, symptom: str, **answers: object) -> str:
    report = {"machine": "LH20-1", "symptoms": [symptom], "answers": answers}
    return f"/tickets/{tickets.open_ticket(service, report, AGENT).id}"


def calm() -> dict[str, bool]:
    facts = default_rulebook().facts.values()
    return {fact.id: False for fact in facts if fact.danger and fact.asked_of == "clerk"}


def askable(page: str) -> set[str]:
    return {*re.findall(r'\?fact=(\w+)"', page), *re.findall(r'<option value="(\w+)">', page)}


def test_who_is_there_is_asked_before_the_steps_of_a_check_that_lifts(
    desk: FlaskClient, service: Service
) -> None:
    call = opened(service, "noisy", rocks=True, noise_kind="rattle", **calm())
    steps = default_rulebook().checks["level-machine"].steps
    page = desk.get(call, follow_redirects=True).text
    assert "Are you alone in the store now?" in page
    assert not any(each in page for each in steps)
    step(desk, call, "answers", fact="clerk_alone", value="no")
    page = desk.get(call, follow_redirects=True).text
    assert not any(each in page for each in steps)
    step(desk, call, "answers", fact="clerk_minor", value="?")
    assert not any(each in desk.get(call, follow_redirects=True).text for each in steps)
    step(desk, call, "answers", fact="clerk_minor", value="no")
    assert all(each in desk.get(call, follow_redirects=True).text for each in steps)
    step(desk, call, "answers", fact="clerk_alone", value="yes")
    assert not any(each in desk.get(call, follow_redirects=True).text for each in steps)


def test_while_nobody_knows_whether_it_is_safe_no_question_leads_to_the_machine(
    desk: FlaskClient, service: Service
) -> None:
    call = opened(service, "leaking")
    waits = tickets.ticket(service, call.rpartition("/")[2], OPS).decided
    assert waits is not None
    for _ in range(12):
        page = desk.get(call, follow_redirects=True).text
        found = re.search(r'name="fact" value="(\w+)"', page)
        if found is None or "First it must be known" not in page:
            break
        step(desk, call, "answers", fact=found[1], value="?")
    page = desk.get(call, follow_redirects=True).text
    assert "Nobody goes near the machine yet." in page
    decision = tickets.ticket(service, call.rpartition("/")[2], OPS).decision
    assert decision is not None
    waiting = {*decision["waits_for"]}
    assert waiting
    assert askable(page) & near_facts(default_rulebook()) <= waiting
    assert "Not asked: someone would have to go near the machine." in desk.get(f"{call}?fact=leak_where").text


def test_mold_shows_on_every_page_of_its_machine_until_it_is_cleaned(
    desk: FlaskClient, service: Service
) -> None:
    one = opened(service, "off_taste", **{**calm(), "mold_seen": True})
    two = opened(service, "freezes_slowly", **calm())
    pages = [one, two, "/machines/LH20-1", "/", "/find?q=Lanternway", "/report?machine=LH20-1"]
    for path in pages:
        assert "Mold or slime" in desk.get(path).text, path
    page = desk.get(two).text
    assert "Every other check before: Clean and sanitize that side" in page
    assert "The outcome “Fix in store”" not in page
    step(desk, two, "checks", check="full-clean", result="not_cured")
    for path in pages:
        assert 'class="dangers"' not in desk.get(path).text, path


def test_an_agent_may_say_who_cleaned(desk: FlaskClient, service: Service) -> None:
    call = opened(service, "off_taste", **{**calm(), "mold_seen": True})
    assert "Who made it safe, and how" in desk.get(call, follow_redirects=True).text
    why = "Mei cleaned it this morning."
    step(desk, call, "dangers/mold-seen/lift", how="safe", why=why)
    assert tickets.ticket(service, call.rpartition("/")[2], OPS).dangers.open == ()
