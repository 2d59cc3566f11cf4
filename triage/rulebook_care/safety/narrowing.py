"""What cautions look at, and whether a condition still holds wherever it held: a proof over two rulebooks."""

from dataclasses import replace

from triage.logic.conditions import Condition, facts_in
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Fact, Rulebook
from triage.rulebook_care.reasoning.formulas import TooHard, Wish
from triage.rulebook_care.reasoning.space import Reasoning


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


UNPROVED = "it cannot be proved that it still holds wherever it held"


class Narrowing:
    """Compares conditions of `before` with conditions of `after`. The work it may do is counted."""

    def __init__(self, before: Rulebook, after: Rulebook) -> None:
        self._retyped = {
            id_
            for id_, fact in before.facts.items()
            if id_ in after.facts and after.facts[id_].type != fact.type
        }
        self._reason = Reasoning(_both(before, after))

    def lost(self, old: Condition, new: Condition) -> str | None:
        """Why reports are left out in which `old` holds and `new` does not, with an example; None: none are.

        What cannot be proved counts as left out.
        """
        return self._example(old, "true", new, "not true", "it no longer holds for")

    def gained(self, old: Condition, new: Condition, under: Condition | None = None) -> str | None:
        """Why there are reports in which `new` holds and `old` does not, `under` holding too; None: none."""
        return self._example(new, "true", old, "not true", "it is so now for", under)

    def fails_more(self, old: Condition, new: Condition) -> bool:
        """Whether `new` is false in reports in which `old` is not; so, too, where it is unproved."""
        return self._example(new, "false", old, "not false", "it fails for") is not None

    def _example(
        self,
        one: Condition,
        so: Wish,
        other: Condition,
        not_so: Wish,
        words: str,
        under: Condition | None = None,
    ) -> str | None:
        if one == other:
            return None
        if (facts_in(one) | facts_in(other)) & self._retyped:
            return UNPROVED
        space = self._reason.space
        try:
            beside = () if under is None else (space.formula(under, "true"),)
            found = self._reason.together([space.formula(one, so), space.formula(other, not_so), *beside])
        except TooHard:
            return UNPROVED
        return None if found is None else f"{words} {self._reason.example(found, (one, other))}"


def _both(before: Rulebook, after: Rulebook) -> Rulebook:
    """`before` with everything that conditions of `after` look at besides."""

    def joined(id_: str, fact: Fact) -> Fact:
        other = after.facts.get(id_)
        return fact if other is None else replace(fact, choices={**other.choices, **fact.choices})

    own = {id_: joined(id_, fact) for id_, fact in before.facts.items()}
    return replace(
        before,
        facts={**after.facts, **own},
        symptoms={**after.symptoms, **before.symptoms},
        causes={**after.causes, **before.causes},
        checks={**before.checks, **{f"{id_} after": each for id_, each in after.checks.items()}},
        cautions={**before.cautions, **{f"{id_} after": each for id_, each in after.cautions.items()}},
        derive={**before.derive, **{f"{id_} after": each for id_, each in after.derive.items()}},
    )
