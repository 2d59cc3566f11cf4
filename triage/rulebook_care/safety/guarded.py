"""The facts that the cautions of a rulebook look at, directly or through what is derived from others."""

from __future__ import annotations

from triage.logic.conditions import facts_in
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook


@once_per_rulebook
def guarded_facts(rulebook: Rulebook) -> frozenset[str]:
    """Facts of the rulebook that decide whether a live caution which guards against a danger holds."""
    found: set[str] = set()
    todo = {
        fact
        for caution in rulebook.cautions.values()
        if caution.guards and caution.head.status == "live"
        for fact in facts_in(caution.head.when)
    }
    while todo:
        found |= todo
        todo = {
            fact
            for rule in rulebook.derive.values()
            if rule.head.status == "live" and found & (rule.sets.keys() | rule.otherwise.keys())
            for fact in facts_in(rule.head.when)
        } - found
    return frozenset(found & rulebook.facts.keys())
