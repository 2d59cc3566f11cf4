"""The cautions that guard against dangers, and those that the facts leave undecided."""

from collections.abc import Callable
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
