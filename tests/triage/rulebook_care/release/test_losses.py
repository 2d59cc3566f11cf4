"""A weaker rulebook is told at every step of its way, recorded tickets or not, and accepted loss by loss."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests.triage.rulebook_care.recorded_log import LATER, Log, recorded_log
from tests.triage.rulebook_care.safety.default_files import (
    WEAKER,
    Files,
    default_files,
    with_value,
    without_key,
)
from tests.triage.services import NOON, rulebook_files
from triage.rulebook.reading.reader import version_of
from triage.rulebook_care.editing.candidate import refuse_bad
from triage.rulebook_care.release import gates, publishing
from triage.rulebook_care.release.losses import SEVERAL, losses_against_live, seen_in_replay
from triage.rulebook_care.release.outcome_view import LostSafety
from triage.rulebook_care.release.piece import ReplayJob
from triage.rulebook_care.release.publishing import check_candidate, note_replay, publish, rollback
from triage.rulebook_care.release.replay import as_data, replay
from triage.rulebook_care.release.runners import here
from triage.rulebook_care.release.tally import Lost
from triage.store import Store, open_store
from triage.store.tables.rulebooks import Publication, Stage
from triage.values.errors import ConflictError, InputError

NOTE = "Tried."
LIVE = default_files()
WITHOUT_CORD = {path: data for path, data in rulebook_files().items() if path != "cautions/damaged-cord.yml"}
RENAMED = rulebook_files(**{"rulebook.yml": {"title": "Renamed", "currency": "USD"}})


@pytest.fixture
def store() -> Iterator[Store]:
    """A fresh program with the default rulebook live, and no ticket."""
    opened = open_store("sqlite://")
    with opened.write() as work:
        version = version_of(LIVE)
        work.rulebooks.keep(version, LIVE)
        work.rulebooks.publish(Publication(version, NOON, "lead", "The first."))
    yield opened
    opened.close()


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with recorded_log(tmp_path) as running:
        yield running


def checked(store: Store, files: Files) -> str:
    """As `check_candidate` leaves it, without the child process."""
    version = version_of(files)
    with store.write() as work:
        work.rulebooks.keep(version, files)
        work.rulebooks.add_stage(Stage(version, "checked", NOON, "lead", {"title": "A candidate"}))
    return version


def replayed(store: Store, version: str, days: int | None = None) -> dict[str, object]:
    since = None if days is None else LATER + timedelta(days=days)
    job = ReplayJob(store.url, publishing.live(store).version, version, since, LATER)
    found = replay(store, job, here(store))
    note_replay(store, found, "lead", NOON)
    return as_data(found)


@pytest.mark.parametrize("way", WEAKER)
def test_each_way_of_weakening_is_told_at_every_step_and_accepted_by_its_id(store: Store, way: str) -> None:
    edit, file, words = WEAKER[way]
    version = checked(store, default_files(edit))
    losses = losses_against_live(store, version)
    assert any(loss.edit == file and words in loss.what for loss in losses)
    found = replayed(store, version)
    assert found["losses"] == [loss.as_data() for loss in losses]
    dangerous = gates.failed_danger_cases_of(store, version)
    with pytest.raises(ConflictError) as refused:
        publish(store, version, "lead", NOTE, NOON)
    reasons = {loss.id: "The landlord sees to it." for loss in losses}
    if dangerous:
        assert [problem.message for problem in refused.value.problems] == dangerous
        with pytest.raises(ConflictError):
            publish(store, version, "lead", NOTE, NOON, reasons)
        return
    assert [str(loss) for loss in losses] == [each.message for each in refused.value.problems[1:]]
    publish(store, version, "lead", NOTE, NOON, reasons)
    accepted = [line.note for line in publishing.log(store) if line.stage == "accepted"]
    assert sorted(accepted) == sorted(
        f"{loss}. Accepted because: The landlord sees to it." for loss in losses
    )


def test_what_disarms_shock_is_published_by_nobody(store: Store) -> None:
    edits = [
        without_key(f"cautions/{name}.yml", "then", key)
        for name in ("shock-felt", "tingling-reported")
        for key in ("stop_use", "forbids")
    ]
    version = checked(store, default_files(*edits))
    replayed(store, version, days=25_000)
    reasons = {loss.id: "Meant." for loss in losses_against_live(store, version)}
    assert len(reasons) == 4
    with pytest.raises(ConflictError, match="danger case “Somebody felt a shock”"):
        publish(store, version, "lead", NOTE, NOON, reasons)


def test_a_fresh_program_without_tickets_publishes_on_the_danger_cases(store: Store) -> None:
    version = checked(store, default_files(with_value("Another", "rulebook.yml", "title")))
    with pytest.raises(ConflictError, match="was not replayed"):
        publish(store, version, "lead", NOTE, NOON)
    assert replayed(store, version)["losses"] == []
    publish(store, version, "lead", NOTE, NOON)
    assert publishing.live(store).version == version


def test_every_loss_needs_a_reason_of_its_own(log: Log) -> None:
    store = log.service.store
    version = checked(store, WITHOUT_CORD)
    replayed(store, version)
    losses = [
        loss for loss in losses_against_live(store, version) if loss.edit == "cautions/damaged-cord.yml"
    ]
    with pytest.raises(ConflictError) as refused:
        publish(store, version, "lead", NOTE, NOON, {losses[0].id: "Seen to."}, "send it")
    left = [problem.message for problem in refused.value.problems]
    assert left[0].endswith("send it only if it is meant")
    assert not any(losses[0].id in message for message in left)
    ids = [message.split()[0] for message in left[1:]]
    assert ids
    reasons = dict.fromkeys([losses[0].id, *ids], "Seen to.")
    for wrong, pointer in (({**reasons, ids[0]: " "}, ids[0]), ({**reasons, "L-none": "So."}, "L-none")):
        with pytest.raises(InputError) as raised:
            publish(store, version, "lead", NOTE, NOON, wrong)
        assert [problem.pointer for problem in raised.value.problems] == [f"/accept/{pointer}"]
    publish(store, version, "lead", NOTE, NOON, reasons)
    assert publishing.live(store).version == version


def test_an_empty_or_narrow_replay_does_not_count(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    store = log.service.store
    version = checked(store, RENAMED)
    replayed(store, version, days=25_000)
    with pytest.raises(ConflictError, match="the replay saw 0 of 6 decided tickets"):
        publish(store, version, "lead", NOTE, NOON)
    monkeypatch.setattr(gates, "ENOUGH_TICKETS", 7)
    with pytest.raises(ConflictError, match="replay all of them, or the newest 7"):
        publish(store, version, "lead", NOTE, NOON)
    replayed(store, version)
    replayed(store, version, days=25_000)  # a narrow one after a whole one takes nothing away
    publish(store, version, "lead", NOTE, NOON)


def test_a_replay_grows_too_old_for_the_tickets_that_came_since(log: Log) -> None:
    store = log.service.store
    version = checked(store, RENAMED)
    job = ReplayJob(
        store.url, publishing.live(store).version, version, None, NOON - timedelta(days=3)
    )  # before any ticket
    note_replay(store, replay(store, job, here(store)), "lead", NOON)
    with pytest.raises(ConflictError, match="the replay saw 0 of 6 decided tickets"):
        publish(store, version, "lead", NOTE, NOON + timedelta(days=2))


def test_a_rollback_writes_down_what_it_takes_away(log: Log) -> None:
    store = log.service.store
    version = checked(store, WITHOUT_CORD)
    replayed(store, version)
    with pytest.raises(ConflictError) as refused:
        publish(store, version, "lead", NOTE, NOON)
    ids = [problem.message.split()[0] for problem in refused.value.problems[1:]]
    first = publishing.live(store).version
    publish(store, version, "lead", NOTE, NOON, dict.fromkeys(ids, "Seen to."))
    rollback(store, first, "lead", "Back.", NOON + timedelta(minutes=1))
    rollback(store, version, "lead", "Forth.", NOON + timedelta(minutes=2))
    lines = [line for line in publishing.log(store) if line.at == NOON + timedelta(minutes=2)]
    assert [line.stage for line in lines] == ["rolled back", "accepted"]
    assert "“Damaged cord” is taken out. Accepted because: rolled back: Forth." in lines[1].note


def test_losses_of_single_decisions_are_laid_to_an_edit_and_counted_once() -> None:
    lost = [
        Lost((f"T-{number}", 1), LostSafety("check without its caution", "thaw: unplug-first"))
        for number in range(7)
    ]
    lost += [
        Lost(("T-1", 1), LostSafety("use no longer stopped", "hot-plug, shock-felt")),
        Lost(("T-1", 1), LostSafety("visit less urgent", "priority 1 → 3")),
    ]
    found = seen_in_replay(lost, {"cautions/shock-felt.yml", "checks/thaw.yml"})
    assert [(loss.edit, loss.decisions, len(loss.tickets)) for loss in found] == [
        ("cautions/shock-felt.yml", 1, 1),
        ("checks/thaw.yml", 7, 5),
        (SEVERAL, 1, 1),
    ]
    assert found[1].seen == " (in 7 decisions: T-0, T-1, T-2, T-3, T-4 and others)"
    unnamed = seen_in_replay(lost[:1], set())
    assert unnamed[0].edit == "cautions/unplug-first.yml"


def test_a_candidate_that_fails_a_danger_case_is_refused_when_it_is_checked(store: Store) -> None:
    weak = default_files(with_value("retired", "cautions/hot-plug.yml", "status"))
    with pytest.raises(InputError, match="danger case “The plug or cord is hot”"):
        refuse_bad(weak, "plain", seconds=300, bound=gates.bound_by_live(store))
    version = checked(store, weak)
    with pytest.raises(InputError, match="danger case “The plug or cord is hot”"):
        check_candidate(store, weak, "lead", NOON)
    assert publishing.is_checked(store, version)
