"""What callers said is erased wherever it lies; what was decided stays, and the chain still holds."""

from __future__ import annotations

import gzip
import logging
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import create_engine, inspect, text
from sqlalchemy.exc import DBAPIError

from api.app import create_app
from tests.triage.services import AGENT, NOON, OPS, REPORT, Clock, running_service
from triage.cli.main import run
from triage.records.callers_words import ERASED, apart, together
from triage.service import calls, repairs, tickets
from triage.service.photos import kept as photos
from triage.service.service import Service
from triage.service.what_if import explain
from triage.store.tables.column_types import unpack
from triage.store.tables.idempotency import StoredResponse
from triage.values.errors import ConflictError

PERSONAL = ("Ida Quill", "0134", "humming like a choir", "Bram the porter")
CALL = {**REPORT, "caller": "Ida Quill", "phone": "555-0134", "note": "it is humming like a choir"}
DONE = {"cause": "dirty_filter", "cured_by": "rinse-filter"}


@pytest.fixture
def service(store_url: str, tmp_path: Path) -> Iterator[Service]:
    """T-000001 is closed, T-000002 open; both from the same caller, with words everywhere."""
    with running_service(tmp_path, Clock(), url=store_url) as running:
        for number in (1, 2):
            id_ = tickets.open_ticket(running, CALL, AGENT).id
            calls.add_details(running, id_, {"note": "ask Bram the porter, it is loud"}, AGENT, None)
            photos.add(running, id_, picture(number), AGENT)
            with running.store.write() as work:
                kept = StoredResponse("x", 201, {}, {"ticket": id_, "report": CALL})
                work.responses.keep("desk", f"key-{id_}", kept, running.now())
        repairs.close(running, "T-000001", DONE, AGENT, None)
        yield running


def picture(shade: int) -> bytes:
    made = BytesIO()
    Image.new("RGB", (64, 64), (shade, shade, shade)).save(made, "JPEG")
    return made.getvalue()


def said(url: str, ticket: str) -> list[str]:
    """Where in any table a word of the caller's stands in a row that names the ticket."""
    engine, found = create_engine(url), []
    with engine.connect() as connection:
        for table in inspect(engine).get_table_names():
            for row in connection.execute(text(f"SELECT * FROM {table}")).mappings():
                shown = " ".join(readable(value) for value in row.values())
                if ticket in shown and any(each.lower() in shown.lower() for each in PERSONAL):
                    found.append(table)
    engine.dispose()
    return sorted(set(found))


def readable(value: object) -> str:
    if not isinstance(value, bytes | memoryview):
        return str(value)
    held = bytes(value)
    for start in (0, 16):  # words follow their salt
        try:
            return unpack(held[start:])
        except (ValueError, gzip.zlib.error):
            continue
    return ""


def test_of_a_forgotten_ticket_no_word_is_left_and_of_another_all(service: Service) -> None:
    url = service.store.url
    everywhere = ["events", "idempotency_keys", "ticket_terms", "tickets"]
    assert said(url, "T-000001") == said(url, "T-000002") == everywhere
    before = tickets.ticket(service, "T-000001", OPS)
    with service.store.write() as work:
        work.forgetting.forget("T-000001", "asked for", NOON, "operator")
    assert said(url, "T-000001") == []
    assert said(url, "T-000002") == everywhere
    after = tickets.ticket(service, "T-000001", OPS)
    assert (after.caller, after.phone) == (ERASED, ERASED)
    assert (after.version, after.state, after.closed) == (before.version + 1, "closed", before.closed)
    assert (after.outcome, after.decision["causes"]) == (before.outcome, before.decision["causes"])
    last = tickets.events(service, "T-000001", OPS)[-1].payload
    assert (last.kind, last.why, last.photos) == ("forgotten", "asked for", 1)
    assert photos.photos(service, "T-000001", OPS) == ()
    assert tickets.ticket(service, "T-000002", OPS).caller == "Ida Quill"
    with service.store.read() as work:
        assert list(work.verification.findings()) == []
        assert [one.key[0] for one in work.recorded.newest(9)] == ["T-000002"]
        assert work.desk.listed("all", NOON, {"words": "quill"})[0].id == "T-000002"


def test_a_forgotten_ticket_can_still_be_read_explained_and_reopened(service: Service) -> None:
    with service.store.write() as work:
        work.forgetting.forget("T-000001", "asked for", NOON, "operator")
    assert explain(service, "T-000001").identical
    repairs.reopen(service, "T-000001", "it is warm again", AGENT, None)
    assert tickets.ticket(service, "T-000001", OPS).state == "open"


def test_an_open_ticket_is_kept(service: Service) -> None:
    with pytest.raises(ConflictError, match="is open"), service.store.write() as work:
        work.forgetting.forget("T-000002", "asked for", NOON, "operator")
    assert tickets.ticket(service, "T-000002", OPS).phone == "555-0134"


def test_words_cannot_be_erased_unseen_nor_put_back(service: Service) -> None:
    engine = create_engine(service.store.url)
    with pytest.raises(DBAPIError, match="only added to"), engine.begin() as connection:
        connection.execute(text("UPDATE events SET words = :new"), {"new": b"x" * 32})
    engine.dispose()


def test_which_tickets_have_anything_to_erase(service: Service) -> None:
    with service.store.write() as work:
        assert work.forgetting.remembered(phone="5550134") == ("T-000001", "T-000002")
        assert work.forgetting.remembered(phone="555-0199") == ()
        assert work.forgetting.remembered(before=NOON) == ()
        later = NOON.replace(year=2027)
        assert work.forgetting.remembered(before=later) == ("T-000001",)
        work.forgetting.forget("T-000001", "age", NOON, "operator")
        assert work.forgetting.remembered(before=later) == ()


def test_the_command(
    service: Service, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BARRELWISE_DATABASE", service.store.url)
    assert run(["forget", "--yes"]) == 2
    assert run(["forget", "T-000009", "--yes"]) == 2
    assert run(["forget", "--phone", "none", "--yes"]) == 2
    capsys.readouterr()
    assert run(["forget", "--phone", "555 0134", "--yes", "--json"]) == 1
    assert '"erased": [\n    "T-000001"\n  ]' in capsys.readouterr().out
    assert said(service.store.url, "T-000001") == []
    assert run(["forget", "--older-than", "30", "--yes"]) == 0


def test_an_event_is_put_together_as_it_was() -> None:
    data = {
        "decision": {"facts": {"smell": {"quote": "it stinks", "value": True}}, "notes": ["Keep away."]},
        "inputs": {
            "report": CALL,
            "machine": {"site": {"phone": "555-0101"}},
            "dangers": {"said": ["a", "b"], "misheard": [{"facts": ["x"], "quotes": ["c"], "texts": 1}]},
        },
    }
    log, words = apart("decided", data)
    assert {text for *_, text in words} == {
        "it stinks",
        *(str(CALL[name]) for name in ("caller", "phone", "note")),
        *"abc",
    }
    assert log["inputs"]["machine"] == data["inputs"]["machine"]
    assert together(log, words) == data
    assert apart("closed", {"note": "new belt"}) == ({"note": "new belt"}, [])


def test_no_log_of_the_program_says_what_a_caller_said(
    service: Service, caplog: pytest.LogCaptureFixture
) -> None:
    """Not when a request is carried out, nor when it is refused, nor when the database fails half way."""
    caplog.set_level(logging.DEBUG)
    with service.store.write() as work:
        token = work.tokens.add("desk-2", "agent", None, NOON)
    client = create_app(service).test_client()
    headers = {"Authorization": f"Bearer {token}"}
    answers = [
        client.post("/v1/reports", json=CALL, headers=headers | {"Idempotency-Key": "1"}),
        client.post("/v1/reports", json={**CALL, "symptoms": ["Ida Quill"]}, headers=headers),
        client.get("/v1/tickets", query_string={"caller": "Ida Quill"}, headers=headers),
    ]
    with service.store.write() as work:
        work.tickets._session.connection().exec_driver_sql("ALTER TABLE ticket_terms RENAME TO gone")
    answers.append(client.post("/v1/reports", json=CALL, headers=headers | {"Idempotency-Key": "2"}))
    with service.store.write() as work:
        work.tickets._session.connection().exec_driver_sql("ALTER TABLE gone RENAME TO ticket_terms")
    assert [answer.status_code for answer in answers] == [201, 422, 422, 500]
    assert "ticket_terms" in caplog.text
    assert not any(each in caplog.text for each in PERSONAL)
