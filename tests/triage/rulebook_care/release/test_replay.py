"""A candidate tried on what was recorded: what changes, what is lost, and going on after a stop."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from tests.triage.builders import minimal_files, policy
from tests.triage.rulebook_care.recorded_log import Log, recorded_log
from tests.triage.services import AGENT, NOON, rulebook_files
from triage.decide.decide_data import decide_inputs, inputs_from_data
from triage.records.decision_json import as_json
from triage.records.payloads import Decided
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.release.outcome_view import LostSafety, Seen, lost_safety, seen_in, seen_in_json
from triage.rulebook_care.release.piece import ready, replay_in, replay_piece
from triage.rulebook_care.release.replay import Replay, as_data, pieces_of, replay
from triage.rulebook_care.release.runners import Runner, here, processes
from triage.rulebook_care.release.scoring import HIDDEN
from triage.rulebook_care.release.tally import tally_from_data
from triage.service import tickets
from triage.values.errors import InputError, NotFoundError
from triage.values.json_text import from_json, to_json

SEND_ALWAYS = policy(
    "send-always",
    {"plan_starts_in_store": True},
    {"plan_starts_in_store": True},
    {"plan_starts_in_store": False},
    "dispatch",
    950,
    "Someone is sent.",
)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with recorded_log(tmp_path) as running:
        yield running


def replayed(log: Log, candidate: dict[str, object], **more: object) -> Replay:
    return replay(log.service.store, log.job(candidate), here(log.service.store), **more)  # type: ignore[arg-type]


def without(*paths: str, **overrides: object) -> dict[str, object]:
    files = rulebook_files(**overrides)
    return {path: data for path, data in files.items() if path not in paths}


def test_a_rulebook_that_says_the_same_changes_nothing(log: Log) -> None:
    found = replayed(log, rulebook_files(**{"rulebook.yml": {"title": "Another title", "currency": "USD"}}))
    assert found.changed == 0
    assert found.tally.decisions == 7
    assert found.tally.tickets == 6
    assert found.tally.spend_baseline == found.tally.spend_candidate > 0
    assert (found.tally.lost, found.tally.undecided) == ([], [])
    assert {one.difference.value for one in found.scores} == {0.0}


def test_outcomes_that_change_are_counted_by_symptom_and_site(log: Log) -> None:
    found = as_data(replayed(log, rulebook_files(**{"policy/send-always.yml": SEND_ALWAYS})))
    assert found["outcomes"] == [
        {"baseline": "dispatch", "candidate": "dispatch", "count": 1},
        {"baseline": "fix_in_store", "candidate": "dispatch", "count": 6},
    ]
    assert found["changed_tickets"] == 5
    assert found["by_symptom"]["leaking"] == [
        {"baseline": "fix_in_store", "candidate": "dispatch", "count": 1}
    ]
    assert sum(row["count"] for row in found["by_site"]["halt-001"]) == 5
    assert sum(row["count"] for row in found["by_site"]["halt-023"]) == 1
    assert found["examples"] == [
        {
            "baseline": "fix_in_store",
            "candidate": "dispatch",
            "tickets": [f"T-00000{number}" for number in (1, 2, 3, 4, 5)],
        }
    ]


def test_visits_and_spend_count_each_ticket_once_by_its_last_decision(log: Log) -> None:
    found = as_data(replayed(log, rulebook_files(**{"policy/send-always.yml": SEND_ALWAYS})))
    assert found["visits"] == {"avoided": 0, "added": 5}
    spend = found["expected_spend"]
    assert Decimal(spend["candidate"]) - Decimal(spend["baseline"]) == Decimal(spend["change"]) > 0


def test_a_danger_that_is_no_longer_seen_is_listed_one_by_one(log: Log) -> None:
    found = replayed(log, without("cautions/damaged-cord.yml", "policy/cord-dispatch.yml"))
    lost = [(one.key, one.loss.kind, one.loss.what) for one in found.tally.lost]
    assert lost == [
        (("T-000006", 2), "use no longer stopped", "damaged-cord"),
        (("T-000006", 2), "caution no longer said", "damaged-cord"),
        (("T-000006", 2), "check offered in danger", "rinse-filter"),
        (("T-000006", 2), "check offered in danger", "fill-hopper"),
        (("T-000006", 2), "visit less urgent", "priority 1 → nobody is sent"),
    ]


def test_a_danger_whose_fact_is_gone_is_listed_too(log: Log) -> None:
    candidate = without("facts/cord_damaged.yml", "cautions/damaged-cord.yml", "policy/cord-dispatch.yml")
    found = replayed(log, candidate)
    assert found.tally.undecided == []  # the answer is left out, and the report decided without it
    assert {one.key for one in found.tally.lost} == {("T-000006", 2)}
    assert "use no longer stopped" in {one.loss.kind for one in found.tally.lost}
    assert found.tally.matrix["dispatch", "fix_in_store"] == 1


def test_a_report_the_candidate_cannot_read_is_a_loss_with_its_reason(log: Log) -> None:
    renamed = from_json(to_json(rulebook_files()).replace("not_freezing", "too_warm"))
    found = replayed(log, renamed)
    assert (found.tally.decisions, len(found.tally.undecided)) == (7, 6)  # one names another symptom
    assert all('"not_freezing" is no symptom of the rulebook' in why for _, _, why in found.tally.undecided)
    assert {one.loss.kind for one in found.tally.lost} == {"no decision"}


def test_closed_tickets_with_a_confirmed_cause_are_scored_and_the_others_counted(log: Log) -> None:
    evidence = rulebook_files()["evidence/filter-overdue.yml"]
    assert isinstance(evidence, dict)
    sharper = {**evidence, "then": {"seen_with": {"dirty_filter": 0.95, "others": 0.05}}}
    found = replayed(log, rulebook_files(**{"evidence/filter-overdue.yml": sharper}))
    assert [one.ticket for one in found.tally.scored] == ["T-000001", "T-000002"]
    assert found.tally.not_scored == {"open": 3, "closed without a confirmed cause": 1}
    assert all(one.candidate.chance > one.baseline.chance for one in found.tally.scored)
    log_loss = found.scores[0]
    assert log_loss.difference.high < 0
    assert log_loss.verdict == "too thin to tell"  # two tickets prove nothing
    assert any("too thin" in note for note in found.notes)


def test_a_ticket_that_the_store_fixed_is_scored_without_a_cause(log: Log) -> None:
    tickets.record_check(log.service, "T-000004", "fill-hopper", "not_cured", AGENT)
    tickets.record_check(log.service, "T-000004", "rinse-filter", "cured", AGENT)
    log.close("T-000004", None)
    rinse = rulebook_files()["checks/rinse-filter.yml"]
    assert isinstance(rinse, dict)
    weaker = {**rinse, "resolves": {"dirty_filter": 0.30}}
    found = replayed(log, rulebook_files(**{"checks/rinse-filter.yml": weaker}))
    one = found.tally.scored[-1]
    assert (one.ticket, one.cause, one.baseline.place) == ("T-000004", None, HIDDEN)
    assert one.baseline.likelihood is not None
    assert one.candidate.likelihood is not None
    assert one.candidate.likelihood < one.baseline.likelihood < 1.0
    assert one.candidate.likelihood / one.baseline.likelihood == pytest.approx(0.30 / 0.85, abs=0.01)
    assert "(2 tickets)" in found.notes[0]


def test_only_what_was_decided_in_the_time_asked_for_is_replayed(log: Log) -> None:
    job = log.job(rulebook_files())
    assert sum(piece.count for piece in pieces_of(log.service.store, replace(job, since=NOON))) == 7
    for narrower in (replace(job, since=job.until), replace(job, until=NOON.replace(year=2025))):
        found = replay(log.service.store, narrower, here(log.service.store))
        assert found.tally.decisions == 0
        assert "Nothing was recorded" in found.notes[0]


def test_decisions_of_an_older_version_are_compared_with_the_one_live(log: Log) -> None:
    # Everything was decided by the program's own; now another is live, and the candidate equals it.
    live = rulebook_files(**{"policy/send-always.yml": SEND_ALWAYS})
    job = replace(log.job(live), baseline=log.keep(live))
    found = replay(log.service.store, job, here(log.service.store))
    assert found.changed == 0
    assert set(found.tally.matrix) == {("dispatch", "dispatch")}


def test_the_size_of_the_pieces_does_not_change_the_result(log: Log) -> None:
    candidate = without("cautions/damaged-cord.yml", "policy/cord-dispatch.yml")
    whole = as_data(replayed(log, candidate))
    assert as_data(replayed(log, candidate, piece_size=1)) == whole
    assert as_data(replayed(log, candidate, piece_size=3)) == whole


def test_several_processes_find_what_one_finds(log: Log) -> None:
    job = log.job(rulebook_files(**{"policy/send-always.yml": SEND_ALWAYS}))
    store = log.service.store
    assert as_data(replay(store, job, processes(2), piece_size=2)) == as_data(replay(store, job, here(store)))


def test_the_work_of_a_piece_reads_the_database_by_its_url(log: Log) -> None:
    job = log.job(rulebook_files())
    piece = pieces_of(log.service.store, job)[0]
    baseline = ready(rulebook_from_data(rulebook_files()))
    assert replay_piece(job, piece) == replay_in(log.service.store, job, piece, baseline, baseline)


def test_a_version_that_is_not_kept_cannot_be_replayed(log: Log) -> None:
    job = replace(log.job(rulebook_files()), candidate="sha256:none")
    with pytest.raises(NotFoundError, match="sha256:none"):
        replay(log.service.store, job, here(log.service.store))


def stopping_after(run: Runner, pieces: int) -> Runner:
    """A runner that is interrupted after some pieces."""

    def stopped(job, todo):  # type: ignore[no-untyped-def]
        for number, done in enumerate(run(job, todo)):
            if number == pieces:
                raise KeyboardInterrupt
            yield done

    return stopped


def test_an_interrupted_replay_goes_on_where_it_stopped(log: Log, tmp_path: Path) -> None:
    store, file = log.service.store, tmp_path / "replay.jsonl"
    job = log.job(rulebook_files(**{"policy/send-always.yml": SEND_ALWAYS}))
    with pytest.raises(KeyboardInterrupt):
        replay(store, job, stopping_after(here(store), 2), file, piece_size=2)
    with file.open("a") as stream:
        stream.write('{"piece": 2, "tal')  # the crash came while writing
    heard: list[tuple[int, int]] = []
    later = replace(job, until=job.until.replace(year=2027))
    found = replay(store, later, here(store), file, lambda done, of: heard.append((done, of)), piece_size=2)
    assert heard == [(4, 7), (6, 7), (7, 7)]
    assert found.job == job  # it ends when the first one would have ended
    assert as_data(found) == as_data(replay(store, job, here(store)))
    assert len(file.read_text().splitlines()) == 1 + 4


def test_a_finished_replay_read_again_does_no_work(log: Log, tmp_path: Path) -> None:
    store, file = log.service.store, tmp_path / "replay.jsonl"
    job = log.job(rulebook_files())
    first = as_data(replay(store, job, here(store), file))
    assert as_data(replay(store, job, stopping_after(here(store), 0), file)) == first


def test_the_file_of_another_replay_is_refused(log: Log, tmp_path: Path) -> None:
    store, file = log.service.store, tmp_path / "replay.jsonl"
    replay(store, log.job(rulebook_files()), here(store), file)
    other = log.job(minimal_files())
    with pytest.raises(InputError, match="another replay"):
        replay(store, other, here(store), file)


@pytest.mark.parametrize("text", ["no json\n", "[]\n", json.dumps({"until": "soon"}) + "\n"])
def test_a_file_that_is_no_replay_is_refused_and_left_alone(log: Log, tmp_path: Path, text: str) -> None:
    store, file = log.service.store, tmp_path / "notes.txt"
    file.write_text(text)
    with pytest.raises(InputError, match="not a replay"):
        replay(store, log.job(rulebook_files()), here(store), file)
    assert file.read_text() == text


def test_a_tally_comes_back_from_json_as_it_was(log: Log) -> None:
    tally = replayed(log, without("cautions/damaged-cord.yml", "policy/cord-dispatch.yml")).tally
    assert tally_from_data(from_json(to_json(tally.as_data()))) == tally


def test_a_recorded_decision_is_seen_as_the_one_made_again(log: Log) -> None:
    rulebook = rulebook_from_data(rulebook_files())
    engine = ready(rulebook).engine
    with log.service.store.read() as work:
        for number in range(1, 7):
            event = [one for one in work.tickets.events(f"T-00000{number}") if one.kind == "decided"][-1]
            assert isinstance(event.payload, Decided)
            inputs = inputs_from_data(event.payload.inputs, rulebook)
            again = decide_inputs(rulebook, engine, inputs, ask=False)
            assert seen_in(again) == seen_in_json(event.payload.decision)
            with_questions = decide_inputs(rulebook, engine, inputs)
            assert as_json(replace(with_questions, questions=())) == as_json(again)


PLAIN = Seen("fix_in_store", Decimal(10), {}, {"rinse": frozenset({"unplug"})}, None, {})
DANGER = Seen("dispatch", Decimal(90), {"smoke": True}, {}, 1, {})


@pytest.mark.parametrize(
    ("before", "after", "lost"),
    [
        (PLAIN, PLAIN, []),
        (PLAIN, DANGER, []),
        (DANGER, DANGER, []),
        (PLAIN, replace(PLAIN, checks={}), []),
        (
            PLAIN,
            replace(PLAIN, checks={"rinse": frozenset()}),
            [("check without its caution", "rinse: unplug")],
        ),
        (DANGER, replace(DANGER, cautions={"smoke": False}), [("use no longer stopped", "smoke")]),
        (DANGER, replace(DANGER, checks=PLAIN.checks), [("check offered in danger", "rinse")]),
        (DANGER, replace(DANGER, visit_priority=2), [("visit less urgent", "priority 1 → priority 2")]),
        (DANGER, None, [("no decision", "the candidate cannot decide this report")]),
    ],
)
def test_what_kept_people_safe_and_is_gone_is_found(
    before: Seen, after: Seen | None, lost: list[tuple[str, str]]
) -> None:
    assert list(lost_safety(before, after)) == [LostSafety(*each) for each in lost]  # type: ignore[arg-type]
