"""The what-if page without scripts: linked by its address, rules for ops only, nothing stored."""

from __future__ import annotations

import html
import json
import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.triage.services import AGENT, OPS, REPORT, rulebook_files
from triage.service import tickets
from triage.service.service import Service

FILTER_RULE = "evidence/filter-overdue.yml"


@pytest.fixture
def path(service: Service) -> str:
    return f"/tickets/{tickets.open_ticket(service, REPORT, AGENT).id}/what-if"


@pytest.fixture
def agent(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["agent"]})
    return client


@pytest.fixture
def ops(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["ops"]})
    return client


def test_the_ticket_leads_to_it_and_it_says_that_nothing_is_stored(agent: FlaskClient, path: str) -> None:
    assert f'href="{path}"' in agent.get(path.removesuffix("/what-if")).text
    shown = agent.get(path)
    assert shown.status_code == 200
    assert "Nothing here is stored" in shown.text
    assert "The move" not in shown.text


def test_a_form_as_sent_leads_to_the_shortest_address(agent: FlaskClient, path: str) -> None:
    sent = "f.fill_level=70&f.filter_days=3&f.seal_style=&c.rinse-filter=not_done&at=&spent=&base=own&add="
    response = agent.get(f"{path}?{sent}")
    assert (response.status_code, response.headers["Location"]) == (
        302,
        f"{path}?f.filter_days=3&show=f.seal_style",
    )


def test_a_changed_fact_shows_the_move_and_is_marked(agent: FlaskClient, path: str, service: Service) -> None:
    before = tickets.ticket(service, path.split("/")[2], OPS)
    shown = agent.get(f"{path}?f.cord_damaged=yes&f.filter_days=3").text
    for said in (
        "Outcome: Fix in store → Send a technician.",
        "Filter days: 41 → 3.",
        "<strong>Changed</strong> from 41",
        "Do not use the machine.",
    ):
        assert said in shown
    assert tickets.ticket(service, before.id, OPS) == before


def test_an_emptied_field_is_forgotten(agent: FlaskClient, path: str) -> None:
    response = agent.get(f"{path}?f.fill_level=")
    assert response.headers["Location"] == f"{path}?forget=fill_level"
    assert "Fill level: 70 → not known." in agent.get(response.headers["Location"]).text


def test_another_field_is_opened_without_scripts(agent: FlaskClient, path: str) -> None:
    response = agent.get(f"{path}?add=f.seal_style", follow_redirects=True)
    assert 'name="f.seal_style"' in response.text
    assert 'name="f.seal_style"' not in agent.get(path).text


def test_turning_points_are_said_when_asked_for(agent: FlaskClient, path: str) -> None:
    assert "Cord damaged (now not known): yes: Send a technician" in agent.get(f"{path}?turning=1").text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("f.fill_levl=3", "did you mean"),
        ("f.fill_level=sometimes", "fill_level"),
        ("at=noon", "not a time"),
        ("spent=much", "USD"),
        ("c.rinse-filter=perhaps", "the result is one of"),
    ],
)
def test_what_cannot_be_decided_is_said_and_the_form_kept(
    agent: FlaskClient, path: str, query: str, said: str
) -> None:
    response = agent.get(f"{path}?{query}")
    assert response.status_code == 422
    assert "This cannot be decided." in response.text
    assert said in response.text


def test_an_agent_is_shown_no_rules_and_may_send_none(agent: FlaskClient, path: str) -> None:
    assert "Change a rule" not in agent.get(path).text
    assert agent.get(f"{path}?rule={FILTER_RULE}").headers["Location"] == path
    assert agent.post(path, data={"rule": FILTER_RULE, "text": "x"}).status_code == 403


def test_ops_edits_a_rule_in_place_and_sees_the_move(ops: FlaskClient, path: str) -> None:
    shown = ops.get(f"{path}?rule={FILTER_RULE}").text
    assert "seen_with:" in shown
    data: Any = rulebook_files()[FILTER_RULE]
    text = json.dumps({**data, "then": {"seen_with": {"dirty_filter": 0.05, "others": 0.3}}}, indent=1)
    moved = ops.post(path, data={"rule": FILTER_RULE, "text": text, "f.fill_level": "10"}).text
    assert "Dirty filter:" in moved
    assert "Fill level: 70 → 10." in moved
    assert "&#34;dirty_filter&#34;: 0.05" in moved
    assert '<input id="f.fill_level" name="f.fill_level" value="10"' in moved


def test_the_text_as_shown_moves_nothing(ops: FlaskClient, path: str) -> None:
    shown = ops.get(f"{path}?rule={FILTER_RULE}").text
    found = re.search(r'<textarea id="text"[^>]*>\n(.*?)</textarea>', shown, re.S)
    assert found is not None
    text = html.unescape(found[1])
    assert "Nothing changes." in ops.post(path, data={"rule": FILTER_RULE, "text": text}).text


def test_a_wrong_edit_is_told_by_line_and_keeps_the_text(ops: FlaskClient, path: str) -> None:
    response = ops.post(path, data={"rule": FILTER_RULE, "text": "id: filter-overdue\ntitle: [\n"})
    assert response.status_code == 422
    assert f"{FILTER_RULE}:3:1: " in response.text
    assert "title: [" in response.text


def test_a_file_that_is_not_there_is_said(ops: FlaskClient, path: str) -> None:
    assert ops.get(f"{path}?rule=policy/never.yml").status_code == 404


def test_a_kept_version_stands_on_the_other_side(ops: FlaskClient, path: str, service: Service) -> None:
    version = service.rulebook.version
    shown = ops.get(f"{path}?version={version}").text
    assert "Nothing changes." in shown
