"""The cautions that guard against dangers, and those that the facts leave undecided."""

from collections.abc import Callable, Collection, Sequence
from functools import lru_cache
from typing import TypeAlias

from triage.logic.conditions import Facts, FactValue, evaluate, facts_in
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Caution, Rulebook

_Undecided: TypeAlias = Callable[[tuple[FactValue | None, ...]], tuple[Caution, ...]]


def undecided_guards(rulebook: Rulebook, facts: Facts) -> tuple[Caution, ...]:
    """The live cautions that keep checks back and of which the facts do not say whether they hold.

    Those beside checks count as well where they forbid checks by name, such as lifting alone.
    """
    looked_at, undecided = _undecided(rulebook)
    return undecided(tuple(facts.get(fact) for fact in looked_at))


@once_per_rulebook
def _undecided(rulebook: Rulebook) -> tuple[tuple[str, ...], _Undecided]:
    """The facts that guards look at, and of these facts' values (None: not known) the undecided cautions."""
    cautions = _keepers(rulebook)
    looked_at = tuple(sorted(frozenset().union(*(facts_in(caution.head.when) for caution in cautions))))

    @lru_cache(maxsize=4096)
    def undecided(values: tuple[FactValue | None, ...]) -> tuple[Caution, ...]:
        facts = {fact: value for fact, value in zip(looked_at, values, strict=True) if value is not None}
        return tuple(caution for caution in cautions if evaluate(caution.head.when, facts) is None)

    return looked_at, undecided


@once_per_rulebook
def _keepers(rulebook: Rulebook) -> tuple[Caution, ...]:
    return tuple(
        caution
        for caution in rulebook.cautions.values()
        if caution.head.status == "live"
        if caution.forbids or (caution.bars and not caution.only_with_checks)
    )


@once_per_rulebook
def guards(rulebook: Rulebook) -> tuple[Caution, ...]:
    """The live cautions that guard against a danger, in the rulebook's own order."""
    return tuple(
        caution
        for caution in rulebook.cautions.values()
        if caution.guards and caution.head.status == "live" and not caution.only_with_checks
    )


@once_per_rulebook
def near_facts(rulebook: Rulebook) -> frozenset[str]:
    """The facts that nobody can find out without going near the machine."""
    return frozenset(fact.id for fact in rulebook.facts.values() if fact.near)


def not_to_approach(rulebook: Rulebook, stop_use: bool, waits_for: Collection[str]) -> frozenset[str]:
    """The facts that nobody is asked to go and look at, but those that say whether it is safe to."""
    if stop_use:
        return near_facts(rulebook)
    return near_facts(rulebook) - {*waits_for} if waits_for else frozenset()


def leading(
    rulebook: Rulebook, required: Sequence[str], done: Collection[str], kept_back: Collection[str]
) -> Sequence[str] | None:
    """The checks to do before any other; None where they stay undone: then no other is to be done either."""
    if any(
        check in done or check in kept_back or rulebook.checks[check].who != "clerk" for check in required
    ):
        return None
    return required
