"""Freezing-point depression and density of sucrose solutions.

Source: W. M. Haynes and others (editors; from memory); CRC Handbook of Chemistry and Physics, 102nd ed.;
    2021; "Concentrative properties of aqueous solutions"; machine-readable copy at
    https://github.com/amosonabike/CRC-Solution-Properties- commit b43fe5ad
Status: secondary copy
"""

import pytest

from triage.machine.measures.quantities import brix_freezing_at, density_kg_per_l, freezing_point_c
from triage.values.errors import InputError

ROWS = [  # mass percent, molality, density in g/cm3, freezing-point depression in C
    (5, 0.154, 1.0178, 0.29),
    (10, 0.325, 1.0381, 0.63),
    (12, 0.398, 1.0465, 0.77),
    (13, 0.437, 1.0507, 0.85),
    (14, 0.476, 1.0549, 0.93),
    (15, 0.516, 1.0592, 1.01),
    (16, 0.556, 1.0635, 1.10),
    (20, 0.730, 1.0810, 1.47),
    (26, 1.026, 1.1082, 2.12),
    (30, 1.252, 1.1270, 2.64),
    (40, 1.948, 1.1765, 4.45),
]


@pytest.mark.parametrize(("brix", "molality", "density", "depression"), ROWS)
def test_the_rows_of_the_handbook_come_back(brix, molality, density, depression):
    assert freezing_point_c(brix) == pytest.approx(-depression)
    assert density_kg_per_l(brix) == pytest.approx(density)
    assert brix_freezing_at(-depression) == pytest.approx(brix)


def test_between_rows_the_table_is_linear():
    assert freezing_point_c(12.5) == pytest.approx(-0.81)
    assert freezing_point_c(35) == pytest.approx(-(3.27 + 3.63) / 2)


@pytest.mark.parametrize(
    ("brix", "molality", "density", "depression"), [row for row in ROWS if 10 <= row[0] <= 20]
)
def test_the_ideal_law_lies_four_to_eight_percent_below_the_table(brix, molality, density, depression):
    assert 0.92 <= 1.86 * molality / depression <= 0.965


def test_ten_percent_sugar_does_not_freeze_at_minus_1_86_as_some_web_pages_say():
    assert freezing_point_c(10) == pytest.approx(-0.63)


@pytest.mark.parametrize("brix", [-0.1, 42.1])
def test_outside_the_table_is_an_input_error(brix):
    with pytest.raises(InputError, match="outside the table"):
        freezing_point_c(brix)
