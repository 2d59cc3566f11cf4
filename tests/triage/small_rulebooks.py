"""Rulebooks of plain numbers, for tests of the arithmetic: made directly, without files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from triage.logic.conditions import ALWAYS, Compare, Condition, FactTest
from triage.rulebook.model import (
    Cause,
    Caution,
    Check,
    DeriveRule,
    EvidenceRule,
    Fact,
    Repair,
    Rulebook,
    RuleHead,
    Status,
    Symptom,
    Tolerances,
)
from triage.rulebook.terms import RateAgreement, Rates, ServiceHours, StoreRates

SOURCE = "common practice, no source"
ZERO = Decimal(0)


def store_rates(clerk_hour: str = "60", lost_sales_hour: str = "0") -> StoreRates:
    """By default a check of n minutes costs n."""
    return StoreRates(Decimal(clerk_hour), Decimal(lost_sales_hour), Decimal(16), Decimal("1.5"))


def rule_head(rule_id: str, when: Condition = ALWAYS, status: Status = "live") -> RuleHead:
    return RuleHead(rule_id, f"Rule {rule_id}", status, "desk", "", SOURCE, when, "", (), rule_id)


def flag_is(fact: str, value: bool = True) -> Condition:
    return FactTest(fact, Compare("=", value))


def evidence_rule(
    rule_id: str,
    others: float,
    group: str | None = None,
    band: int = 0,
    when: Condition | None = None,
    status: Status = "live",
    **seen_with: float,
) -> EvidenceRule:
    """By default the rule looks at the flag of its own name."""
    head = rule_head(rule_id, flag_is(rule_id) if when is None else when, status)
    return EvidenceRule(head, seen_with, others, group, band)


def check_of(
    check_id: str,
    cost: float | str,
    resolves: Mapping[str, float],
    who: str = "clerk",
    when: Condition = ALWAYS,
    minutes: int = 0,
    wait_minutes: int = 0,
) -> Check:
    """A check whose cost is materials, and clerk's minutes and waiting where given."""
    return Check(
        check_id,
        f"Check {check_id}",
        when,
        "technician" if who == "technician" else "clerk",
        minutes,
        wait_minutes,
        resolves,
        (),
        ("Do it.",),
        "It pours.",
        Decimal(str(cost)),
        "",
        SOURCE,
    )


def clerk_fact(fact_id: str, **more: object) -> Fact:
    """A flag asked of the clerk, unless `more` says otherwise."""
    given: dict[str, object] = {
        "id": fact_id,
        "title": fact_id,
        "type": "flag",
        "asked_of": "clerk",
        "ask": f"{fact_id}?",
        "ask_seconds": 0,
        **more,
    }
    return Fact(**given)  # type: ignore[arg-type]


def small_rulebook(
    shares: Mapping[str, Mapping[str, float]],
    evidence: Sequence[EvidenceRule] = (),
    checks: Sequence[Check] = (),
    facts: Sequence[Fact] = (),
    derive: Sequence[DeriveRule] = (),
    cautions: Sequence[Caution] = (),
    store: StoreRates | None = None,
    tolerances: Tolerances | None = None,
    together: Sequence[tuple[str, ...]] = (),
) -> Rulebook:
    """`shares` is symptom -> cause -> share; every cause named there exists."""
    causes = sorted({cause for by_cause in shares.values() for cause in by_cause})
    agreement = RateAgreement(ZERO, ZERO, 15, 0, ZERO, Decimal(1), ZERO, ZERO, frozenset(), ZERO, ())
    return Rulebook(
        title="Small",
        currency="USD",
        version="sha256:" + "0" * 64,
        tolerances=tolerances or Tolerances(),
        facts={fact.id: fact for fact in facts},
        symptoms={
            symptom: Symptom(
                symptom,
                symptom,
                {cause: Decimal(str(share)) for cause, share in by_cause.items()},
                (),
                SOURCE,
            )
            for symptom, by_cause in shares.items()
        },
        causes={
            cause: Cause(cause, f"Cause {cause}", "part", Repair(Decimal(1)), "", SOURCE) for cause in causes
        },
        derive={rule.head.id: rule for rule in derive},
        evidence={rule.head.id: rule for rule in evidence},
        cautions={caution.head.id: caution for caution in cautions},
        checks={check.id: check for check in checks},
        policy={},
        warranty={},
        limits={},
        authorities={},
        rates=Rates(agreement, {}, store or store_rates(), ZERO),
        parts={},
        service_hours=ServiceHours({}, None, None, {}, 3),
        cases={},
        together=tuple(together),
    )
