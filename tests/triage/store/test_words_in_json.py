"""A database of the first words, opened today: it reads, explains, serves and goes on.

`before_0009.sql` was written by the program as it was before migration 0009: one ticket open after an answer
and a check, one that waits for an approval, one closed on its authorization, and a candidate that was
replayed.
"""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from sqlalchemy import create_engine
from sqlalchemy.exc import IntegrityError

from api.app import create_app
from tests import ROOT
from tests.triage.services import AGENT, FOGLINE, OPS, REPORT, Clock
from tests.triage.store.test_store import differences
from triage.cli.shown.opened import opened_service
from triage.config import Settings, read_settings
from triage.records.payloads import Closed
from triage.service import repairs, requests, tickets
from triage.service.service import Service
from triage.service.what_if import explain
from triage.store import open_store
from triage.store.migrate import alembic_config
from triage.store.tables.column_types import unpack
from triage.values.json_text import from_json

DUMP = Path(__file__).parent / "before_0009.sql"
LIVE = "sha256:bce6cd96fb59afdd927958647255167e530ff1320f9c4ad9e390a9d57fea1ac8"
OLD_KEYS = re.compile(
    r'"(cover|beyond_cover|figures?|authorisation|authorised|cover/[a-z_.]+)":|:"programme"'
)
TURN = {
    "keep_or_swap": {"turning_points": [{"figure": "price", "now": "1", "turns_at": "2"}]},
    "facts": {"cover": {"value": True, "from": "caller"}, "figures": {"value": 3, "from": "caller"}},
}


def stored(path: Path) -> dict[str, list[Any]]:
    """Every row of every table, JSON texts read, numbers kept to the digit."""

    def read(value: object) -> object:
        text = isinstance(value, str) and value[:1] in ("{", "[")
        return json.loads(str(value), parse_float=Decimal) if text else value

    database = sqlite3.connect(path)
    tables = [name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    found = {
        table: [[read(value) for value in row] for row in database.execute(f'SELECT * FROM "{table}"')]
        for table in tables
        if table != "alembic_version"
    }
    database.close()
    return found


def texts(path: Path) -> Iterator[str]:
    database = sqlite3.connect(path)
    yield from (line for line in database.iterdump() if line.startswith("INSERT"))
    database.close()


def repairs_of(path: Path) -> list[tuple[str, str]]:
    database = sqlite3.connect(path)
    rows = database.execute("SELECT id, repair FROM tickets ORDER BY id").fetchall()
    database.close()
    return rows


@pytest.fixture
def path(tmp_path: Path) -> Path:
    database = sqlite3.connect(tmp_path / "old.db")
    database.executescript(DUMP.read_text(encoding="utf-8"))
    database.close()
    return tmp_path / "old.db"


@pytest.fixture
def with_a_turn(path: Path) -> Path:
    """The same with a stored response that has a turning point, and facts whose ids are the old words."""
    database = sqlite3.connect(path)
    body = json.dumps(TURN)[:-1] + ', "exact": 2.1234567890123456789}'
    row = ("desk", "turn", "x", "2026-03-02 17:00:00", 200, "{}", body)
    database.execute("INSERT INTO idempotency_keys VALUES (?, ?, ?, ?, ?, ?, ?)", row)
    database.commit()
    database.close()
    return path


@pytest.fixture
def settings(path: Path) -> Settings:
    names = {"DATABASE": f"sqlite:///{path}", "ENGINE": "plain", "RULEBOOK": str(ROOT / "rules")}
    return read_settings({f"BARRELWISE_{name}": value for name, value in names.items()})


@pytest.fixture
def service(settings: Settings) -> Iterator[Service]:
    clock = Clock()
    clock.move(days=2)
    with opened_service(settings, clock) as opened:
        yield opened


def test_no_old_word_is_left_as_a_key_and_the_log_is_closed_again(path: Path) -> None:
    assert any(OLD_KEYS.search(line) for line in texts(path))
    open_store(f"sqlite:///{path}").close()
    assert [line for line in texts(path) if OLD_KEYS.search(line)] == []
    engine = create_engine(f"sqlite:///{path}")
    with engine.connect() as connection:
        assert differences(connection) == []
        for table in ("events", "rulebook_stages"):
            with pytest.raises(IntegrityError, match="only added to"):
                connection.exec_driver_sql(f"UPDATE {table} SET who = 'nobody'")
    engine.dispose()


def test_the_answer_to_an_estimate_is_called_an_approval(path: Path) -> None:
    words = {id: '"word":' in repair for id, repair in repairs_of(path)}
    assert words == {"T-000001": True, "T-000002": True, "T-000003": True}
    open_store(f"sqlite:///{path}").close()
    for _, repair in repairs_of(path):
        assert "approval" in json.loads(repair)
        assert "word" not in json.loads(repair)


def test_a_turning_point_names_its_number_and_facts_keep_the_ids_their_author_gave(with_a_turn: Path) -> None:
    open_store(f"sqlite:///{with_a_turn}").close()
    (row,) = [row for row in stored(with_a_turn)["idempotency_keys"] if row[1] == "turn"]
    body = from_json(unpack(row[-1]))
    assert body["keep_or_swap"]["turning_points"] == [{"number": "price", "now": "1", "turns_at": "2"}]
    assert body["facts"] == TURN["facts"]
    assert body["exact"] == Decimal("2.1234567890123456789")


def test_the_way_down_gives_back_what_was_there(with_a_turn: Path) -> None:
    path = with_a_turn
    before = stored(path)
    open_store(f"sqlite:///{path}").close()
    assert stored(path) != before
    engine, config = create_engine(f"sqlite:///{path}"), alembic_config()
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "0008")
    engine.dispose()
    assert stored(path) == before


def test_the_live_rulebook_keeps_its_version_and_the_service_starts(service: Service) -> None:
    assert service.rulebook.version == LIVE
    assert set(service.rulebook.warranty) == {"standard"}
    assert requests.health(service)["rulebook"] == LIVE


@pytest.mark.parametrize("ticket", ["T-000001", "T-000002", "T-000003"])
def test_a_decision_made_before_explains_itself(service: Service, ticket: str) -> None:
    found = explain(service, ticket)
    # The rules on dangers came later; the parts that they do not touch come out as they were. So did the
    # spread of a repair's cost within one cause.
    same = ("/causes", "/warranty", "/limit", "/facts", "/expected_cost/dispatch_now")
    differs = [place for place in found.differs if place.startswith(same)]
    assert [place for place in differs if place != "/limit/chance_over"] == []
    assert found.recorded["warranty"]["terms"] == "standard"


def test_what_only_reads_otherwise_is_named_apart(service: Service) -> None:
    """T-000001 was asked about by the first program's words: "A caution hangs on it"."""
    reworded = explain(service, "T-000001").reworded
    assert reworded
    assert all(place.endswith(("/why", "/text")) or place.startswith("/notes") for place in reworded)


def test_a_closed_ticket_tells_what_was_authorized_and_who_paid(service: Service) -> None:
    ticket = tickets.ticket(service, "T-000003", OPS)
    assert ticket.repair.authorization is not None
    assert ticket.repair.authorization.state == "used"
    assert ticket.closed is not None
    (closed,) = [
        each.payload for each in tickets.events(service, "T-000003", OPS) if isinstance(each.payload, Closed)
    ]
    assert closed.authorization == ticket.repair.authorization.number
    assert {line.paid_by for line in closed.bill.lines} == {"program"}


def test_tickets_go_on_where_they_were(service: Service) -> None:
    answered = tickets.answer(service, "T-000001", {"fill_level": 10}, AGENT)
    assert answered.decision is not None
    assert answered.decision["computed_facts"]
    waiting = tickets.ticket(service, "T-000002", OPS)
    assert waiting.repair.estimate is not None
    assert waiting.repair.estimate.answer == "hold"
    yes = {
        "estimate": 1,
        "answer": "yes",
        "authority": "ops_lead",
        "person": "Robin Vale",
        "why": "The only one on the quay.",
    }
    approved = repairs.approve(service, "T-000002", yes, OPS)
    assert approved.repair.authorization is not None
    number = approved.repair.authorization.number
    lines = [{"kind": "trip"}, {"kind": "labor", "hours": 4}]
    closing = {"cause": "dirty_filter", "cured_by": "repair", "lines": lines, "authorization": number}
    assert repairs.close(service, "T-000002", closing, FOGLINE).state == "closed"
    report = {**REPORT, "reported_at": "2026-03-04T11:55:00-05:00"}
    assert tickets.open_ticket(service, report, AGENT).rulebook == LIVE


def test_a_report_sent_again_is_answered_in_todays_words(service: Service) -> None:
    with service.store.write() as work:
        token = work.tokens.add("desk", "agent", None, service.now())
    headers = {"Authorization": f"Bearer {token}", "Idempotency-Key": "call-1"}
    again = create_app(service).test_client().post("/v1/reports", json=REPORT, headers=headers)
    assert (again.status_code, again.headers["Idempotency-Replayed"]) == (201, "true")
    assert "warranty" in again.json["decision"]
    assert "cover" not in again.json["decision"]
