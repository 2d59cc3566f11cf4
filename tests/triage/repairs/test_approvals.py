"""The authority ladder: ceilings, absence and deputies; and words that are read strictly."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from moneyed import Money

from tests.triage.builders import minimal_files
from tests.triage.services import OPS
from triage.decide.spending.authorities import absence_on, speaker_for, whom_to_ask
from triage.records.caller import Caller
from triage.repairs.approvals import Approval, on_behalf_of, read_approval
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.values.errors import InputError, RulebookError

NOW = datetime(2026, 3, 2, 17, tzinfo=UTC)
TODAY = date(2026, 3, 2)
INES = Caller("Ines Marsh", "authority", authority="area")
AWAY = [{"first": "2026-03-01", "last": "2026-03-02"}]
LADDER: dict[str, dict[str, Any]] = {
    "lead": {"title": "Desk lead", "reach": "555-0110", "up_to": 600},
    "area": {"title": "Area manager", "reach": "555-0111", "up_to": 1500, "deputies": ["lead", "owner"]},
    "owner": {"title": "Owner", "reach": "555-0112"},
}


def rulebook(**authorities: dict[str, Any]) -> Rulebook:
    files = minimal_files()
    table: dict[str, Any] = {
        **files["limits/authority.yml"],  # type: ignore[dict-item]
        "inputs": ["amount"],
        "rows": [
            {"when": {"amount": "<= 600"}, "then": {"authority": "lead"}},
            {"when": {"amount": "(600..1500]"}, "then": {"authority": "area"}},
            {"when": {"amount": "> 1500"}, "then": {"authority": "owner"}},
        ],
        "authorities": {name: {**entry, **authorities.get(name, {})} for name, entry in LADDER.items()},
    }
    return rulebook_from_data({**files, "limits/authority.yml": table})


def word(book: Rulebook, authority: str, answer: Any = "yes") -> Approval:
    return Approval(1, answer, None, book.authorities[authority], "Robin Vale", "needed", None)


@pytest.mark.parametrize(("amount", "named"), [("600", "lead"), ("600.01", "area"), ("1500.01", "owner")])
def test_the_table_names_whom_to_ask(amount: str, named: str) -> None:
    asked = whom_to_ask(rulebook(), {}, Decimal(amount), TODAY)
    assert asked is not None
    assert (asked.authority.id, asked.speaks.id, asked.absent_until) == (named, named, None)


def test_an_absent_authoritys_first_deputy_who_is_there_is_asked() -> None:
    away = rulebook(area={"absent": AWAY})
    asked = whom_to_ask(away, {}, Decimal(900), TODAY)
    assert asked is not None
    assert (asked.authority.id, asked.speaks.id, asked.absent_until) == ("area", "lead", date(2026, 3, 2))
    both = whom_to_ask(rulebook(area={"absent": AWAY}, lead={"absent": AWAY}), {}, Decimal(900), TODAY)
    assert both is not None
    assert both.speaks.id == "owner"


def test_without_a_deputy_the_next_higher_authority_is_asked() -> None:
    asked = whom_to_ask(rulebook(lead={"absent": AWAY}), {}, Decimal(100), TODAY)
    assert asked is not None
    assert (asked.authority.id, asked.speaks.id) == ("area", "area")


def test_where_everybody_is_away_the_one_named_is_given_all_the_same() -> None:
    everybody = rulebook(**{name: {"absent": AWAY, "deputies": []} for name in LADDER})
    asked = whom_to_ask(everybody, {}, Decimal(100), TODAY)
    assert asked is not None
    assert asked.authority.id == "lead"


@pytest.mark.parametrize(
    ("day", "absent"),
    [("2026-02-28", False), ("2026-03-01", True), ("2026-03-02", True), ("2026-03-03", False)],
)
def test_an_absence_holds_on_both_its_ends(day: str, absent: bool) -> None:
    away = rulebook(area={"absent": AWAY}).authorities["area"]
    assert (absence_on(away, date.fromisoformat(day)) is not None) is absent


def test_a_ceiling_is_what_the_ticket_comes_to_not_a_cent_more() -> None:
    book = rulebook()
    assert on_behalf_of(book, word(book, "lead"), Decimal("600.00"), TODAY).id == "lead"
    with pytest.raises(InputError, match=r"up to 600.00 USD; the ticket would come to 600.01. Ask area or"):
        on_behalf_of(book, word(book, "lead"), Decimal("600.01"), TODAY)
    assert on_behalf_of(book, word(book, "owner"), Decimal(99999), TODAY).id == "owner"


def test_a_deputy_has_the_absent_authoritys_ceiling_while_it_is_absent() -> None:
    book = rulebook(area={"absent": AWAY})
    assert on_behalf_of(book, word(book, "lead"), Decimal(1500), TODAY).id == "area"
    with pytest.raises(InputError, match=r"up to 600\.00 USD"):
        on_behalf_of(book, word(book, "lead"), Decimal(1500), date(2026, 3, 3))


def test_who_is_absent_is_not_heard() -> None:
    book = rulebook(area={"absent": AWAY})
    with pytest.raises(InputError, match="absent until 2026-03-02; deputies: lead, owner"):
        on_behalf_of(book, word(book, "area"), Decimal(100), TODAY)
    assert speaker_for(rulebook(lead={"absent": AWAY}), book.authorities["lead"], TODAY) is not None


def test_a_word_is_read_with_its_reason() -> None:
    data = {
        "estimate": 2,
        "answer": "yes_up_to",
        "amount": "550.00 USD",
        "authority": "lead",
        "person": " Robin  Vale",
        "why": "It is the only one on the quay.",
        "expires_at": "2026-03-09T12:00:00-05:00",
    }
    approval = read_approval(data, rulebook(), NOW, OPS)
    assert (approval.estimate, approval.answer, approval.amount) == (2, "yes_up_to", Money("550.00", "USD"))
    assert (approval.authority.id, approval.person) == ("lead", "Robin Vale")
    assert approval.why == "It is the only one on the quay."
    assert approval.expires_at == datetime(2026, 3, 9, 17, tzinfo=UTC)


GOOD = {"estimate": 1, "answer": "yes", "authority": "lead", "person": "Robin Vale", "why": "fine"}
BAD: dict[str, tuple[dict[str, Any], str]] = {
    "no answer": ({"answer": None}, "/answer"),
    "another answer": ({"answer": "maybe"}, "/answer"),
    "an amount with a plain yes": ({"amount": "5.00 USD"}, "/amount"),
    "no amount": ({"answer": "yes_up_to"}, "/amount"),
    "another currency": ({"answer": "yes_up_to", "amount": "5.00 EUR"}, "/amount"),
    "an unknown authority": ({"authority": "lad"}, "/authority"),
    "no authority": ({"authority": None}, "/authority"),
    "no person": ({"person": None}, "/person"),
    "an empty person": ({"person": " "}, "/person"),
    "no reason": ({"why": " "}, "/why"),
    "a reason that is no text": ({"why": 5}, "/why"),
    "an expiry that is past": ({"expires_at": "2026-03-02T17:00:00Z"}, "/expires_at"),
    "an expiry without offset": ({"expires_at": "2026-04-02T17:00:00"}, "/expires_at"),
    "a revision that is no number": ({"estimate": "1"}, "/estimate"),
    "half a revision": ({"estimate": Decimal("1.5")}, "/estimate"),
    "an unknown key": ({"by": "me"}, "/by"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_word_is_a_problem_with_its_place(name: str) -> None:
    change, pointer = BAD[name]
    with pytest.raises(InputError) as caught:
        read_approval({**GOOD, **change}, rulebook(), NOW, OPS)
    assert [problem.pointer for problem in caught.value.problems] == [pointer]


def test_a_word_without_a_revision_is_one_before_the_first_estimate() -> None:
    before = {**{name: value for name, value in GOOD.items() if name != "estimate"}, "answer": "no"}
    assert read_approval(before, rulebook(), NOW, OPS).estimate == 0


def test_an_unknown_authority_is_told_which_there_are() -> None:
    with pytest.raises(InputError, match='no authority "x7"; authorities are lead, area, owner'):
        read_approval({**GOOD, "authority": "x7"}, rulebook(), NOW, OPS)


def test_an_authoritys_own_token_says_whose_approval_it_is_and_who_spoke() -> None:
    own = {"estimate": 1, "answer": "no", "why": "too dear"}
    for more in ({}, {"authority": "area", "person": "Ines Marsh"}):
        approval = read_approval({**own, **more}, rulebook(), NOW, INES)
        assert (approval.authority.id, approval.person) == ("area", "Ines Marsh")
    for change, pointer in (({"authority": "lead"}, "/authority"), ({"person": "Robin Vale"}, "/person")):
        with pytest.raises(InputError) as caught:
            read_approval({**own, **change}, rulebook(), NOW, INES)
        assert [problem.pointer for problem in caught.value.problems] == [pointer]
    with pytest.raises(InputError, match='no authority "area"'):
        read_approval(own, rulebook_from_data(minimal_files()), NOW, INES)


@pytest.mark.parametrize(
    ("entry", "pointer", "message"),
    [
        ({"deputies": ["nobody"]}, "/authorities/lead/deputies/0", "there is no authority"),
        ({"deputies": ["lead"]}, "/authorities/lead/deputies/0", "its own deputy"),
        ({"deputies": ["owner", "owner"]}, "/authorities/lead/deputies/1", "stands twice"),
        (
            {"absent": [{"first": "2026-03-02", "last": "2026-03-01"}]},
            "/authorities/lead/absent/0/last",
            "before it begins",
        ),
        ({"absent": [{"first": "2026-03-02"}]}, "/authorities/lead/absent/0", "missing"),
        ({"valid_days": 0}, "/authorities/lead/valid_days", ""),
        ({"deputy": "owner"}, "/authorities/lead/deputy", ""),
    ],
)
def test_a_ladder_that_cannot_be_meant_is_refused_where_it_stands(
    entry: dict[str, Any], pointer: str, message: str
) -> None:
    with pytest.raises(RulebookError) as caught:
        rulebook(lead=entry)
    found = {problem.pointer: problem.message for problem in caught.value.problems}
    assert pointer in found
    assert message in found[pointer]
    assert {problem.file for problem in caught.value.problems} == {"limits/authority.yml"}
