"""Do failures come faster? Verdicts, their caution, and the fit's behavior at the edges."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.lifecycle.exposure import Observation
from triage.machine.lifecycle.trend import laplace, mil_hdbk_189, power_law, trend

FASTER = Observation((400, 600, 700, 800, 850, 900, 930, 960, 980), 1000)
SLOWER = Observation(tuple(1000 - time for time in reversed(FASTER.times)), 1000)


def test_failures_that_crowd_at_the_end_come_faster():
    answer = trend(FASTER)
    assert answer.verdict == "faster"
    assert laplace(FASTER).statistic > 0
    assert answer.power_law.shape > 1


def test_failures_that_crowd_at_the_start_come_more_slowly():
    answer = trend(SLOWER)
    assert answer.verdict == "slower"
    assert answer.power_law.shape < 1


def test_evenly_spread_failures_show_no_trend():
    assert trend(Observation(tuple(range(50, 1000, 100)), 1000)).verdict == "none_shown"


def test_four_failures_are_too_few_however_they_lie():
    seen = Observation((970, 980, 990, 999), 1000)
    answer = trend(seen)
    assert answer.verdict == "too_few"
    assert answer.why == "4 failures are too few to show a trend; it takes 5"
    assert laplace(seen).chance_if_steady_faster < 0.001  # the test alone would have raised an alarm


def test_no_failure_at_all_has_no_test_and_no_fit():
    nothing = Observation((), 1000)
    assert (laplace(nothing), mil_hdbk_189(nothing), power_law(nothing)) == (None, None, None)
    assert trend(nothing).verdict == "too_few"


def test_one_failure_that_ended_the_observation_leaves_nothing_to_test():
    only = Observation((300,), 300, failure_terminated=True)
    assert laplace(only) is None
    assert mil_hdbk_189(only) is None
    assert power_law(only) is None


def test_the_failure_that_made_us_look_does_not_make_a_trend():
    times = (100, 300, 500, 700, 900)
    ended_by_failure = Observation((*times, 1000), 1000, failure_terminated=True)
    assert laplace(ended_by_failure).statistic == laplace(Observation(times, 1000)).statistic == 0


def test_alarms_on_steady_failures_stay_below_five_percent():
    dice = random.Random(20_260_101)
    alarms = sum(
        trend(Observation(tuple(sorted(dice.uniform(1e-9, 1000) for _ in range(8))), 1000)).verdict
        == "faster"
        for _ in range(1000)
    )
    assert 10 <= alarms <= 50  # both tests must agree, so fewer than one test's 5 %


def test_wear_is_found_in_most_machines_that_do_wear_out():
    dice = random.Random(20_260_102)
    found = sum(
        trend(
            Observation(tuple(sorted(1000 * (1 - dice.random()) ** (1 / 3) for _ in range(12))), 1000)
        ).verdict
        == "faster"
        for _ in range(300)
    )
    assert found > 240


def test_the_power_law_ends_where_failures_have_got_to():
    law = power_law(FASTER)
    assert law.mtbf_at_end < 1000 / 9  # failures are closer together now than on average
    assert law.mtbf_at_end == pytest.approx(1000 / (9 * law.shape))


def test_failures_all_at_the_very_end_do_not_overflow():
    law = power_law(Observation((0.5 - 1e-12,) * 6, 0.5))
    assert law.shape > 1e9
    assert power_law(Observation((1000.0,) * 6, 1000)) is None


TIMES = st.lists(st.floats(1e-3, 1000, exclude_max=True), min_size=1, max_size=30)


@settings(deadline=None, derandomize=True, max_examples=80)
@given(TIMES, st.floats(0.01, 100))
def test_the_unit_of_time_changes_no_verdict(times, factor):
    seen = Observation(tuple(sorted(times)), 1000.0)
    scaled = Observation(tuple(min(time * factor, 1000.0 * factor) for time in seen.times), 1000.0 * factor)
    assert laplace(seen).statistic == pytest.approx(laplace(scaled).statistic, abs=1e-6)
    logs, scaled_logs = mil_hdbk_189(seen), mil_hdbk_189(scaled)
    assert logs.statistic == pytest.approx(scaled_logs.statistic, rel=1e-6, abs=1e-6)


@settings(deadline=None, derandomize=True, max_examples=80)
@given(TIMES)
def test_the_chances_lie_between_0_and_1(times):
    seen = Observation(tuple(sorted(times)), 1000.0)
    for test in (laplace(seen), mil_hdbk_189(seen)):
        assert 0 <= test.chance_if_steady_faster <= 1
        assert 0 <= test.chance_if_steady_slower <= 1
