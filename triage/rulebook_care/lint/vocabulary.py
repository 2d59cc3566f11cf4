"""Facts that nothing makes known, and facts that nothing looks at.

What a calculation gives costs nobody a question, so it may stand in the vocabulary for people to see.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from triage.logic.conditions import facts_in
from triage.rulebook.model import Rulebook
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.reasoning.program_facts import COMPUTED, LOOKED_AT
from triage.rulebook_care.reasoning.space import (
    Reasoning,
    conditions_of,
    risk_conditions,
    settable,
    table_inputs,
)

_PLACEHOLDER = re.compile(r"\{([a-z][a-z0-9_-]*)\}")


def vocabulary_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes fact-never-known, fact-unused."""
    rulebook = reason.rulebook
    used = used_facts(rulebook)
    for fact, values in sorted(settable(rulebook).items()):
        if not values:
            message = f"{fact} is said to be computed, but no calculation gives it and no live rule sets it"
            fix = "Add a derive rule that sets it, ask for it, or take it out"
            yield finding("fact-never-known", fact, f"facts/{fact}.yml", message, fix, ("asked_of",))
    for fact in sorted(rulebook.facts.keys() - used - COMPUTED):
        message = f"no rule, check, table, warranty or calculation looks at {fact}"
        fix = "Use it in a rule, or take it out: every question costs the clerk time"
        yield finding("fact-unused", fact, f"facts/{fact}.yml", message, fix, ("id",))


def used_facts(rulebook: Rulebook) -> frozenset[str]:
    """Facts that something looks at: a condition, a table, a text, or a calculation."""
    used = {fact for _, _, when in conditions_of(rulebook) for fact in facts_in(when)}
    used |= {name for table in rulebook.limits.values() for name in table_inputs(table)}
    for terms in rulebook.warranty.values():
        used |= {fact for when in risk_conditions(terms) for fact in facts_in(when)}
    texts = [
        *(rule.text for rule in rulebook.policy.values()),
        *(caution.text for caution in rulebook.cautions.values()),
    ]
    used |= {name for text in texts for name in _PLACEHOLDER.findall(text)}
    return frozenset(used | LOOKED_AT)
