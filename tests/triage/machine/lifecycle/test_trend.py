"""Do failures come faster? Verdicts, and their caution."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from triage.machine.lifecycle.trend import SIGNIFICANCE, Observation, laplace, mil_hdbk_189, trend

FASTER = Observation((400, 600, 700, 800, 850, 900, 930, 960, 980), 1000)
SLOWER = Observation(tuple(1000 - time for time in reversed(FASTER.times)), 1000)


def test_failures_that_crowd_at_the_end_come_faster():
    answer = trend(FASTER)
    assert answer.verdict == "faster"
    assert laplace(FASTER).statistic > 0


def test_failures_that_crowd_at_the_start_come_more_slowly():
    answer = trend(SLOWER)
    assert answer.verdict == "slower"


def test_evenly_spread_failures_show_no_trend():
    assert trend(Observation(tuple(range(50, 1000, 100)), 1000)).verdict == "none_shown"


def test_four_failures_are_too_few_however_they_lie():
    seen = Observation((970, 980, 990, 999), 1000)
    answer = trend(seen)
    assert answer.verdict == "too_few"
    assert answer.why == "4 failures are too few to show a trend; it takes 5"
    assert laplace(seen).chance_if_steady_faster < 0.001  # the test alone would have raised an alarm


def test_no_failure_at_all_has_no_test():
    nothing = Observation((), 1000)
    assert (laplace(nothing), mil_hdbk_189(nothing)) == (None, None)
    assert trend(nothing).verdict == "too_few"


def test_one_failure_that_ended_the_observation_leaves_nothing_to_test():
    only = Observation((300,), 300, failure_terminated=True)
    assert laplace(only) is None
    assert mil_hdbk_189(only) is None


def test_the_failure_that_made_us_look_does_not_make_a_trend():
    times = (100, 300, 500, 700, 900)
    ended_by_failure = Observation((*times, 1000), 1000, failure_terminated=True)
    assert laplace(ended_by_failure).statistic == laplace(Observation(times, 1000)).statistic == 0


Lives = np.ndarray[tuple[int, int], np.dtype[np.float64]]
LEVEL, LIVES = 0.05, 20_000


def lives(shape: float, failures: int, count: int) -> Lives:
    """Failure times of power laws, one unit of expected failures apart; a life a row."""
    steps = np.random.default_rng(20_260_101).exponential(size=(count, failures))
    return np.cumsum(steps, axis=1) ** (1 / shape)


def alarms(times: Lives, just_after: bool = False) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Whether some look at each life alarms: at each failure, or just after it, where it is worst."""
    raised = np.zeros(len(times), dtype=bool)
    sums, logs = np.cumsum(times, axis=1), np.cumsum(np.log(times), axis=1)
    for free in range(4, times.shape[1] + just_after):
        end = times[:, free - just_after]
        z = np.sqrt(12 * free) * (sums[:, free - 1] / free / end - 0.5)
        by_logs = special.chdtr(2 * free, 2 * (free * np.log(end) - logs[:, free - 1]))
        raised |= np.maximum(special.ndtr(-z), by_logs) <= SIGNIFICANCE
    return raised


def alarmed(times: list[float], just_after: bool) -> bool:
    """The same of one life, by the program."""

    def look(count: int) -> Observation:
        end = times[count - 1]
        return Observation((*times[:count], *([end] if just_after else [])), end, failure_terminated=True)

    return any(trend(look(n)).verdict == "faster" for n in range(4 if just_after else 5, len(times) + 1))


@pytest.mark.parametrize("just_after", [True, False])
def test_lives_are_looked_at_as_the_program_does(just_after: bool):
    some = np.concatenate([lives(1, 20, 40), lives(2.5, 20, 40)])
    found = alarms(some, just_after)
    assert found.any() and not found.all()
    assert [alarmed(one, just_after) for one in some.tolist()] == found.tolist()


def test_a_life_of_steady_failures_has_few_false_alarms_whenever_it_is_asked():
    assert 0.03 < alarms(lives(1, 60, LIVES), just_after=True).mean() <= LEVEL
    assert alarms(lives(1, 60, LIVES)).mean() <= 0.02


def test_wear_is_found_in_most_machines_that_do_wear_out():
    assert alarms(lives(3, 20, LIVES)).mean() > 0.9


@pytest.mark.nightly
def test_many_lives_have_the_false_alarms_and_the_power_that_are_said():
    for failures, said in [(60, 0.042), (100, 0.046)]:
        found = alarms(lives(1, failures, 10 * LIVES), just_after=True).mean()
        assert found <= LEVEL and found == pytest.approx(said, abs=0.002)
    power = {1.5: (0.04, 0.11, 0.35), 2: (0.17, 0.44, 0.90), 3: (0.58, 0.94, 1.0)}
    for shape, shares in power.items():
        for failures, said in zip((12, 20, 40), shares, strict=True):
            found = alarms(lives(shape, failures, LIVES)).mean()
            print(f"wear of shape {shape} is found in {found:.1%} of machines by failure {failures}")
            assert found == pytest.approx(said, abs=0.01)


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
