"""The desk page by page, without a browser: search, report, questions, checks, cautions, lists."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send
from tests.triage.services import OPS
from triage.service import tickets
from triage.service.service import Service
from triage.values.dataclass_json import as_data


@pytest.fixture
def desk(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["agent"]})
    return client


@pytest.fixture
def call(desk: FlaskClient) -> str:
    """The path of a fresh ticket."""
    return desk.post("/report", data={"machine": "LH20-1", "symptom": "not_freezing"}).headers["Location"]


def step(desk: FlaskClient, call: str, what: str, **form: str) -> str:
    """Takes a step on the ticket's current version; the page after it."""
    version = re.search(r'name="version" value="(\d+)"', desk.get(call).text)
    assert version is not None
    return desk.post(f"{call}/{what}", data={"version": version[1], **form}, follow_redirects=True).text


def last_event(service: Service, call: str, kind: str) -> dict[str, object]:
    found = [event for event in tickets.events(service, call.rsplit("/", 1)[-1], OPS) if event.kind == kind]
    return as_data(found[-1].payload)


def test_a_serial_leads_straight_to_its_machine(desk: FlaskClient) -> None:
    assert desk.get("/find?q=lh20-1").headers["Location"] == "/machines/LH20-1"


def test_a_town_with_a_typing_error_lists_its_machines(desk: FlaskClient) -> None:
    page = desk.get("/find?part=1&q=wilow").text
    assert "/machines/LH30-2" in page
    assert "<html" not in page


def test_what_fits_nothing_is_said_to_and_escaped(desk: FlaskClient) -> None:
    page = desk.get("/find?q=<b>nowhere</b>").text
    assert "Nothing on record fits “&lt;b&gt;nowhere&lt;/b&gt;”" in page


def test_the_record_says_at_a_glance_what_matters(desk: FlaskClient) -> None:
    page = desk.get("/machines/LH20-1").text
    for said in (
        "Lanternway Alder Quay",
        "26 days overdue",
        "Fogline",
        "350.00 USD",
        "Warranty left",
        "not on record",
    ):
        assert said in page


def test_the_callers_words_tick_the_symptom(desk: FlaskClient) -> None:
    page = desk.get("/report?machine=LH20-1&words=it+is+all+liquid").text
    assert re.search(r'value="not_freezing"\s+checked', page)
    assert not re.search(r'value="leaking"\s+checked', page)


def test_a_second_ticket_is_opened_only_when_asked_for(desk: FlaskClient, call: str) -> None:
    form = {"machine": "LH20-1", "symptom": "leaking", "note": "a puddle"}
    offered = desk.post("/report", data=form)
    assert offered.status_code == 409
    assert call in offered.text
    assert "a puddle" in offered.text
    assert desk.post("/report", data={**form, "second": "1"}).status_code == 303


def test_words_for_a_number_are_converted_and_shown_back(desk: FlaskClient, call: str) -> None:
    page = step(desk, call, "answers", fact="filter_days", value="two weeks ago")
    assert "14 days" in page
    assert "“two weeks ago”" in page


def test_a_number_that_does_not_fit_keeps_what_was_typed(desk: FlaskClient, call: str) -> None:
    step(desk, call, "answers", fact="cord_damaged", value="no")
    page = step(desk, call, "answers", fact="filter_days", value="two gallons")
    assert "Nothing was stored" in page
    assert 'value="two gallons"' in page


def test_a_form_about_no_fact_is_refused(desk: FlaskClient, call: str) -> None:
    assert desk.post(f"{call}/answers", data={"fact": "moon", "value": "1"}).status_code == 422


def test_not_knowing_is_recorded_and_not_asked_again(desk: FlaskClient, call: str, service: Service) -> None:
    first = re.search(r'name="fact" value="(\w+)"', desk.get(call).text)
    assert first is not None
    page = step(desk, call, "answers", fact=first[1], value="?")
    assert last_event(service, call, "skipped") == {"facts": [first[1]]}
    assert f'name="fact" value="{first[1]}"' not in page
    assert "The clerk does not know" in page


def test_any_question_is_opened_out_of_turn(desk: FlaskClient, call: str) -> None:
    step(desk, call, "answers", fact="cord_damaged", value="no")
    page = desk.get(f"{call}?fact=seal_style").text
    assert "Seal style?" in page
    assert "Grooved seal" in page


def test_chances_show_how_the_last_answer_moved_them(desk: FlaskClient, call: str) -> None:
    page = step(desk, call, "answers", fact="fill_level", value="10")
    assert re.search(r"▲ \+\d+", page)
    assert re.search(r"▼ −\d+", page)
    assert "before the last answer" in page


def test_what_speaks_for_a_cause_is_told_as_it_is(desk: FlaskClient, call: str) -> None:
    """Neither a group none of whose bands holds nor a check that did not fix it is denied twice."""
    step(desk, call, "answers", fact="fill_level", value="70")
    step(desk, call, "checks", check="rinse-filter", result="not_cured")
    page = " ".join(desk.get(call).text.split())
    assert "Rinse filter: did not fix it: makes it" in page
    assert re.search(r"<li>Fill[^<]* / [^<]* <em>is not so</em>: makes it", page)
    assert "none of the bands" not in page


def test_a_wait_parks_the_ticket_on_the_list(desk: FlaskClient, call: str) -> None:
    step(desk, call, "answers", fact="cord_damaged", value="no")
    assert "Parked:" in step(desk, call, "checks", check="rinse-filter", result="wait")
    listed = desk.get("/?view=parked").text
    assert call in listed
    assert "call back Mon 2 Mar, 12:40" in listed.replace("\u202f", " ")


def test_a_stop_use_caution_hides_everything_until_it_is_read_out(
    desk: FlaskClient, call: str, service: Service
) -> None:
    page = step(desk, call, "answers", fact="cord_damaged", value="yes")
    assert "Read this out to the clerk now" in page
    assert "Leave the plug alone" in page
    assert "Likely causes" not in page
    shown = re.search(r'name="shown" value="(\w+)"', page)
    assert shown is not None
    assert "Text to the store" in step(desk, call, "read-out", said="1", shown=shown[1])
    assert last_event(service, call, "acknowledged") == {"cautions": ["damaged-cord"]}


def test_the_last_answer_is_taken_back_as_an_event(desk: FlaskClient, call: str, service: Service) -> None:
    step(desk, call, "answers", fact="filter_days", value="30")
    page = step(desk, call, "undo")
    assert "Nothing from the caller yet" in page
    assert last_event(service, call, "undone")["seq"] == 3
    assert "undone" in desk.get(f"{call}/history").text


def test_two_agents_on_a_ticket_see_each_other(desk: FlaskClient, call: str, tokens: dict[str, str]) -> None:
    desk.get(call)
    other = desk.application.test_client()
    other.post("/sign-in", data={"token": tokens["ops"]})
    assert "<strong>agent</strong> also has this ticket open" in other.get(call).text
    assert desk.get(f"{call}/news").json == {"version": 2, "others": ["ops"]}


@pytest.mark.parametrize("path", ["/?view=held", "/?view=due&site=halt-001", "/?from=25", "/?view=nonsense"])
def test_the_list_takes_every_filter(desk: FlaskClient, call: str, path: str) -> None:
    assert desk.get(path).status_code == 200


def test_a_solved_call_is_read_back_in_the_clerks_language(desk: FlaskClient, call: str) -> None:
    desk.post("/language", data={"language": "es", "next": call})
    page = step(desk, call, "checks", check="rinse-filter", result="cured")
    assert "La máquina vuelve a funcionar" in page


def test_an_answer_is_corrected_after_the_machine_works_again(desk: FlaskClient, call: str) -> None:
    step(desk, call, "answers", fact="cord_damaged", value="no")
    assert "Read back to the clerk" in step(desk, call, "checks", check="rinse-filter", result="cured")
    assert 'name="fact" value="fill_level"' in desk.get(f"{call}?fact=fill_level").text


@pytest.mark.parametrize(
    "query", ["?check=no-such-check", "?check=", "?fact=nothing", "?end=&check=rinse-filter"]
)
def test_an_address_that_asks_for_nothing_there_is_shows_the_call(
    desk: FlaskClient, call: str, query: str
) -> None:
    page = desk.get(call + query, follow_redirects=True)
    assert page.status_code == 200
    assert 'class="board"' in page.text


def test_a_language_that_is_not_there_changes_nothing(desk: FlaskClient, call: str) -> None:
    response = desk.post("/language", data={"language": "xx", "next": "//elsewhere.example"})
    assert response.headers["Location"] == "/"
    assert "Set-Cookie" not in response.headers


@pytest.mark.parametrize(
    ("fact", "words", "value"),
    [("filter_days", "41", 41), ("filter_days", "14", 14), ("cord_damaged", "no", False)],
    ids=["as the record", "other than the record", "flag"],
)
def test_an_answer_writes_the_same_event_at_the_api_and_on_the_page(
    desk: FlaskClient, call: str, send: Send, service: Service, fact: str, words: str, value: object
) -> None:
    step(desk, call, "answers", fact=fact, value=words)
    opened = tickets.open_ticket(service, {"machine": "LH20-1", "symptoms": ["not_freezing"]}, OPS)
    send("POST", f"/v1/tickets/{opened.id}/answers", {"answers": {fact: value}})
    on_page = last_event(service, call, "answered")
    assert on_page == last_event(service, opened.id, "answered")
    assert "said" not in on_page
    assert on_page.get("corrects") == ({"filter_days": 41} if value == 14 else None)
