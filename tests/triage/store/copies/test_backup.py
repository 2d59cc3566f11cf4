"""A copy made while tickets are written holds all that were stored before, and goes back."""

import sqlite3
import threading
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from tests.triage.services import AGENT, NOON, REPORT, running_service
from triage.cli.main import run
from triage.service import tickets
from triage.store import open_store
from triage.store.copies.backup import back_up, restore
from triage.store.tables.idempotency import KEPT, StoredResponse
from triage.values.errors import InputError


def test_what_was_stored_before_a_copy_is_in_it_while_others_write(tmp_path: Path) -> None:
    copies: list[tuple[list[str], Path]] = []
    with running_service(tmp_path) as service:
        stored: list[str] = []
        enough, stop = threading.Event(), threading.Event()

        def write() -> None:
            while not stop.is_set():
                stored.append(tickets.open_ticket(service, REPORT, AGENT).id)
                if len(stored) % 3 == 0:
                    enough.set()

        writer = threading.Thread(target=write)
        writer.start()
        try:
            for number in range(3):
                assert enough.wait(60)
                enough.clear()
                before, to = list(stored), tmp_path / f"copy-{number}.db"
                assert back_up(service.store.url, to) >= len(before)
                copies.append((before, to))
        finally:
            stop.set()
            writer.join()
    assert not list(tmp_path.glob("*.part"))
    for number, (before, copy) in enumerate(copies):
        assert copy.stat().st_mode & 0o077 == 0
        url = f"sqlite:///{tmp_path / f'back-{number}.db'}"
        restore(url, copy)
        with closing(open_store(url)) as store, store.read() as work:
            logs = [[event.kind for event in work.tickets.events(ticket)] for ticket in before]
        assert logs == [["reported", "decided"]] * len(before)


def test_a_copy_never_takes_the_place_of_a_file(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'a.db'}"
    open_store(url).close()
    back_up(url, tmp_path / "copy.db")
    with pytest.raises(InputError, match="is there already"):
        back_up(url, tmp_path / "copy.db")
    with pytest.raises(InputError, match="is there already"):
        restore(url, tmp_path / "copy.db")


def test_a_damaged_copy_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    url, copy = f"sqlite:///{tmp_path / 'a.db'}", tmp_path / "copy.db"
    open_store(url).close()
    back_up(url, copy)
    content = bytearray(copy.read_bytes())
    content[8192:16384] = b"\x00" * 8192
    copy.write_bytes(content)
    other = f"sqlite:///{tmp_path / 'b.db'}"
    with pytest.raises(InputError, match=r"damaged|cannot be copied"):
        restore(other, copy)
    assert not (tmp_path / "b.db").exists()


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("postgresql+psycopg://x/y", "pg_dump"),
        ("sqlite://", "only a database in a file"),
        ("sqlite:////nowhere/x.db", "is not there"),
    ],
)
def test_what_cannot_be_copied_says_why(tmp_path: Path, url: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        back_up(url, tmp_path / "copy.db")


def test_another_programs_database_is_not_put_back(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "other.db")) as other:
        other.execute("CREATE TABLE things (id)")
    with pytest.raises(InputError, match="no database of this program"):
        restore(f"sqlite:///{tmp_path / 'a.db'}", tmp_path / "other.db")


def test_the_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    url = f"sqlite:///{tmp_path / 'a.db'}"
    open_store(url).close()
    monkeypatch.setenv("BARRELWISE_DATABASE", url)
    assert run(["backup", str(tmp_path / "copy.db")]) == 0
    assert run(["restore", str(tmp_path / "copy.db")]) == 2
    (tmp_path / "a.db").unlink()
    assert run(["restore", str(tmp_path / "copy.db")]) == 0
    assert "0 tickets are back" in capsys.readouterr().out


def test_a_key_is_kept_for_a_week(store_url: str) -> None:
    answer = StoredResponse("hash", 201, {}, {})
    with closing(open_store(store_url)) as store:
        for name, at in (("old", NOON), ("young", NOON + timedelta(days=1))):
            with store.write() as work:
                work.responses.keep("desk", name, answer, at)
        with store.write() as work:
            work.responses.keep("desk", "new", answer, NOON + KEPT + timedelta(seconds=1))
            assert [work.responses.find("desk", name) is None for name in ("old", "young", "new")] == [
                True,
                False,
                False,
            ]
