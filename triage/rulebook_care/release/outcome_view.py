"""What a replay looks at in a decision, the same for one that was recorded and one made again."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import prod
from typing import Any, Literal, TypeAlias

from triage.records.decision import Decision

SafetyKind: TypeAlias = Literal[
    "use no longer stopped", "caution no longer said", "check offered in danger", "check without its caution",
    "visit less urgent", "no decision",
]  # fmt: skip

URGENT = 1
"""The visit priority of danger."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A decision as far as two rulebooks are compared. `spend` is what the rest of the call costs on average.

    `cautions` are those that the facts call for, with whether they stop use; `checks` are the steps of the
    plan, with the cautions read out beside each.
    """

    outcome: str
    spend: Decimal
    cautions: Mapping[str, bool]
    checks: Mapping[str, frozenset[str]]
    visit_priority: int | None  # None: nobody is sent
    chances: Mapping[str, float]
    unfixed: float = 1.0  # how likely it was that the checks that did not fix it would not

    @property
    def stops_use(self) -> bool:
        return any(self.cautions.values())


@dataclass(frozen=True, slots=True)
class LostSafety:
    """Something that kept people safe in a recorded decision and is not in the candidate's."""

    kind: SafetyKind
    what: str


def seen_in(decision: Decision, not_cured: Collection[str] = ()) -> Seen:
    """`not_cured` are the checks that were done and did not fix it."""
    costs = decision.expected_cost
    swap = decision.computed_facts.get("swap_cost")
    fired = set(decision.fired)
    return Seen(
        outcome=decision.outcome,
        spend=_spend(decision.outcome, costs.plan.amount, costs.dispatch_now.amount, swap),
        cautions={said.rule: said.stop_use for said in decision.cautions if said.rule in fired},
        checks={step.check: frozenset(step.cautions) for step in decision.plan},
        visit_priority=None if decision.visit is None else decision.visit.priority,
        chances={cause.cause: cause.chance for cause in decision.causes},
        unfixed=_unfixed(
            (each.share, [(factor.rule, factor.probability) for factor in each.factors], not_cured)
            for each in decision.causes
        ),
    )


def seen_in_json(data: Mapping[str, Any], not_cured: Collection[str] = ()) -> Seen:
    """The same from a recorded decision, the contract's JSON."""
    costs, visit = data["expected_cost"], data["visit"]
    fired = set(data["fired"])
    swap = data.get("computed_facts", {}).get("swap_cost")
    return Seen(
        outcome=data["outcome"],
        spend=_spend(data["outcome"], Decimal(costs["plan"]), Decimal(costs["dispatch_now"]), swap),
        cautions={said["rule"]: said["stop_use"] for said in data["cautions"] if said["rule"] in fired},
        checks={step["check"]: frozenset(step["cautions"]) for step in data["plan"]},
        visit_priority=None if visit is None else visit["priority"],
        chances={cause["cause"]: float(cause["chance"]) for cause in data["causes"]},
        unfixed=_unfixed(
            (
                float(each["share"]),
                [(factor["rule"], float(factor["probability"])) for factor in each["factors"]],
                not_cured,
            )
            for each in data["causes"]
        ),
    )


def _unfixed(causes: Iterable[tuple[float, Sequence[tuple[str, float]], Collection[str]]]) -> float:
    """P(no check fixed it) from each cause's share and P(observed | cause), the checks named by id."""
    before = after = 0.0
    for share, observed, checks in causes:
        known = share * prod(chance for rule, chance in observed if rule not in checks)
        before += known
        after += known * prod(chance for rule, chance in observed if rule in checks)
    return after / before if before else 1.0


def lost_safety(before: Seen, after: Seen | None) -> Iterator[LostSafety]:
    """What `before` had for people's safety and `after` has not; None: the candidate gives no decision.

    A rule under another id counts as lost, lest a rename hide a loss.
    """
    if after is None:
        yield LostSafety("no decision", "the candidate cannot decide this report")
        return
    if before.stops_use and not after.stops_use:
        yield LostSafety(
            "use no longer stopped", ", ".join(r for r, stops in before.cautions.items() if stops)
        )
    for rule in before.cautions:
        if rule not in after.cautions:
            yield LostSafety("caution no longer said", rule)
    if before.stops_use and not before.checks:
        for check in after.checks:
            yield LostSafety("check offered in danger", check)
    for check, cautions in before.checks.items():
        for rule in sorted(cautions - after.checks.get(check, cautions)):
            yield LostSafety("check without its caution", f"{check}: {rule}")
    if before.visit_priority == URGENT != after.visit_priority:
        now = "nobody is sent" if after.visit_priority is None else f"priority {after.visit_priority}"
        yield LostSafety("visit less urgent", f"priority {URGENT} → {now}")


def _spend(outcome: str, plan: Decimal, dispatch_now: Decimal, swap_cost: object) -> Decimal:
    if outcome == "fix_in_store":
        return plan
    if outcome == "swap" and isinstance(swap_cost, int | float | Decimal):
        return Decimal(str(swap_cost))
    return dispatch_now
