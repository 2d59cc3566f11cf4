"""A candidate's way over HTTP: checked, replayed, published, rolled back; for ops only."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.http.work_folder import LAUNCHER
from tests.api.conftest import Send
from tests.triage.services import AGENT, REPORT, rulebook_files
from triage.rulebook.reading.reader import version_of
from triage.rulebook_care.release.background import AtOnce
from triage.service import tickets
from triage.service.service import Service
from triage.store.tables.replay_runs import ReplayRun

RENAMED = rulebook_files(**{"rulebook.yml": {"title": "Renamed", "currency": "USD"}})
CARELESS = {
    path: data
    for path, data in rulebook_files().items()
    if path not in ("cautions/damaged-cord.yml", "policy/cord-dispatch.yml")
}
DANGER = {**REPORT, "answers": {"cord_damaged": True}}


def post(send: Send, path: str, body: object, status: int = 200, **headers: str) -> Any:
    response = send("POST", f"/v1/rulebook/{path}", body, by="ops", **headers)
    assert response.status_code == status, response.text
    return response.json


def checked(send: Send, files: dict[str, object]) -> str:
    found = post(send, "check", {"files": files})
    losses = found.pop("losses")
    assert found == {"ok": True, "version": version_of(files), "problems": []}
    assert bool(losses) is (files == CARELESS)
    return str(found["version"])


def test_a_candidate_goes_all_the_way_and_back(send: Send, service: Service) -> None:
    before = service.rulebook.version
    tickets.open_ticket(service, REPORT, AGENT)
    version = checked(send, RENAMED)
    replayed = post(send, "replay", {"version": version})
    assert (replayed["decisions"], replayed["changed"], replayed["safety_lost"]) == (1, 0, [])
    published = post(send, "publish", {"version": version, "note": "A new title."})
    assert (published["version"], published["published_by"]) == (version, "ops")
    service.refresh()
    shown = send("GET", "/v1/rulebook", by="ops").json
    assert shown is not None
    assert (shown["version"], shown["serving"], shown["title"]) == (version, version, "Renamed")
    assert [line["stage"] for line in shown["log"]] == ["published", "published", "replayed", "checked"]
    back = post(send, "rollback", {"note": "Not yet."})
    assert back["version"] == before
    service.refresh()
    shown = send("GET", "/v1/rulebook", by="ops").json
    assert shown is not None
    assert (shown["serving"], shown["note"]) == (before, "rolled back: Not yet.")


def test_what_loses_safety_is_published_only_with_an_outright_yes(send: Send, service: Service) -> None:
    tickets.open_ticket(service, DANGER, AGENT)
    version = checked(send, CARELESS)
    lost = post(send, "replay", {"version": version})["safety_lost"]
    assert lost[0] == {
        "ticket": "T-000001",
        "seq": 2,
        "kind": "use no longer stopped",
        "what": "damaged-cord",
    }
    wanted = {"version": version, "note": "The landlord sees to cords."}
    refused = post(send, "publish", wanted, 409)["detail"]
    assert 'send it in "accept" with its reason only if it is meant' in refused
    ids = re.findall(r"L-[0-9a-f]{10}", refused)
    reasons = dict.fromkeys(ids, "The landlord sees to it.")
    post(send, "publish", {**wanted, "accept_lost_safety": True}, 422)
    post(send, "publish", {**wanted, "accept": {ids[0]: "Seen to."}}, 409)
    post(send, "publish", {**wanted, "accept": {**reasons, ids[0]: " "}}, 422)
    post(send, "publish", {**wanted, "accept": reasons})


def test_a_bad_candidate_is_told_what_is_wrong_and_never_serves(send: Send, service: Service) -> None:
    before = service.rulebook.version
    found = post(send, "check", {"files": {**RENAMED, "causes/broken.yml": {"id": "broken"}}})
    assert not found["ok"]
    assert {problem["file"] for problem in found["problems"]} == {"causes/broken.yml"}
    unchecked = version_of({**RENAMED, "causes/broken.yml": {"id": "broken"}})
    for path, body in (("replay", {}), ("publish", {"note": "Try."})):
        post(send, path, {"version": unchecked, **body}, 404)
    service.refresh()
    assert service.rulebook.version == before
    assert send("POST", "/v1/reports", REPORT).status_code == 201


def test_an_unreplayed_candidate_is_not_published(send: Send) -> None:
    version = checked(send, RENAMED)
    assert "replay it first" in post(send, "publish", {"version": version, "note": "Now."}, 409)["detail"]


def test_a_publication_sent_twice_with_its_key_is_made_once(send: Send, service: Service) -> None:
    version = checked(send, RENAMED)
    post(send, "replay", {"version": version})
    wanted = {"version": version, "note": "A new title."}
    first = post(send, "publish", wanted, Idempotency_Key="k1")
    assert post(send, "publish", wanted, Idempotency_Key="k1") == first
    with service.store.read() as work:
        assert len(work.rulebooks.publications()) == 2


def test_a_replay_sent_twice_with_its_key_gives_the_first_answer(send: Send, service: Service) -> None:
    version = checked(send, RENAMED)
    first = post(send, "replay", {"version": version}, Idempotency_Key="k1")
    tickets.open_ticket(service, REPORT, AGENT)
    assert post(send, "replay", {"version": version}, Idempotency_Key="k1") == first
    assert post(send, "replay", {"version": version}, Idempotency_Key="k2")["decisions"] == 1
    post(send, "replay", {"version": version[:20]}, 409, Idempotency_Key="k1")


@pytest.mark.parametrize("since", ["2026-01-01T00:00:00", "soon", 5])
def test_a_replay_takes_a_time_with_its_offset(send: Send, since: object) -> None:
    found = post(send, "replay", {"version": "x", "since": since}, 422)
    assert [error["pointer"] for error in found["errors"]] == ["/since"]


@pytest.mark.parametrize("by", ["agent", "reporter", "fogline"])
def test_only_ops_may_do_any_of_this(send: Send, by: str) -> None:
    assert send("GET", "/v1/rulebook", by=by).status_code == 403
    for path in ("check", "replay", "publish", "rollback"):
        assert send("POST", f"/v1/rulebook/{path}", {}, by=by).status_code == 403


def test_a_whole_rulebook_fits_and_more_than_that_does_not(send: Send) -> None:
    padded = {**RENAMED, "rulebook.yml": {"title": "x" * 600_000, "currency": "USD"}}
    assert send("POST", "/v1/rulebook/check", {"files": padded}, by="ops").status_code == 200
    huge = {"files": {"rulebook.yml": {"title": "x" * (9 * 1024 * 1024)}}}
    assert send("POST", "/v1/rulebook/check", huge, by="ops").status_code == 413


def test_a_replay_in_the_background_is_started_followed_and_used(
    client: FlaskClient, send: Send, service: Service
) -> None:
    tickets.open_ticket(service, REPORT, AGENT)
    client.application.extensions[LAUNCHER] = AtOnce(service.store, service.now)
    version = checked(send, RENAMED)
    started = send("POST", "/v1/rulebook/replays", {"version": version}, by="ops")
    assert started.status_code == 202
    followed = send("GET", started.headers["Location"], by="ops").json
    assert followed is not None
    assert (followed["state"], followed["progress"]) == ("done", {"done": 1, "of": 1})
    assert followed["result"] == post(send, "replay", {"version": version})
    listed = send("GET", "/v1/rulebook/replays", by="ops").json
    assert listed is not None
    assert [run["id"] for run in listed["items"]] == [followed["id"]]
    assert "result" not in listed["items"][0]
    post(send, "publish", {"version": version, "note": "A new title."})


def test_a_replay_in_the_background_is_joined_and_stopped(client: FlaskClient, send: Send) -> None:
    waiting: list[ReplayRun] = []

    class Later:
        def launch(self, run: ReplayRun) -> None:
            waiting.append(run)

    client.application.extensions[LAUNCHER] = Later()
    version = checked(send, RENAMED)
    first = post(send, "replays", {"version": version}, 202)
    assert first["state"] == "waiting"
    assert post(send, "replays", {"version": version}, 202)["id"] == first["id"]
    assert len(waiting) == 1
    stopped = send("DELETE", f"/v1/rulebook/replays/{first['id']}", by="ops").json
    assert stopped is not None
    assert (stopped["state"], stopped["result"]) == ("stopped", None)
    assert send("GET", "/v1/rulebook/replays/R-none", by="ops").status_code == 404
    assert send("DELETE", f"/v1/rulebook/replays/{first['id']}", by="agent").status_code == 403
