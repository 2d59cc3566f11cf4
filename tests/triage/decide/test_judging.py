"""A visit is priced for when someone is to come, though it is a policy rule that says how soon."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.builders import minimal_files, policy
from triage.decide.causes.inference import compile_rulebook
from triage.decide.pipeline import decide
from triage.decide.visit import lateness
from triage.inputs.report import read_report
from triage.logic.conditions import Facts, Truth
from triage.records.decision import Decision
from triage.records.report import History
from triage.rulebook.reading.reader import rulebook_from_data

DAY, NIGHT = "2026-03-02T09:00:00+00:00", "2026-03-02T15:00:00+00:00"
"""Someone due four hours later comes by day, or after the service hours end at 17:00."""


def files(**rules: tuple[dict[str, object], int | None]) -> dict[str, object]:
    """350 may be spent by day, 800 after hours; `rules` by name: when, and the priority of the visit."""
    found: dict[str, Any] = minimal_files()
    for name, (when, priority) in rules.items():
        rule: dict[str, Any] = policy(
            name, when, {"solved": True}, {"solved": False}, "dispatch", 100, "Send."
        )
        if priority is not None:
            rule["then"]["visit_priority"] = priority
        found[f"policy/{name}.yml"] = rule
    rows = [
        {"when": {"after_hours": late}, "then": {"amount": 800 if late else 350}} for late in (True, False)
    ]
    found["limits/standing.yml"] |= {"inputs": ["after_hours"], "rows": rows}
    return found


class Counting:
    """An engine that counts how often policy speaks."""

    def __init__(self, data: dict[str, object]) -> None:
        self.rulebook = rulebook_from_data(data)
        self._engine = compile_rulebook(self.rulebook, "plain")
        self.name, self.policy = self._engine.name, 0

    def truths(self, stage: str, facts: Facts) -> dict[str, Truth]:
        self.policy += stage == "policy"
        return dict(self._engine.truths(stage, facts))

    def decided(self, at: str, **report: object) -> Decision:
        read = read_report({"symptoms": ["leaking"], "reported_at": at, **report}, self.rulebook)
        return decide(self.rulebook, self, read, None, History(), read.reported_at + timedelta(minutes=1))


AT_ONCE: tuple[dict[str, object], int] = ({"symptom": '"leaking"', "estimate_given": False}, 1)


def test_a_leak_that_a_rule_sends_someone_to_tonight_has_tonights_limit_and_rates() -> None:
    engine = Counting(files(leak=AT_ONCE))
    night, day = engine.decided(NIGHT), engine.decided(DAY)

    assert (night.priority, night.after_hours_agreed) == (day.priority, day.after_hours_agreed) == (1, True)
    assert (night.computed_facts["after_hours"], night.limit.headroom.amount) == (True, 800)
    assert (day.computed_facts["after_hours"], day.limit.headroom.amount) == (False, 350)
    assert night.limit.expected_repair.amount > day.limit.expected_repair.amount


def test_policy_speaks_once_more_and_only_where_the_price_hangs_on_it() -> None:
    engine = Counting(files(leak=AT_ONCE))
    engine.decided(NIGHT)
    assert engine.policy == 2
    waits = Counting(files(leak=({"symptom": '"leaking"'}, 2)))  # within the service hours, as the default
    assert (waits.decided(NIGHT).priority, waits.policy) == (2, 1)


def test_an_estimate_is_judged_as_the_visit_that_it_is_of() -> None:
    found = Counting(files(leak=AT_ONCE)).decided(NIGHT, estimate={"total": "700.00"})

    assert (found.priority, found.after_hours_agreed) == (3, True)  # no rule speaks of what comes after it
    assert (found.limit.headroom.amount, found.computed_facts["over_limit"]) == (800, False)


def test_a_rule_that_wants_less_haste_than_the_default_takes_the_night_away() -> None:
    data: dict[str, Any] = files(leak=({"symptom": '"leaking"'}, 3))
    data["service_hours.yml"] |= {"default_priority": 1}
    found = Counting(data).decided(NIGHT)
    assert (found.priority, found.after_hours_agreed, found.limit.headroom.amount) == (3, False, 350)


@pytest.mark.parametrize("needs", ["<= 350", "> 350"])
def test_where_the_rules_turn_with_the_price_the_more_urgent_wins(needs: str) -> None:
    """By day 350 may be spent, so somebody comes at once; then 800 may be, so it could wait; and so on."""
    found = Counting(files(poor=({"headroom": needs}, 1), rich=({"solved": False}, 3))).decided(NIGHT)
    urgent = needs == "<= 350"
    assert (found.priority, found.after_hours_agreed) == ((1, True) if urgent else (3, False))
    assert found.limit.headroom.amount == (800 if urgent else 350)


RULES = st.lists(
    st.tuples(
        st.sampled_from(["headroom", "expected_repair", "chance_over", "after_hours"]),
        st.sampled_from(["< 400", "> 400", "< 200", "> 0.01"]),
        st.booleans(),
        st.sampled_from([None, 1, 2, 3, 4]),
    ),
    max_size=5,
)


@settings(max_examples=60, deadline=None)
@given(
    rules=RULES,
    default=st.integers(1, 4),
    hour=st.integers(0, 23),
    estimate=st.sampled_from([None, "500.00"]),
)
def test_whatever_the_rules_hang_on_the_price_is_that_of_the_urgency(
    rules: list[tuple[str, str, bool, int | None]], default: int, hour: int, estimate: str | None
) -> None:
    made = {
        f"rule-{number}": ({fact: late if fact == "after_hours" else test}, priority)
        for number, (fact, test, late, priority) in enumerate(rules)
    }
    data: dict[str, Any] = files(**made)
    priorities = {1: (4, "elapsed"), 2: (9, "service"), 3: (27, "service"), 4: (11, "elapsed")}
    data["service_hours.yml"] |= {
        "default_priority": default,
        "priorities": {
            str(one): {"hours": hours, "clock": clock} for one, (hours, clock) in priorities.items()
        },
    }
    engine = Counting(data)
    at = datetime.fromisoformat(DAY).replace(hour=hour)
    more = {} if estimate is None else {"estimate": {"total": estimate}}
    found = engine.decided(at.isoformat(), **more)

    assert engine.policy <= (len(priorities) + 1) * (1 if estimate is None else 2)
    if estimate is None:
        read = read_report({"symptoms": ["leaking"], "reported_at": at.isoformat()}, engine.rulebook)
        late = lateness(engine.rulebook, read, None, found.priority)
        assert (late.agreed, late.after_hours) == (
            found.after_hours_agreed,
            found.computed_facts["after_hours"],
        )
    assert found.limit.headroom.amount == (800 if found.computed_facts["after_hours"] else 350)
