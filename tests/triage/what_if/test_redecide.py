"""Where a decision that is made again differs from the one recorded."""

from __future__ import annotations

from decimal import Decimal

import pytest

from triage.what_if.redecide import compared


@pytest.mark.parametrize(
    ("recorded", "again", "differs"),
    [
        (Decimal("0.7737556561085973"), Decimal("0.7737556561085972"), False),
        (Decimal("-0.7737556561085973"), Decimal("0.7737556561085973"), True),
        (Decimal("345.00"), Decimal("345.01"), True),
        (Decimal("1000000000.00"), Decimal("1000000000.01"), True),
        (Decimal(0), Decimal("1e-30"), True),
        (Decimal(0), 0, False),
        (Decimal(1), True, True),
        ("0.77", Decimal("0.77"), True),
    ],
)
def test_a_number_may_end_on_another_last_digit_and_nothing_else_may(
    recorded: object, again: object, differs: bool
) -> None:
    assert compared({"cost": recorded}, {"cost": again}) == (("/cost",) if differs else (), ())
