"""What an agent may choose from: the facts that are asked, the checks a store can do."""

from triage.rulebook.model import Check, Fact, Rulebook


def askable(rulebook: Rulebook) -> tuple[Fact, ...]:
    """Every fact a clerk can be asked, by title: for questions out of turn."""
    found = (fact for fact in rulebook.facts.values() if fact.asked_of == "clerk")
    return tuple(sorted(found, key=lambda fact: fact.title))


def store_checks(rulebook: Rulebook) -> tuple[Check, ...]:
    """Every check a clerk can do, by title."""
    found = (check for check in rulebook.checks.values() if check.who == "clerk")
    return tuple(sorted(found, key=lambda check: check.title))
