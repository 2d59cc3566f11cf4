"""An estimate is answered once, an authorization used once, whatever the order of events."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.payloads import estimate, usd
from triage.records.authorization import (
    NOTHING_YET,
    Repair,
    after_approval,
    after_close,
    after_estimate,
    next_number,
    open_authorization,
    refuse_closing_above,
    refuse_second_approval,
)
from triage.records.payloads import Approved
from triage.values.errors import ConflictError, InputError

NOW = datetime(2026, 3, 2, 17, tzinfo=UTC)
LATER = NOW + timedelta(days=30)


def estimated(repair: Repair = NOTHING_YET) -> Repair:
    return after_estimate(repair, estimate(500))


def yes(repair: Repair, amount: int = 500, expires_at: datetime = LATER) -> Repair:
    number = next_number("T-1", repair)
    said = Approved(repair.revisions, "lead", True, usd(amount), number, expires_at, "needed")
    return after_approval(repair, said, "lead's token")


def no(repair: Repair) -> Repair:
    said = Approved(repair.revisions, "lead", False, None, None, None, "too much")
    return after_approval(repair, said, "lead's token")


def test_an_estimate_is_answered_once() -> None:
    repair = estimated()
    refuse_second_approval(repair, 1, "T-1")
    with pytest.raises(ConflictError, match="was approved already, by lead"):
        refuse_second_approval(yes(repair), 1, "T-1")
    with pytest.raises(ConflictError, match="was refused already, by lead"):
        refuse_second_approval(no(repair), 1, "T-1")


def test_only_the_last_revision_is_answered() -> None:
    repair = estimated(estimated())
    refuse_second_approval(repair, 2, "T-1")
    for revision in (0, 1, 3):
        with pytest.raises(ConflictError, match="the last one is 2"):
            refuse_second_approval(repair, revision, "T-1")


def test_a_revision_withdraws_what_was_authorized() -> None:
    repair = estimated(yes(estimated()))
    assert repair.authorization is not None
    assert repair.authorization.state == "withdrawn"
    with pytest.raises(InputError, match="was withdrawn"):
        refuse_closing_above(repair, "T-1-A1", usd(1), usd(350), NOW)


def test_closing_takes_up_to_the_amount_authorized_and_not_a_cent_more() -> None:
    repair = yes(estimated())
    refuse_closing_above(repair, "T-1-A1", usd("500.00"), usd(0), NOW)
    with pytest.raises(InputError, match=r"500.01 USD is 0.01 USD above the 500.00 USD"):
        refuse_closing_above(repair, "T-1-A1", usd("500.01"), usd(9999), NOW)


def test_an_authorized_ticket_is_closed_on_its_authorization_though_the_headroom_be_higher() -> None:
    with pytest.raises(InputError, match="name it"):
        refuse_closing_above(yes(estimated(), 100), None, usd(200), usd(350), NOW)
    refuse_closing_above(yes(estimated(), 100), None, usd(0), usd(350), NOW)


def test_without_an_authorization_the_headroom_counts() -> None:
    for repair in (NOTHING_YET, estimated(), no(estimated())):
        refuse_closing_above(repair, None, usd(350), usd(350), NOW)
        with pytest.raises(InputError, match="without approval"):
            refuse_closing_above(repair, None, usd("350.01"), usd(350), NOW)


def test_a_number_that_was_never_given_is_refused() -> None:
    for repair in (NOTHING_YET, yes(estimated())):
        with pytest.raises(InputError, match='no authorization "T-1-A9"'):
            refuse_closing_above(repair, "T-1-A9", usd(1), usd(350), NOW)


def test_an_authorization_expires() -> None:
    repair = yes(estimated())
    refuse_closing_above(repair, "T-1-A1", usd(1), usd(350), LATER - timedelta(seconds=1))
    assert open_authorization(repair, LATER) is None
    with pytest.raises(InputError, match="expired"):
        refuse_closing_above(repair, "T-1-A1", usd(1), usd(350), LATER)


def test_a_used_authorization_is_not_used_again() -> None:
    repair = after_close(yes(estimated()), "T-1-A1")
    assert repair.authorization is not None
    assert repair.authorization.state == "used"
    with pytest.raises(InputError, match="was used already"):
        refuse_closing_above(repair, "T-1-A1", usd(1), usd(350), NOW)
    refuse_closing_above(repair, None, usd(350), usd(350), NOW)


def test_closing_ends_an_authorization_that_it_does_not_name() -> None:
    repair = after_close(yes(estimated()), None)
    assert repair.authorization is not None
    assert repair.authorization.state == "withdrawn"
    assert (repair.estimate, repair.approval) == (None, None)
    assert open_authorization(repair, NOW) is None
    with pytest.raises(InputError, match="was withdrawn"):
        refuse_closing_above(repair, "T-1-A1", usd(1), usd(350), NOW)


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["estimate", "yes", "no", "close", "close unnamed"]),
        st.integers(0, 4),  # a revision or the number of an authorization, right or wrong
        st.integers(0, 900),
    ),
    max_size=25,
)


@settings(deadline=None)
@given(STEPS)
def test_in_any_order_no_revision_is_approved_twice_and_no_number_used_twice(
    steps: list[tuple[str, int, int]],
) -> None:
    repair: Repair = NOTHING_YET
    given_numbers: list[str] = []
    approved: list[tuple[int, int]] = []
    used: list[str] = []
    closings, headroom = 0, usd(350)
    for step, which, amount in steps:
        try:
            if step == "estimate":
                repair = estimated(repair)
            elif step in ("yes", "no"):
                refuse_second_approval(repair, which, "T-1")
                repair = yes(repair, amount) if step == "yes" else no(repair)
                if step == "yes":
                    assert repair.authorization is not None
                    given_numbers.append(repair.authorization.number)
                    approved.append((which, closings if which == 0 else 0))
            else:
                named = f"T-1-A{which}" if step == "close" else None
                refuse_closing_above(repair, named, usd(amount), headroom, NOW)
                allowed = repair.authorization
                if named is not None:
                    assert allowed is not None
                    assert usd(amount) <= allowed.amount
                    used.append(named)
                else:
                    assert amount == 0 or amount <= 350
                repair = after_close(repair, named)
                closings += 1
        except InputError:
            continue
    assert len(set(given_numbers)) == len(given_numbers)
    assert len(set(used)) == len(used)
    assert set(used) <= set(given_numbers)
    answered = [entry for entry in approved if entry[0] > 0]
    assert len(set(answered)) == len(answered)
