"""A rulebook's way into force: checked, replayed, published by a named person; and back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from tests.triage.rulebook_care.recorded_log import Log, recorded_log
from tests.triage.services import AGENT, NOON, REPORT, rulebook_files
from triage.rulebook.reading.reader import version_of
from triage.rulebook_care.editing.candidate import refuse_bad
from triage.rulebook_care.release import publishing
from triage.rulebook_care.release.gates import agree, needs_second
from triage.rulebook_care.release.publishing import (
    check_candidate,
    kept_version,
    note_replay,
    publish,
    rollback,
)
from triage.rulebook_care.release.replay import replay
from triage.rulebook_care.release.runners import here
from triage.rulebook_care.release.scheduling import publish_due, schedule
from triage.service import rulebooks, tickets, what_if
from triage.store.tables.rulebooks import Stage
from triage.values.errors import ConflictError, InputError, NotFoundError

RENAMED = rulebook_files(**{"rulebook.yml": {"title": "Renamed", "currency": "USD"}})
CARELESS = {
    path: data
    for path, data in rulebook_files().items()
    if path not in ("cautions/damaged-cord.yml", "policy/cord-dispatch.yml")
}
NOTE = "Renamed."


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with recorded_log(tmp_path) as running:
        yield running


def checked(log: Log, files: dict[str, object]) -> str:
    """As `check_candidate` leaves it, without the child process."""
    version = log.keep(files)
    with log.service.store.write() as work:
        work.rulebooks.add_stage(Stage(version, "checked", NOON, "lead", {"title": "Renamed"}))
    return version


def replayed(log: Log, files: dict[str, object]) -> str:
    version = checked(log, files)
    store = log.service.store
    note_replay(store, replay(store, log.job(files), here(store)), "lead", NOON)
    return version


def published(log: Log, files: dict[str, object], minutes: int = 1) -> str:
    version = replayed(log, files)
    publish(log.service.store, version, "lead", NOTE, NOON + timedelta(minutes=minutes))
    log.service.refresh()
    return version


def test_a_checked_and_replayed_rulebook_is_published_and_serves(log: Log) -> None:
    before = log.service.rulebook.version
    version = published(log, RENAMED)
    assert version == version_of(RENAMED) != before
    assert log.service.rulebook.version == version
    assert tickets.open_ticket(log.service, REPORT, AGENT).rulebook == version


def test_a_good_candidate_is_kept_and_noted_once(log: Log) -> None:
    store = log.service.store
    assert check_candidate(store, RENAMED, "lead", NOON) == version_of(RENAMED)
    assert check_candidate(store, RENAMED, "another", NOON) == version_of(RENAMED)
    with store.read() as work:
        assert work.rulebooks.stages() == (
            Stage(version_of(RENAMED), "checked", NOON, "lead", {"title": "Renamed"}),
        )


def test_every_step_is_written_down_newest_first(log: Log) -> None:
    before = log.service.rulebook.version
    version = published(log, RENAMED)
    rollback(log.service.store, None, "lead", "Too early.", NOON + timedelta(minutes=2))
    lines = publishing.log(log.service.store)
    assert [(line.stage, line.version, line.who) for line in lines] == [
        ("rolled back", before, "lead"),
        ("published", version, "lead"),
        ("published", before, "operator"),
        ("replayed", version, "lead"),
        ("checked", version, "lead"),
    ]
    assert [line.note for line in lines[:3]] == ["Too early.", NOTE, "read at start"]
    assert lines[3].note.startswith("0 of 7 decisions change, 0 safety outcomes lost, against sha256:")
    assert lines[4].note == "Renamed"


def test_what_was_not_checked_is_not_published(log: Log) -> None:
    store = log.service.store
    with pytest.raises(NotFoundError, match="no rulebook sha256:none is kept"):
        publish(store, "sha256:none", "lead", NOTE, NOON)
    with pytest.raises(ConflictError, match="was not checked"):
        publish(store, log.keep(RENAMED), "lead", NOTE, NOON)


def test_what_was_not_replayed_against_the_live_version_is_not_published(log: Log) -> None:
    store = log.service.store
    version = checked(log, RENAMED)
    with pytest.raises(ConflictError, match="was not replayed against the live version"):
        publish(store, version, "lead", NOTE, NOON)
    other = rulebook_files(**{"rulebook.yml": {"title": "Another", "currency": "USD"}})
    replayed(log, RENAMED)  # against the first
    published(log, other)
    with pytest.raises(ConflictError, match="was not replayed against the live version"):
        publish(store, version, "lead", NOTE, NOON)


def test_lost_safety_is_published_only_by_someone_who_says_so(log: Log) -> None:
    store = log.service.store
    version = replayed(log, CARELESS)
    with pytest.raises(ConflictError, match="safety losses are not accepted") as refused:
        publish(store, version, "lead", NOTE, NOON)
    ids = [problem.message.split()[0] for problem in refused.value.problems[1:]]
    reasons = dict.fromkeys(ids, "Cords are seen to by the landlord.")
    publish(store, version, "lead", NOTE, NOON, reasons)
    assert publishing.live(store).version == version


def test_what_is_live_is_not_published_again(log: Log) -> None:
    with pytest.raises(ConflictError, match="live already"):
        publish(log.service.store, published(log, RENAMED), "lead", NOTE, NOON)


@pytest.mark.parametrize(
    ("by", "note", "wrong"), [("", "x", "/by"), ("lead", " ", "/note"), ("a\nb", "x", "/by")]
)
def test_a_publication_has_a_name_and_a_note(log: Log, by: str, note: str, wrong: str) -> None:
    version = replayed(log, RENAMED)
    for act in (publish, rollback):
        with pytest.raises(InputError) as raised:
            act(log.service.store, version, by, note, NOON)
        assert [problem.pointer for problem in raised.value.problems] == [wrong]
    assert publishing.live(log.service.store).version == log.service.rulebook.version


def test_a_rollback_goes_to_any_version_that_was_live(log: Log) -> None:
    store, first = log.service.store, log.service.rulebook.version
    second = published(log, RENAMED, 1)
    assert rollback(store, None, "lead", "Back.", NOON + timedelta(minutes=2)).version == first
    assert rollback(store, second, "lead", "Forth.", NOON + timedelta(minutes=3)).version == second
    log.service.refresh()
    assert log.service.rulebook.version == second


def test_a_rollback_goes_nowhere_else(log: Log) -> None:
    store = log.service.store
    with pytest.raises(NotFoundError, match="earlier versions: none"):
        rollback(store, None, "lead", "Back.", NOON)
    kept_only = checked(log, RENAMED)
    with pytest.raises(NotFoundError, match="was not live before"):
        rollback(store, kept_only, "lead", "Back.", NOON)


def test_a_version_is_found_by_its_first_digits(log: Log) -> None:
    store, version = log.service.store, log.service.rulebook.version
    assert kept_version(store, version) == kept_version(store, version[7:15]) == version
    with pytest.raises(NotFoundError, match="no kept rulebook begins so"):
        kept_version(store, "xyz")
    checked(log, RENAMED)
    with pytest.raises(NotFoundError, match="several"):
        kept_version(store, "")


def test_a_decision_of_a_version_rolled_back_from_is_still_explained_as_it_was(log: Log) -> None:
    version = published(log, RENAMED)
    ticket = tickets.open_ticket(log.service, REPORT, AGENT)
    rollback(log.service.store, None, "lead", "Back.", NOON + timedelta(minutes=5))
    log.service.refresh()
    assert log.service.rulebook.version != version
    found = what_if.explain(log.service, ticket.id)
    assert (found.identical, found.rulebook.version) == (True, version)


def wide_rule(name: str, depth: int) -> dict[str, object]:
    """The rule `name`, its condition nested `depth` deep."""
    rule = dict(rulebook_files()["evidence/filter-overdue.yml"])  # type: ignore[call-overload]
    when: object = {"filter_neglected": True}
    for _ in range(depth):
        when = {"any_of": [when]}
    return {**rule, "id": name, "when": when}


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ({**RENAMED, "causes/broken.yml": {"id": "broken"}}, "causes/broken.yml"),
        ({**RENAMED, "evidence/deep.yml": wide_rule("deep", 60)}, "deep"),
        (
            rulebook_files(
                **{
                    "cases/wrong.yml": {
                        **rulebook_files()["cases/overdue-filter.yml"],  # type: ignore[dict-item]
                        "id": "wrong",
                        "expect": {"outcome": "swap"},
                    }
                }
            ),
            "the outcome is fix_in_store, not swap",
        ),
    ],
    ids=["unreadable", "too deep", "a case fails"],
)
def test_a_bad_candidate_is_refused_with_its_reason_and_never_kept(
    log: Log, files: dict[str, object], said: str
) -> None:
    with pytest.raises(InputError, match=said):
        check_candidate(log.service.store, files, "lead", NOON)
    with log.service.store.read() as work:
        assert set(work.rulebooks.versions()) == {log.service.rulebook.version}
        assert work.rulebooks.stages() == ()
    assert tickets.open_ticket(log.service, REPORT, AGENT).rulebook == log.service.rulebook.version


def many_words(symptoms: int) -> dict[str, object]:
    """Symptoms with far more words than anybody says: 4 MB each."""
    symptom = rulebook_files()["symptoms/leaking.yml"]
    assert isinstance(symptom, dict)
    return {
        f"symptoms/s{number}.yml": {**symptom, "id": f"s{number}", "callers_say": ["w" * 2000] * 2000}
        for number in range(symptoms)
    }


def enough_for_a_good_one() -> int:
    """Megabytes; how much the libraries alone take differs from machine to machine."""
    for memory_mb in (400, 800):
        try:
            refuse_bad(RENAMED, memory_mb=memory_mb)
        except InputError:
            continue
        return memory_mb
    refuse_bad(RENAMED, memory_mb=1600)
    return 1600


def test_a_candidate_that_takes_all_memory_is_refused_where_a_good_one_passes() -> None:
    memory_mb = enough_for_a_good_one()
    with pytest.raises(InputError, match=rf"more than {memory_mb} MB|ended by itself"):
        refuse_bad({**RENAMED, **many_words(memory_mb // 20)}, memory_mb=memory_mb)


def five_thousand_rules() -> dict[str, object]:
    return {f"evidence/r{number}.yml": wide_rule(f"r{number}", 1) for number in range(5000)}


def ten_thousand_values() -> dict[str, object]:
    values = ",".join(str(number) for number in range(10_000))
    return {"evidence/wide.yml": {**wide_rule("wide", 0), "when": {"filter_days": values}}}


@pytest.mark.parametrize(
    ("hostile", "seconds", "said"),
    [
        (five_thousand_rules(), 3, "more than 3 seconds"),
        (ten_thousand_values(), 60, "at most 20,000 are read"),
        ({"evidence/deep.yml": wide_rule("deep", 5000)}, 60, "nested too deep"),
    ],
    ids=["5,000 rules", "10,000 values", "deep nesting"],
)
def test_a_candidate_made_to_break_the_engine_is_refused_and_the_live_version_goes_on(
    log: Log, hostile: dict[str, object], seconds: int, said: str
) -> None:
    before = log.service.rulebook.version
    with pytest.raises(InputError, match=said):
        refuse_bad({**RENAMED, **hostile}, seconds=seconds)
    assert tickets.open_ticket(log.service, REPORT, AGENT).rulebook == before


def test_a_candidate_that_takes_too_long_is_refused() -> None:
    with pytest.raises(InputError, match=r"more than 0\.01 seconds"):
        refuse_bad(RENAMED, seconds=0.01)


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (Decimal("0E-300000000"), "between 1e-30 and 1e30"),
        (Decimal("1E+300000000"), "between 1e-30 and 1e30"),
        (Decimal("4" * 400), "at most 28 digits"),
    ],
)
def test_a_number_out_of_all_bounds_is_never_written_out_here(
    log: Log, monkeypatch: pytest.MonkeyPatch, number: Decimal, said: str
) -> None:
    def here(*_: object) -> str:
        raise AssertionError("it was hashed in this process")

    monkeypatch.setattr("triage.rulebook.reading.reader.version_of", here)
    monkeypatch.setattr("triage.rulebook_care.editing.candidate.version_of", here)
    title = {"title": "Renamed", "currency": "USD", "tolerances": {"near_certain": number}}
    with pytest.raises(InputError, match=said):
        check_candidate(log.service.store, {**RENAMED, "rulebook.yml": title}, "lead", NOON)


def test_a_scheduled_version_goes_live_when_it_is_due_and_not_before(log: Log) -> None:
    store, service = log.service.store, log.service
    before, version = service.rulebook.version, replayed(log, RENAMED)
    due = NOON + timedelta(days=30)
    schedule(store, version, "lead", NOTE, due, NOON + timedelta(minutes=1))
    assert publish_due(store, due - timedelta(minutes=1)) is None
    service.refresh()
    assert service.rulebook.version == before
    live = publish_due(store, due)
    assert live is not None
    assert (live.version, live.at, live.published_by, live.note) == (version, due, "lead", NOTE)
    assert publish_due(store, due + timedelta(minutes=1)) is None
    service.refresh()
    assert service.rulebook.version == version
    assert f"goes live on {due.isoformat()}: {NOTE}" in {line.note for line in publishing.log(store)}


def test_what_goes_live_before_cancels_a_schedule(log: Log) -> None:
    store, version = log.service.store, replayed(log, RENAMED)
    due = NOON + timedelta(days=1)
    schedule(store, version, "lead", NOTE, due, NOON + timedelta(minutes=1))
    publish(store, version, "lead", "At once.", NOON + timedelta(minutes=2))
    rollback(store, None, "lead", "Too early.", NOON + timedelta(minutes=3))
    assert publish_due(store, due) is None


def test_a_schedule_that_is_refused_when_due_says_why_and_is_not_tried_again(log: Log) -> None:
    store, version = log.service.store, replayed(log, RENAMED)
    with store.write() as work:
        details = {"at": NOON.isoformat(), "note": NOTE, "accept": {"L-0": "not there"}}
        work.rulebooks.add_stage(Stage(version, "scheduled", NOON, "lead", details))
    assert publish_due(store, NOON + timedelta(minutes=5)) is None
    first = publishing.log(store)[0]
    assert (first.stage, "L-0 is no loss" in first.note) == ("unscheduled", True)
    assert publish_due(store, NOON + timedelta(minutes=6)) is None
    assert publishing.log(store)[0] == first


def test_a_schedule_asks_at_once_what_publishing_asks(log: Log) -> None:
    store = log.service.store
    with pytest.raises(ConflictError, match="was not checked"):
        schedule(store, log.keep(RENAMED), "lead", NOTE, NOON + timedelta(days=1), NOON)
    with pytest.raises(InputError, match="is past"):
        schedule(store, log.keep(RENAMED), "lead", NOTE, NOON, NOON)
    with pytest.raises(ConflictError):
        schedule(store, replayed(log, CARELESS), "lead", NOTE, NOON + timedelta(days=1), NOON)


def test_going_back_to_the_live_version_says_that_it_is_live(log: Log) -> None:
    version = published(log, RENAMED)
    with pytest.raises(ConflictError, match="is live already"):
        rollback(log.service.store, version, "lead", "Back.", NOON + timedelta(minutes=2))


def test_a_candidate_needs_somebody_besides_who_proposed_it(log: Log) -> None:
    store, version = log.service.store, replayed(log, RENAMED)
    with pytest.raises(ConflictError, match="proposed by lead; somebody else has to say yes"):
        publish(store, version, "Lead ", NOTE, NOON, two_people="yes")
    with pytest.raises(ConflictError, match="the second yes is another person's"):
        agree(store, version, "LEAD", "Mine.", NOON)
    agree(store, version, "vera", "Read it.", NOON)
    publish(store, version, "lead", NOTE, NOON, two_people="yes")
    said = [(line.stage, line.who, line.note) for line in publishing.log(store)]
    assert ("agreed", "vera", "Read it.") in said


def test_a_yes_that_was_said_before_the_replay_does_not_count(log: Log) -> None:
    store, version = log.service.store, checked(log, RENAMED)
    agree(store, version, "vera", "Unseen.", NOON - timedelta(minutes=1))
    note_replay(store, replay(store, log.job(RENAMED), here(store)), "lead", NOON)
    with pytest.raises(ConflictError, match="somebody else"):
        publish(store, version, "lead", NOTE, NOON, two_people="yes")
    publish(store, version, "vera", NOTE, NOON, two_people="yes")


def test_by_default_two_people_are_asked_for_where_there_are_two(log: Log) -> None:
    store = log.service.store
    for name, needed in (("lead", False), ("vera", True)):
        with store.write() as work:
            work.tokens.add(name, "ops", None, NOON)
        with store.read() as work:
            assert needs_second(work, "auto", NOON) is needed
            assert needs_second(work, "yes", NOON)
            assert not needs_second(work, "no", NOON)


def test_the_history_of_a_file_names_who_changed_what_and_why(log: Log) -> None:
    published(log, RENAMED)
    [(one, changes)] = rulebooks.history(log.service, "rulebook.yml")[:1]
    assert (one.published_by, one.note) == ("lead", NOTE)
    assert any("Renamed" in change.words for change in changes)
    assert rulebooks.history(log.service, "facts/none.yml") == []
