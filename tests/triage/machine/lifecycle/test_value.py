"""How a value falls."""

from __future__ import annotations

from decimal import Decimal

import pytest

from triage.machine.lifecycle.life_numbers import values_ahead
from triage.values.errors import InputError


def test_a_value_falls_by_its_share_every_year():
    assert values_ahead(Decimal(1000), 0, Decimal("0.2")) == ()
    assert values_ahead(Decimal(1000), 2, Decimal("0.2")) == (800, 640)


def test_what_cannot_depreciate_is_refused():
    with pytest.raises(InputError, match="from 0 to below 1"):
        values_ahead(Decimal(1000), 1, Decimal(1))
    with pytest.raises(InputError, match="not below 0"):
        values_ahead(Decimal(1000), -1, Decimal("0.2"))
