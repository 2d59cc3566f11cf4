"""Whatever is done to the log by SQL, behind the program's back, is found and named, on both databases."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import Connection, Engine, create_engine, text

from tests.triage.services import AGENT, REPORT, running_service
from triage.cli.main import run
from triage.service import tickets
from triage.store import Store, open_store
from triage.store.migrate import alembic_config
from triage.store.verify import read_seal
from triage.values.errors import InputError

CALL = {**REPORT, "caller": "Ida Quill", "phone": "555-0134", "note": "it hums loudly"}
T1, T2 = "T-000001", "T-000002"
TRIGGERS = ("events_no_update", "events_no_delete", "events_only_erased", "event_chain_no_delete")


@pytest.fixture
def url(store_url: str, tmp_path: Path) -> str:
    """Two tickets of two events each: reported, decided; an answer and its decision on the first."""
    with running_service(tmp_path, url=store_url) as service:
        for _ in range(2):
            tickets.open_ticket(service, CALL, AGENT)
        tickets.answer(service, T1, {"fill_level": 20}, AGENT)
    return store_url


@pytest.fixture
def unlocked(url: str) -> Iterator[Engine]:
    """The database as its owner has it, without the triggers that keep the log."""
    engine = create_engine(url)
    with engine.begin() as connection:
        for name in TRIGGERS:
            on = f" ON {name.partition('_no_')[0].partition('_only_')[0]}"
            connection.exec_driver_sql(f"DROP TRIGGER {name}{on if engine.name == 'postgresql' else ''}")
    yield engine
    engine.dispose()


def findings(url: str, known: str | None = None) -> tuple[list[tuple[str, int, str]], str]:
    with closing(open_store(url)) as store, store.read() as work:
        found = list(work.verification.findings(*([] if known is None else [read_seal(known)])))
        return [(one.ticket, one.seq, one.what) for one in found], work.verification.end


def change(engine: Engine, *statements: str) -> None:
    with engine.begin() as connection:
        for statement in statements:
            connection.execute(text(statement))


def test_a_log_as_it_was_stored_has_no_findings_and_a_seal(url: str) -> None:
    found, end = findings(url)
    assert found == []
    assert end.startswith("6:")
    assert findings(url, end) == ([], end)


ALTERED = "altered, or not in its place"


@pytest.mark.parametrize(
    ("statements", "expected"),
    [
        (["UPDATE events SET who = 'x' WHERE ticket = 'T-000001' AND seq = 2"], [(T1, 2, ALTERED)]),
        (["UPDATE events SET at = '2020-01-01 00:00:00+00:00' WHERE seq = 3"], [(T1, 3, ALTERED)]),
        (["UPDATE events SET kind = 'noted' WHERE seq = 3"], [(T1, 3, ALTERED)]),
        (["UPDATE events SET words_digest = NULL, words = NULL WHERE seq = 1 AND ticket = 'T-000002'"],
         [(T2, 1, ALTERED)]),
        (["UPDATE events SET words = NULL WHERE seq = 1 AND ticket = 'T-000002'"],
         [(T2, 1, "the caller's words are missing")]),
        (["DELETE FROM events WHERE ticket = 'T-000001' AND seq = 2"], [(T1, 2, "missing")]),
        (["DELETE FROM events WHERE ticket = 'T-000002'"],
         [(T2, 1, "missing"), (T2, 2, "missing"),
          (T2, 0, "the ticket is at version 2, its log ends with event 0")]),
        (["DELETE FROM events WHERE seq = 4"],
         [(T1, 4, "missing"), (T1, 3, "the ticket is at version 4, its log ends with event 3")]),
        (["DELETE FROM events WHERE seq = 4", "DELETE FROM event_chain WHERE seq = 4"],
         [(T1, 3, "the ticket is at version 4, its log ends with event 3")]),
        (["DELETE FROM event_chain WHERE number = 3"],
         [("", 0, "numbers 3 to 3 of the chain are missing"), (T2, 1, "added")]),
        (["UPDATE events SET seq = 9 WHERE ticket = 'T-000001' AND seq = 3",
          "UPDATE events SET seq = 3 WHERE ticket = 'T-000001' AND seq = 1",
          "UPDATE events SET seq = 1 WHERE ticket = 'T-000001' AND seq = 9"],
         [(T1, 1, ALTERED), (T1, 3, ALTERED)]),
        (["INSERT INTO events (ticket, seq, kind, at, who, rulebook, payload) "
          "SELECT ticket, 5, kind, at, who, rulebook, payload FROM events WHERE seq = 3"],
         [(T1, 5, "added"), (T1, 5, "the ticket is at version 4, its log ends with event 5")]),
    ],
)  # fmt: skip
def test_what_is_done_to_the_log_is_named(
    url: str, unlocked: Engine, statements: list[str], expected: list[tuple[str, int, str]]
) -> None:
    change(unlocked, *statements)
    assert findings(url)[0] == expected


@pytest.mark.parametrize(("column", "what"), [("payload", "altered|damaged"), ("words", "words are altered")])
def test_one_changed_byte_of_what_was_said_or_decided_is_found(
    url: str, unlocked: Engine, column: str, what: str
) -> None:
    where = "WHERE ticket = 'T-000002' AND seq = 2"
    with unlocked.begin() as connection:
        stored = bytearray(connection.execute(text(f"SELECT {column} FROM events {where}")).scalar_one())
        stored[len(stored) // 2] ^= 1
        connection.execute(text(f"UPDATE events SET {column} = :new {where}"), {"new": bytes(stored)})
    ((ticket, seq, found),) = findings(url)[0]
    assert (ticket, seq) == (T2, 2)
    assert any(word in found for word in what.split("|"))


def test_a_whole_new_chain_is_told_from_the_one_that_was_noted(url: str, unlocked: Engine) -> None:
    """Who can rewrite everything can make a chain that holds, but not the one whose seal lies elsewhere."""
    _, known = findings(url)
    change(
        unlocked,
        "DELETE FROM events WHERE seq > 2",
        "DELETE FROM event_chain WHERE seq > 2",
        "UPDATE tickets SET version = 2",
    )
    assert findings(url)[0] == []
    assert findings(url, known)[0] == [("", 0, "numbers 5 to 6 of the chain are missing")]
    assert findings(url, f"4:{'0' * 64}")[0] == [
        ("", 0, "up to number 4 the chain is not the one that was noted")
    ]


@pytest.mark.parametrize("known", ["", "12", "12:xyz", f"-1:{'0' * 64}", f"1:{'0' * 63}"])
def test_what_is_no_seal_says_so(known: str) -> None:
    with pytest.raises(InputError, match="is no seal"):
        read_seal(known)


def test_events_of_before_the_chain_are_sealed_and_read_the_same(url: str) -> None:
    def logs(store: Store) -> list[object]:
        with store.read() as work:
            return [work.tickets.events(T1), work.tickets.events(T2), work.tickets.get(T1)]

    with closing(open_store(url)) as store:
        before = logs(store)
    engine = create_engine(url)
    with engine.begin() as connection:
        to(connection, command.downgrade, "0026")
        plain = connection.execute(text("SELECT payload FROM events WHERE ticket = 'T-000001' AND seq = 1"))
        assert "Ida Quill" in plain.scalar_one()
    engine.dispose()
    with closing(open_store(url)) as store:
        assert logs(store) == before
    found, end = findings(url)
    assert found == []
    assert end.startswith("6:")


def to(connection: Connection, step: Callable[..., None], revision: str) -> None:
    config = alembic_config()
    config.attributes["connection"] = connection
    step(config, revision)


def test_the_command_says_what_it_found(
    url: str, unlocked: Engine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BARRELWISE_DATABASE", url)
    assert run(["verify"]) == 0
    assert "6 events, 0 findings; the chain ends at 6:" in capsys.readouterr().out
    change(unlocked, "DELETE FROM events WHERE ticket = 'T-000001' AND seq = 2")
    assert run(["verify", "--json"]) == 1
    assert '"what": "missing"' in capsys.readouterr().out
    assert run(["verify", "--known", "nonsense"]) == 2
