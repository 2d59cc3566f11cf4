"""The fold of an installation's events, and which may follow which, over random runs."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from triage.records.installs.job import (
    NEXT,
    STATES,
    STEPS,
    CalledBack,
    Canceled,
    Counted,
    Dated,
    Filled,
    Finished,
    Install,
    InstallEvent,
    Planned,
    Promised,
    Step,
    Trained,
    fold,
    name_of,
    step_from_data,
)
from triage.values.dataclass_json import as_data

START = datetime(2026, 3, 2, 15, tzinfo=UTC)
EACH: tuple[Step, ...] = (
    Planned("halt-001", "LH-20", "fogline", "LH20-1", "by the back door"),
    Filled("survey", {"circuit/volts": 119}),
    Filled("set_up", {"points/tray_in": True}),
    Filled("hand_over", {"points/number_left": True}),
    Dated(START + timedelta(days=1), 180, "fogline", "Ray"),
    Counted({"leg": 4}, "LH20-1"),
    Trained(("Dana",), ("fill",), "Ray", "Dana", True),
    Promised("tray_in", date(2026, 3, 20), "It is on order."),
    Finished(("tray_in",), ()),
    Finished(("water_test",), ("water_test",)),
    CalledBack("fogline", date(2026, 3, 5), "It leaks."),
    Canceled("The store closes."),
)


def after(install: Install | None, step: Step) -> Install:
    seq = 1 if install is None else install.version + 1
    return fold(install, InstallEvent("I-1", seq, START + timedelta(minutes=seq), "desk", step))


@pytest.mark.parametrize("step", EACH, ids=lambda step: step.kind)
def test_a_step_is_read_back_as_it_was_stored(step: Step) -> None:
    assert step_from_data(step.kind, as_data(step)) == step


def test_every_kind_of_step_is_tried_here() -> None:
    assert {step.kind for step in EACH} == STEPS.keys()
    assert NEXT.keys() == set(STATES)
    assert set().union(*NEXT.values()) == {name_of(step) for step in EACH} - {"planned"}


@given(st.lists(st.sampled_from(EACH), max_size=40))
def test_a_random_run_keeps_to_the_table_and_never_goes_live_past_what_blocks(steps: list[Step]) -> None:
    install = after(None, EACH[0])
    for step in steps:
        before = install
        if name_of(step) not in NEXT[before.state]:
            with pytest.raises(ValueError, match="cannot follow"):
                after(before, step)
            continue
        install = after(before, step)
        assert install.version == before.version + 1
        went_live = install.state == "live" and before.state != "live"
        assert not went_live or (
            isinstance(step, Finished) and not step.blocking and before.state == "in_work"
        )
        came_first: dict[str, Callable[[Install], bool]] = {
            "dated": lambda one: bool(one.visits),
            "in_work": lambda one: one.counts is not None or one.called_back is not None,
            "call_back": lambda one: one.called_back is not None,
            "live": lambda one: one.live_at is not None and one.called_back is None,
        }
        assert came_first.get(install.state, lambda _: True)(install)
        if before.state == "canceled":
            raise AssertionError("nothing follows a cancellation")


def test_an_answer_that_is_taken_back_is_gone() -> None:
    install = after(after(None, EACH[0]), EACH[1])
    assert after(install, Filled("survey", {"circuit/volts": None})).answers == {}


def test_a_gap_in_the_log_is_refused() -> None:
    install = after(None, EACH[0])
    with pytest.raises(ValueError, match="does not follow"):
        fold(install, InstallEvent("I-1", 3, START, "desk", EACH[1]))
    with pytest.raises(ValueError, match="starts with `planned`"):
        fold(None, InstallEvent("I-1", 1, START, "desk", EACH[1]))
