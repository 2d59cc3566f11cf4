"""The program's numbers over HTTP and as a page."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send, signed_in
from tests.triage.services import AGENT, REPORT
from triage.repairs.period_numbers import DEFINITIONS
from triage.service import repairs, tickets
from triage.service.numbers import COUNTED, numbers, overview_of
from triage.service.service import Service


@pytest.fixture
def recorded(service: Service) -> Service:
    """One ticket that the filter cures, one that stays open."""
    tickets.open_ticket(service, REPORT, AGENT)
    tickets.record_check(service, "T-000001", "rinse-filter", "cured", AGENT)
    repairs.close(service, "T-000001", {"cause": "dirty_filter", "cured_by": "rinse-filter"}, AGENT, None)
    tickets.open_ticket(service, {**REPORT, "machine": "LH30-2", "symptoms": ["leaking"]}, AGENT)
    return service


def test_the_numbers_of_a_period_are_told(send: Send, recorded: Service) -> None:
    found = send("GET", "/v1/numbers", by="reporter").json
    assert found is not None
    assert (found["since"], found["until"]) == ("2026-02-01", "2026-03-02")
    assert (found["opened"], found["closed"]) == (2, 1)
    part = {"count": 1, "of": 1, "share": 1.0, "low": 0.2065, "high": 1.0, "too_few": True}
    assert found["cured_in_store"] == part
    assert found["by_symptom"] == {"leaking": 1, "not_freezing": 1}
    assert found["spend_closed"] == "0.00 USD"
    before = send("GET", "/v1/numbers?since=2026-01-01&until=2026-01-31", by="ops").json
    assert before is not None
    assert (before["opened"], before["closed"], before["groups"]) == (0, 0, [])


@pytest.mark.parametrize(
    ("by", "keys"),
    [
        ("contractor", ["fogline", "tern"]),
        ("site", ["halt-001", "halt-023"]),
        ("model", ["LH-20", "LH-30"]),
        ("cause", ["dirty_filter", "not_known"]),
        ("symptom", ["leaking", "not_freezing"]),
        ("day", ["2026-03-02"]),
        ("week", ["2026-03-02"]),
        ("month", ["2026-03"]),
    ],
)
def test_they_are_told_by_any_group(send: Send, recorded: Service, by: str, keys: list[str]) -> None:
    found = send("GET", f"/v1/numbers?by={by}", by="ops").json
    assert found is not None
    assert sorted(one["key"] for one in found["groups"]) == keys
    assert sum(one["opened"] for one in found["groups"]) == 2
    assert sum(one["cured_in_store"]["count"] for one in found["groups"]) == 1


def test_what_stands_under_one_key_is_told_by_time(send: Send, recorded: Service) -> None:
    found = send("GET", "/v1/numbers?of=contractor:tern&by=month", by="ops").json
    assert found is not None
    assert (found["opened"], found["closed"]) == (1, 0)
    assert [(one["key"], one["opened"]) for one in found["groups"]] == [("2026-03", 1)]


@pytest.mark.parametrize("query", ["by=shoe", "of=tern", "of=shoe:1", "of=site:1&by=model"])
def test_a_group_that_there_is_not_is_a_problem_with_its_place(send: Send, query: str) -> None:
    response = send("GET", f"/v1/numbers?{query}", by="ops")
    assert response.status_code == 422
    assert response.json is not None
    assert response.json["errors"][0]["pointer"] in ("query:by", "query:of")


def test_a_period_is_told_at_a_glance(send: Send, recorded: Service) -> None:
    found = send("GET", "/v1/numbers/overview?since=2026-03-02&until=2026-03-08", by="reporter").json
    assert found is not None
    assert [(one["name"], one["now"]) for one in found["numbers"]][:2] == [
        ("opened", 2),
        ("cured_in_store", 1),
    ]
    assert found["period"] == {"first": "2026-03-02", "last": "2026-03-08"}
    assert found["saved"] is None
    assert send("GET", "/v1/numbers/overview?since=soon", by="ops").status_code == 422


@pytest.mark.parametrize("number", COUNTED)
def test_the_tickets_behind_a_number_are_as_many_as_it_says(
    client: FlaskClient, tokens: dict[str, str], recorded: Service, number: str
) -> None:
    """Of amounts, those of tickets that cost something."""
    found = numbers(recorded, None, None)
    none = dict.fromkeys(("spend_closed", "spend_approved", "outside_agreement"), 0)
    asked, scored = sum(one["asked"] for one in found["questions"]), found["scores"]["of"]
    wanted = {**none, "asked": asked, "scored": scored}.get(number, found.get(number))
    wanted = wanted["count"] if isinstance(wanted, dict) else wanted
    listed = signed_in(client, tokens["ops"]).get(
        f"/?view=all&counted={number}&since=2026-02-01&until=2026-03-02"
    )
    assert listed.text.count('<th scope="row">') == wanted


@pytest.mark.parametrize(
    ("behind", "wanted"),
    [
        ("counted=opened&check=rinse-filter", ["T-000001"]),
        ("counted=opened&check=rinse-filter=cured", ["T-000001"]),
        ("counted=opened&check=rinse-filter=could_not_do", []),
        ("counted=opened&check=rinse", []),
        ("counted=opened&machine=LH30-2", ["T-000002"]),
        ("counted=closed&rule={rule}", ["T-000001"]),
        ("counted=closed&rule=-", []),
        ("counted=opened&symptom=leaking&first_outcome={leaking}", ["T-000002"]),
        ("counted=opened&first_outcome=not_fix_in_store", []),
        ("counted=closed&chance={tenth}", ["T-000001"]),
        ("counted=closed&chance=x", ["T-000001"]),
        ("counted=asked&question=fan_air", []),
    ],
)
def test_what_a_row_of_the_page_counts_is_listed(
    client: FlaskClient, tokens: dict[str, str], recorded: Service, behind: str, wanted: list[str]
) -> None:
    days = "2026-02-01", "2026-03-02"
    found, (tenth,) = numbers(recorded, *days), overview_of(recorded, *days).reliability
    rule, (first,) = found["rules"][0]["rule"], found["by_first_outcome"]
    asked = behind.format(tenth=tenth.tenth, rule=rule, leaking=first)
    ops = signed_in(client, tokens["ops"])
    listed = ops.get(f"/?view=all&{asked}&since={days[0]}&until={days[1]}").text
    assert re.findall(r'<th scope="row">.*?(T-\d{6})', listed, re.DOTALL) == wanted


@pytest.mark.parametrize("query", ["since=soon", "until=2026-02-30", "since=2026-03-02&until=2026-03-01"])
def test_a_period_that_cannot_be_is_a_problem_with_its_place(send: Send, query: str) -> None:
    response = send("GET", f"/v1/numbers?{query}", by="ops")
    assert response.status_code == 422
    assert response.json is not None
    assert response.json["errors"][0]["pointer"] in ("query:since", "query:until")


@pytest.mark.parametrize("by", ["agent", "fogline"])
def test_only_ops_and_reporters_see_them(send: Send, by: str) -> None:
    assert send("GET", "/v1/numbers", by=by).status_code == 403


def test_each_number_is_defined_in_the_description_of_the_api(send: Send) -> None:
    document = send("GET", "/openapi.json").json
    assert document is not None
    properties = document["components"]["schemas"]["NumbersOut"]["properties"]
    for name, definition in DEFINITIONS.items():
        assert properties[name]["description"] == definition


def test_the_page_shows_the_numbers_with_their_definitions(
    client: FlaskClient, tokens: dict[str, str], recorded: Service
) -> None:
    ops = signed_in(client, tokens["ops"])
    for page in ("/", "/rulebook/log"):
        assert '<a href="/numbers"' in ops.get(page).text
    shown = ops.get("/numbers?since=2026-02-01&until=2026-03-02&by=contractor").text
    for said in (
        DEFINITIONS["opened"],
        "too few to say",
        "1 of 1",
        "0.00 USD",
        "Dirty filter",
        "Rinse filter",
        "fogline",
    ):
        assert said in shown
    assert "<h1>Sun 1 Feb – Mon 2 Mar 2026</h1>" in shown
    assert (
        "<h1>Thu 1 Jan – Sat 31 Jan 2026</h1>" in ops.get("/numbers?since=2026-01-01&until=2026-01-31").text
    )


def test_a_period_that_cannot_be_is_said_on_the_page_with_the_form_kept(
    client: FlaskClient, tokens: dict[str, str]
) -> None:
    refused = signed_in(client, tokens["ops"]).get("/numbers?since=2026-03-05&until=2026-03-01")
    assert refused.status_code == 422
    assert "is before 5 Mar 2026; swap the two" in refused.text
    assert 'value="2026-03-05"' in refused.text


@pytest.mark.parametrize("by", ["", "month", "day"])
def test_a_group_without_tickets_has_a_row_of_noughts(
    client: FlaskClient, tokens: dict[str, str], recorded: Service, by: str
) -> None:
    found = signed_in(client, tokens["ops"]).get(f"/numbers?of=site:nowhere&by={by}")
    assert (found.status_code, "nowhere" in found.text) == (200, True)


def test_the_page_is_for_ops_only(client: FlaskClient, tokens: dict[str, str]) -> None:
    agent = signed_in(client, tokens["agent"])
    assert agent.get("/numbers").status_code == 403
    assert "/numbers" not in agent.get("/").text
