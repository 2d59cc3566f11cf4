"""The ops lead's pages without scripts: replay a candidate, read what it changes, publish it, roll back."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from api.http.work_folder import LAUNCHER
from tests.api.v1.test_rulebook import CARELESS, DANGER, RENAMED
from tests.triage.services import AGENT, OPS, REPORT, rulebook_files
from triage.rulebook.reading.reader import version_of
from triage.rulebook_care.release.background import AtOnce
from triage.rulebook_care.release.publishing import check_candidate
from triage.service import tickets
from triage.service.service import Service
from triage.store.tables.replay_runs import ReplayRun


@pytest.fixture
def ops(client: FlaskClient, tokens: dict[str, str], service: Service) -> FlaskClient:
    client.application.extensions[LAUNCHER] = AtOnce(service.store, service.now)
    client.post("/sign-in", data={"token": tokens["ops"]})
    return client


def checked(service: Service, files: dict[str, object]) -> str:
    version = check_candidate(service.store, files, OPS.name, service.now())
    return f"/rulebook/candidates/{version}"


def test_a_candidate_is_replayed_published_and_rolled_back_on_the_pages(
    ops: FlaskClient, service: Service
) -> None:
    before = service.rulebook.version
    tickets.open_ticket(service, REPORT, AGENT)
    page = checked(service, RENAMED)
    shown = ops.get(page).text
    assert "“Renamed”" in shown
    assert "Start the replay" in shown
    assert ops.post(f"{page}/replay", data={"since": "2026-01-01"}).status_code == 303
    shown = ops.get(page).text
    assert "0 of 1 recorded tickets change" in shown
    assert "Safety outcomes lost: 0" in shown
    assert "accept-L-" not in shown
    assert ops.post(f"{page}/publish", data={"note": "A new title."}).status_code == 303
    shown = ops.get("/rulebook/log").text
    assert "A new title." in shown
    service.refresh()
    assert service.rulebook.version == version_of(RENAMED)
    assert ops.post("/rulebook/rollback", data={"version": before, "note": "Not yet."}).status_code == 303
    service.refresh()
    assert service.rulebook.version == before


def test_a_second_person_says_yes_and_the_versions_are_compared(
    ops: FlaskClient, service: Service, tokens: dict[str, str]
) -> None:
    with service.store.write() as work:
        vera = work.tokens.add("vera", "ops", None, service.now())
    version = check_candidate(service.store, RENAMED, "ops", service.now())
    page = f"/rulebook/candidates/{version}"
    ops.post(f"{page}/replay")
    assert ops.post(f"{page}/publish", data={"note": "A new title."}).status_code == 409
    refused = ops.post(f"{page}/agree", data={"yes": "Mine."})
    assert (refused.status_code, "another person" in refused.text) == (409, True)
    other = ops.application.test_client()
    other.post("/sign-in", data={"token": vera})
    assert other.post(f"{page}/agree", data={"yes": "Read it."}).status_code == 303
    assert ops.post(f"{page}/publish", data={"note": "A new title."}).status_code == 303
    compared = ops.get("/rulebook/compare").text
    assert "Read it." in compared
    assert "“Renamed”" in compared
    history = ops.get("/rulebook/history/rulebook.yml").text
    assert "A new title." in history
    assert "“Renamed”" in history


def test_a_candidate_decides_beside_the_live_version(ops: FlaskClient, service: Service) -> None:
    page = checked(service, RENAMED)
    refused = ops.post(f"{page}/shadow", data={"action": "begin", "share": "all"})
    assert (refused.status_code, "from 1 to 100" in refused.text) == (422, True)
    assert ops.post(f"{page}/shadow", data={"action": "begin", "share": "100"}).status_code == 303
    tickets.open_ticket(service, REPORT, AGENT)
    assert service.rulebook.version != version_of(RENAMED)
    assert ops.post(f"{page}/shadow", data={"action": "look"}).status_code == 303
    shown = ops.get(page).text
    assert "decides 100 % of the tickets beside the live version" in shown
    assert "0 of 1 recorded tickets change" in shown
    assert ops.post(f"{page}/shadow", data={"action": "end"}).status_code == 303
    assert "decides nothing beside the live version any more" in ops.get(page).text


def test_lost_safety_is_listed_with_its_tickets_and_needs_its_own_yes(
    ops: FlaskClient, service: Service
) -> None:
    tickets.open_ticket(service, DANGER, AGENT)
    page = checked(service, CARELESS)
    ops.post(f"{page}/replay")
    shown = ops.get(page).text
    assert (
        '<a href="/tickets/T-000001">T-000001</a>, event 2: <strong>use no longer stopped</strong>' in shown
    )
    refused = ops.post(f"{page}/publish", data={"note": "The landlord sees to cords."})
    assert refused.status_code == 409
    assert "write a reason beside it only if it is meant" in refused.text
    assert "--accept" not in refused.text
    assert "the caution “Damaged cord” is taken out" in shown
    assert 'value="The landlord sees to cords."' in refused.text
    fields = re.findall(r'name="(accept-L-[0-9a-f]{10})"', shown)
    yes = {"note": "The landlord sees to cords.", **dict.fromkeys(fields, "The landlord sees to it.")}
    assert ops.post(f"{page}/publish", data={**yes, fields[0]: ""}).status_code == 409
    assert ops.post(f"{page}/publish", data=yes).status_code == 303


def test_what_is_refused_is_said_on_the_page_with_the_form_kept(ops: FlaskClient, service: Service) -> None:
    page = checked(service, RENAMED)
    refused = ops.post(f"{page}/publish", data={"note": "Now."})
    assert (refused.status_code, "replay it first" in refused.text) == (409, True)
    assert 'value="Now."' in refused.text
    refused = ops.post(f"{page}/replay", data={"since": "last week"})
    assert (refused.status_code, "Write the day such as" in refused.text) == (422, True)
    refused = ops.post(f"{page}/publish", data={"note": " "})
    assert (refused.status_code, "Say why it is published" in refused.text) == (422, True)
    refused = ops.post("/rulebook/rollback", data={"note": "Back."})
    assert (
        refused.status_code,
        'value="Back."' in refused.text or "No other version was live" in refused.text,
    ) == (
        404,
        True,
    )
    assert ops.get("/rulebook/candidates/none").status_code == 404


def test_an_unchecked_version_is_not_replayed(ops: FlaskClient, service: Service) -> None:
    with service.store.write() as work:
        work.rulebooks.keep(version_of(RENAMED), RENAMED)
    page = f"/rulebook/candidates/{version_of(RENAMED)}"
    refused = ops.post(f"{page}/replay")
    assert (refused.status_code, "check it first" in refused.text) == (409, True)


def test_a_replay_is_watched_and_stopped(ops: FlaskClient, service: Service) -> None:
    waiting: list[ReplayRun] = []

    class Later:
        def launch(self, run: ReplayRun) -> None:
            waiting.append(run)

    ops.application.extensions[LAUNCHER] = Later()
    page = checked(service, RENAMED)
    ops.post(f"{page}/replay")
    assert "data-watch" in ops.get(page).text
    assert "<progress" in ops.get(page, query_string={"part": "1"}).text
    assert ops.post(f"{page}/stop", data={"run": waiting[0].id}).status_code == 303
    shown = ops.get(page).text
    assert "was stopped after 0 decisions" in shown
    assert "<progress" not in shown


def test_the_live_version_is_compared_with_the_one_before(ops: FlaskClient, service: Service) -> None:
    page = checked(service, rulebook_files())
    shown = ops.get(page).text
    assert "Live." in shown
    assert "Publish it" not in shown


@pytest.mark.parametrize("by", ["agent", "reporter", "fogline"])
def test_only_ops_may_open_these_pages(client: FlaskClient, tokens: dict[str, str], by: str) -> None:
    client.post("/sign-in", data={"token": tokens[by]})
    assert client.get("/rulebook/log").status_code == 403
    assert client.post("/rulebook/rollback").status_code == 403
