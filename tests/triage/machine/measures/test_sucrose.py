"""The sugar table read in both directions."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.measures.quantities import (
    DENSITY_KG_PER_L,
    DEPRESSION_K,
    brix_freezing_at,
    density_kg_per_l,
    freezing_point_c,
)
from triage.values.errors import InputError


@pytest.mark.parametrize("table", [DEPRESSION_K, DENSITY_KG_PER_L])
def test_the_tables_rise_strictly_so_that_they_can_be_read_backwards(table):
    shares, values = list(table), list(table.values())
    assert all(low < high for low, high in pairwise(shares))
    assert all(low < high for low, high in pairwise(values))


@given(st.floats(0, 42))
@settings(deadline=None, derandomize=True)
def test_the_sugar_share_that_freezes_at_a_freezing_point_is_the_one_it_came_from(brix):
    assert brix_freezing_at(freezing_point_c(brix)) == pytest.approx(brix, abs=1e-9)


def test_water_freezes_at_zero_and_not_at_minus_zero():
    assert str(freezing_point_c(0)) == "0.0"


def test_temperatures_beyond_the_table_are_refused():
    for temperature_c in (0.1, -4.94):
        with pytest.raises(InputError, match="outside the table"):
            brix_freezing_at(temperature_c)


def test_syrups_have_a_density_but_no_freezing_point_here():
    assert density_kg_per_l(65) == pytest.approx((1.2864 + 1.3472) / 2)
    with pytest.raises(InputError):
        freezing_point_c(65)
