"""Every row of one database in another: sealed as before, compared, and written on."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from tests.triage.services import AGENT, NOON, REPORT, running_service
from triage.cli.main import run
from triage.records.report import CareEvent
from triage.service import tickets
from triage.store import open_store
from triage.store.copies.copying import copy_database
from triage.values.errors import InputError


def seal(url: str) -> str:
    with closing(open_store(url)) as store, store.read() as work:
        assert list(work.verification.findings()) == []
        return work.verification.end


def test_a_copy_is_sealed_as_before_and_is_written_on(tmp_path: Path, store_url: str) -> None:
    (tmp_path / "from").mkdir()
    with running_service(tmp_path / "from") as service:
        ticket = tickets.open_ticket(service, REPORT, AGENT).id
        copied = copy_database(service.store.url, store_url)
        assert {table.table: table.rows for table in copied}["events"] == 2
        assert seal(store_url) == seal(service.store.url)
    back = f"sqlite:///{tmp_path / 'back.db'}"
    assert copy_database(store_url, back) == copied
    with closing(open_store(store_url)) as store:
        with store.read() as work:
            care = work.care.history("LH20-1").care
        later = [CareEvent("filter_cleaned", NOON, "store")]
        with store.write() as work:
            work.care.add_care("LH20-1", later)  # numbered by the database, behind those copied
            assert [event.kind for event in work.tickets.events(ticket)] == ["reported", "decided"]
        with store.read() as work:
            assert len(work.care.history("LH20-1").care) == len(care) + 1


def test_nothing_is_copied_over_what_is_there(tmp_path: Path) -> None:
    with (
        running_service(tmp_path) as service,
        pytest.raises(InputError, match=r"not empty \(contractors has rows\)"),
    ):
        copy_database(service.store.url, service.store.url)


def test_what_comes_out_otherwise_is_told_and_not_kept(tmp_path: Path) -> None:
    to = tmp_path / "to.db"
    open_store(f"sqlite:///{to}").close()
    with closing(sqlite3.connect(to)) as database:
        database.execute("CREATE TRIGGER spoil AFTER INSERT ON sites BEGIN UPDATE sites SET town = 'x'; END")
    with running_service(tmp_path) as service, pytest.raises(InputError, match="sites: 2 rows"):
        copy_database(service.store.url, f"sqlite:///{to}")
    engine = create_engine(f"sqlite:///{to}")
    with engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM contractors")).scalar_one() == 0
    engine.dispose()


def test_the_command_says_what_it_compared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with running_service(tmp_path) as service:
        monkeypatch.setenv("BARRELWISE_DATABASE", service.store.url)
        assert run(["copy", f"sqlite:///{tmp_path / 'to.db'}"]) == 0
        assert "rows, the same on both sides" in capsys.readouterr().out
        assert run(["copy", f"sqlite:///{tmp_path / 'to.db'}"]) == 2
        assert "not empty" in capsys.readouterr().err
        assert run(["copy", "no-url"]) == 2
        assert "database URL cannot be used" in capsys.readouterr().err
