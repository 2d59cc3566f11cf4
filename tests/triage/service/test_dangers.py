"""A danger stays open on its ticket and its machine until somebody lifts it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from tests.triage.danger_rulebook import CALM_REPORT, HEARD_REPORT, SHOCK_REPORT, danger_files
from tests.triage.services import AGENT, FOGLINE, OPS, TERN, running_service
from triage.records.caller import Caller
from triage.records.ticket import Ticket, fold
from triage.service import calls, machines, repairs, tickets
from triage.service.dangers import lift_danger
from triage.service.service import Service
from triage.values.errors import ConflictError, ForbiddenError, InputError, NotFoundError

REPORTER = Caller("reader", "reporter")
WHY = "The outlet was rewired and tested."
CLOSING = {"cause": "low_fill", "cured_by": "fill-hopper", "note": WHY}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, files=danger_files()) as running:
        yield running


def standing(service: Service, ticket: Ticket) -> dict[str, str | None]:
    """Caution -> the other ticket it was raised on, as a reader finds it now."""
    found = tickets.ticket(service, ticket.id, OPS)
    return {danger.caution: danger.ticket for danger in found.dangers.standing}


def outcome(service: Service, ticket: Ticket) -> str | None:
    return tickets.ticket(service, ticket.id, OPS).outcome


def test_where_every_danger_is_denied_the_store_may_try(service: Service) -> None:
    ticket = tickets.open_ticket(service, CALM_REPORT, AGENT)
    assert (ticket.outcome, ticket.dangers.standing) == ("fix_in_store", ())
    assert (ticket.priority, ticket.skill) == (3, "general")


def test_no_answer_lowers_a_danger_and_neither_does_taking_one_back(service: Service) -> None:
    ticket = tickets.open_ticket(service, CALM_REPORT, AGENT)
    tickets.answer(service, ticket.id, {"shock_felt": True}, AGENT)
    denied = tickets.answer(service, ticket.id, {"shock_felt": False}, AGENT)
    assert [(one.caution, one.source) for one in denied.dangers.open] == [("shock", "caller")]
    assert denied.decision is not None
    assert (denied.outcome, denied.decision["plan"]) == ("dispatch", [])
    assert (denied.priority, denied.skill) == (1, "electrical")
    calls.undo(service, ticket.id, AGENT, None)
    undone = calls.undo(service, ticket.id, AGENT, None)
    assert undone.report["answers"]["shock_felt"] is False
    assert standing(service, ticket) == {"shock": None}
    calls.skip(service, ticket.id, "shock_felt", AGENT, None)
    assert standing(service, ticket) == {"shock": None}


def test_what_a_technician_sees_counts_after_the_agents_no(service: Service) -> None:
    ticket = tickets.open_ticket(service, CALM_REPORT, AGENT)
    seen = tickets.answer(service, ticket.id, {"liquid_in_base": True}, FOGLINE)
    assert [(one.caution, one.source) for one in seen.dangers.open] == [("liquid", "technician")]
    assert seen.outcome == "dispatch"
    with pytest.raises(ForbiddenError, match="comes from the technician; a technician of the ticket's"):
        lift_danger(service, ticket.id, "liquid", "It was a slip of mine.", AGENT)


@pytest.mark.parametrize("first", [SHOCK_REPORT, CALM_REPORT])
def test_a_danger_on_one_ticket_stops_the_machines_other_in_either_order(
    service: Service, first: dict[str, object]
) -> None:
    second = CALM_REPORT if first is SHOCK_REPORT else SHOCK_REPORT
    one, other = (tickets.open_ticket(service, report, AGENT) for report in (first, second))
    shock, calm = (one, other) if first is SHOCK_REPORT else (other, one)
    assert standing(service, calm) == {"shock": shock.id}
    found = tickets.ticket(service, calm.id, AGENT)
    assert found.decision is not None
    assert (found.outcome, found.decision["plan"]) == ("dispatch", [])
    assert (found.priority, found.skill) == (1, "electrical")
    assert tickets.decide_once(service, CALM_REPORT).outcome == "dispatch"
    assert [(each.caution, each.ticket) for each in machines.machine(service, "LH20-1", OPS).dangers] == [
        ("shock", shock.id)
    ]
    limits = machines.limits(service, "LH20-1", None, None, OPS)
    assert [each["caution"] for each in limits["dangers"]] == ["shock"]
    assert {row.id: row.dangers for row in tickets.listed(service, "open")} == {
        one.id: ("shock",),
        other.id: ("shock",),
    }


def test_another_machine_is_left_alone(service: Service) -> None:
    tickets.open_ticket(service, SHOCK_REPORT, AGENT)
    other = tickets.open_ticket(service, {**CALM_REPORT, "machine": "LH30-2"}, AGENT)
    assert (other.outcome, other.dangers.standing) == ("fix_in_store", ())
    cut = tickets.tickets(service, OPS, {"danger": "false"}).tickets
    assert [ticket.id for ticket in cut] == [other.id]
    assert len(tickets.tickets(service, OPS, {"danger": "true"}).tickets) == 1


def test_words_raise_a_danger_with_their_quote_until_they_are_misread(service: Service) -> None:
    ticket = tickets.open_ticket(service, HEARD_REPORT, AGENT)
    assert [(one.source, one.quote is not None) for one in ticket.dangers.open] == [("words", True)]
    calm = lift_danger(service, ticket.id, "shock", "She meant the price.", AGENT)
    assert (calm.outcome, calm.dangers.standing) == ("fix_in_store", ())
    last = tickets.events(service, ticket.id, OPS)[-2].payload
    assert (last.kind, getattr(last, "how", None)) == ("danger_lifted", "misread")
    again = tickets.answer(service, ticket.id, {"fill_level": 60}, AGENT)
    assert again.dangers.standing == ()
    said = {"fill_level": "sixty, and now a shock again"}
    heard = tickets.answer(service, ticket.id, {"fill_level": 60}, AGENT, said=said)
    assert [(one.caution, one.source) for one in heard.dangers.open] == [("shock", "words")]


def test_each_place_where_a_danger_was_heard_is_taken_back_by_itself(service: Service) -> None:
    note = "A shock of the bill, he says. Then brother got a shock."
    ticket = tickets.open_ticket(service, {**HEARD_REPORT, "note": note}, AGENT)
    (danger,) = ticket.dangers.open
    places = ["A shock of the bill", "brother got a shock"]
    assert (danger.quote or "").splitlines() == places
    with pytest.raises(InputError, match="not heard so"):
        lift_danger(service, ticket.id, "shock", "Only a figure.", AGENT, quotes=["a shock"])
    left = lift_danger(service, ticket.id, "shock", "Only a figure.", AGENT, quotes=places[:1])
    assert [one.quote for one in left.dangers.open] == places[1:]
    assert tickets.ticket(service, ticket.id, AGENT) == left
    said = {"fill_level": "sixty. She got a shock"}
    more = tickets.answer(service, ticket.id, {"fill_level": 60}, AGENT, said=said)
    assert [(one.quote or "").splitlines() for one in more.dangers.open] == [[places[1], "She got a shock"]]
    calm = lift_danger(service, ticket.id, "shock", "Both on another machine.", AGENT)
    assert calm.dangers.standing == ()


def test_words_beside_an_answer_nobody_can_give_are_heard(service: Service) -> None:
    ticket = tickets.open_ticket(service, CALM_REPORT, AGENT)
    heard = calls.skip(service, ticket.id, "filter_days", AGENT, None, "no idea, it gave him a shock")
    assert [one.caution for one in heard.dangers.open] == ["shock"]


def test_an_answer_that_was_misread_is_taken_back_and_asked_again(service: Service) -> None:
    ticket = tickets.open_ticket(service, SHOCK_REPORT, AGENT)
    calm = lift_danger(service, ticket.id, "shock", "I hit the wrong key.", AGENT)
    assert "shock_felt" not in calm.report["answers"]
    assert calm.decision is not None
    assert calm.decision["waits_for"] == ["shock_felt"]


def test_made_safe_stays_so_until_somebody_says_otherwise(service: Service) -> None:
    ticket = tickets.open_ticket(service, SHOCK_REPORT, AGENT)
    safe = lift_danger(service, ticket.id, "shock", WHY, FOGLINE)
    assert (safe.outcome, safe.dangers.standing) == ("fix_in_store", ())
    denied = tickets.answer(service, ticket.id, {"shock_felt": False}, FOGLINE)
    assert denied.dangers.standing == ()
    again = tickets.answer(service, ticket.id, {"shock_felt": True}, AGENT)
    assert [one.caution for one in again.dangers.open] == ["shock"]


def test_a_danger_is_lifted_where_it_stands_or_as_safe_for_the_machine(service: Service) -> None:
    shock = tickets.open_ticket(service, SHOCK_REPORT, AGENT)
    calm = tickets.open_ticket(service, CALM_REPORT, AGENT)
    with pytest.raises(ConflictError, match=f"raised on ticket {shock.id}"):
        lift_danger(service, calm.id, "shock", "She meant the price.", AGENT)
    lift_danger(service, calm.id, "shock", WHY, FOGLINE)
    for ticket in (shock, calm):
        assert standing(service, ticket) == {}
        assert outcome(service, ticket) == "fix_in_store"
        kinds = [event.kind for event in tickets.events(service, ticket.id, OPS)]
        assert kinds[-2:] == ["danger_lifted", "decided"]


def test_an_own_danger_outlives_the_one_it_shares_with_another_ticket(service: Service) -> None:
    first = tickets.open_ticket(service, SHOCK_REPORT, AGENT)
    second = tickets.open_ticket(service, SHOCK_REPORT, AGENT)
    lift_danger(service, first.id, "shock", "I hit the wrong key.", AGENT)
    assert standing(service, first) == {"shock": second.id}
    assert standing(service, second) == {"shock": None}


def test_who_may_lift_what(service: Service) -> None:
    ticket = tickets.open_ticket(service, SHOCK_REPORT, AGENT)
    for who, how in ((AGENT, "safe"), (FOGLINE, "misread"), (REPORTER, None)):
        with pytest.raises(ForbiddenError, match="an ops lead lifts it as made safe"):
            lift_danger(service, ticket.id, "shock", WHY, who, how=how)  # type: ignore[arg-type]
    with pytest.raises(NotFoundError):
        lift_danger(service, ticket.id, "shock", WHY, TERN)
    with pytest.raises(NotFoundError, match='no danger "nonesuch"'):
        lift_danger(service, ticket.id, "nonesuch", WHY, OPS)
    with pytest.raises(ConflictError, match="does not stand open"):
        lift_danger(service, ticket.id, "liquid", WHY, OPS)
    with pytest.raises(InputError, match="a sentence"):
        lift_danger(service, ticket.id, "shock", "safe", OPS)
    assert standing(service, ticket) == {"shock": None}
    assert lift_danger(service, ticket.id, "shock", "Misheard by me.", OPS, how="misread").dangers.open == ()


def test_no_ticket_is_closed_while_a_danger_stands_open(service: Service) -> None:
    shock = tickets.open_ticket(service, SHOCK_REPORT, AGENT)
    calm = tickets.open_ticket(service, CALM_REPORT, AGENT)
    for ticket in (shock, calm):
        with pytest.raises(ConflictError, match="a danger stands open: shock; a technician"):
            repairs.close(service, ticket.id, CLOSING, AGENT)
    with pytest.raises(ForbiddenError):
        repairs.close(service, shock.id, {**CLOSING, "made_safe": True}, AGENT)
    with pytest.raises(InputError, match="a sentence"):
        repairs.close(service, shock.id, {**CLOSING, "made_safe": True, "note": ""}, FOGLINE)
    with pytest.raises(InputError, match="no such danger stands open: liquid"):
        repairs.close(service, shock.id, {**CLOSING, "made_safe": ["shock", "liquid"]}, FOGLINE)
    closed = repairs.close(service, shock.id, {**CLOSING, "made_safe": ["shock"]}, FOGLINE)
    assert (closed.state, closed.dangers.standing) == ("closed", ())
    assert (standing(service, calm), outcome(service, calm)) == ({}, "fix_in_store")
    assert repairs.reopen(service, shock.id, "It tingles again.", AGENT).outcome == "dispatch"
    assert standing(service, calm) == {"shock": shock.id}


def test_unknown_is_said_beside_answers(service: Service) -> None:
    ticket = tickets.open_ticket(service, CALM_REPORT, AGENT)
    told = tickets.answer(service, ticket.id, {"fill_level": 30}, AGENT, unknown=["filter_days"])
    assert told.report["unknown"] == ["filter_days"]
    with pytest.raises(InputError) as caught:
        tickets.answer(service, ticket.id, {"fill_level": 1}, AGENT, unknown=["fill_level", "nonesuch"])
    assert [problem.pointer for problem in caught.value.problems] == ["/unknown/0", "/unknown/1"]


class TwoTickets(RuleBasedStateMachine):
    """Two tickets on one machine: whatever is answered, what was raised stays until it is lifted."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = TemporaryDirectory()
        self._running = running_service(Path(self._folder.name), files=danger_files())
        self.service = self._running.__enter__()
        self.ids: list[str] = []
        self.raised: set[tuple[str, str]] = set()

    def teardown(self) -> None:
        self._running.__exit__(None, None, None)
        self._folder.cleanup()

    def _note(self, ticket: Ticket, told: Collection[str]) -> None:
        """A danger just told must stand, though it was lifted before; it must not vanish from now on."""
        answers = ticket.report["answers"]
        for caution, fact in (("shock", "shock_felt"), ("liquid", "liquid_in_base")):
            if fact in told and answers.get(fact) is True:
                assert caution in {one.caution for one in ticket.dangers.open}
        self.raised |= {(ticket.id, one.caution) for one in ticket.dangers.open}

    @precondition(lambda self: len(self.ids) < 2)
    @rule(report=st.sampled_from([CALM_REPORT, SHOCK_REPORT, HEARD_REPORT]))
    def open(self, report: dict[str, object]) -> None:
        ticket = tickets.open_ticket(self.service, report, AGENT)
        self.ids.append(ticket.id)
        self._note(ticket, ticket.report["answers"])

    @precondition(lambda self: self.ids)
    @rule(
        which=st.integers(0, 1),
        fact=st.sampled_from(["shock_felt", "liquid_in_base", "fill_level"]),
        yes=st.booleans(),
        who=st.sampled_from([AGENT, FOGLINE]),
    )
    def answer(self, which: int, fact: str, yes: bool, who: Caller) -> None:
        value = (30 if yes else 70) if fact == "fill_level" else yes
        ticket = tickets.answer(self.service, self.ids[which % len(self.ids)], {fact: value}, who)
        self._note(ticket, [fact])

    @precondition(lambda self: self.ids)
    @rule(which=st.integers(0, 1))
    def undo(self, which: int) -> None:
        try:
            ticket = calls.undo(self.service, self.ids[which % len(self.ids)], AGENT, None)
        except NotFoundError:
            return
        self.raised |= {(ticket.id, one.caution) for one in ticket.dangers.open}

    @precondition(lambda self: self.ids)
    @rule(
        which=st.integers(0, 1),
        caution=st.sampled_from(["shock", "liquid"]),
        who=st.sampled_from([AGENT, FOGLINE, OPS]),
    )
    def lift(self, which: int, caution: str, who: Caller) -> None:
        ticket_id = self.ids[which % len(self.ids)]
        try:
            lift_danger(self.service, ticket_id, caution, WHY, who)
        except (ConflictError, ForbiddenError):
            return
        lifted = {(ticket_id, caution)} if who is AGENT else {(each, caution) for each in self.ids}
        self.raised -= lifted

    @invariant()
    def nothing_vanishes_and_nobody_fixes_in_the_store(self) -> None:
        for ticket_id in self.ids:
            found = tickets.ticket(self.service, ticket_id, OPS)
            shown = {(one.ticket or ticket_id, one.caution) for one in found.dangers.standing}
            assert shown == self.raised
            assert not (shown and found.outcome == "fix_in_store")
            log = tickets.events(self.service, ticket_id, OPS)
            assert fold(log).dangers.open == found.dangers.open


TestTwoTickets = TwoTickets.TestCase
TestTwoTickets.settings = settings(
    max_examples=12, stateful_step_count=10, deadline=None, derandomize=True, database=None
)
