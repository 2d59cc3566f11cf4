"""Facts that nothing makes known or looks at, and lists of callers' words.

What a calculation gives costs nobody a question, so it may stand in the vocabulary for people to see.
"""

import re
from collections.abc import Iterator

from triage.inputs.phrases import phrase_key
from triage.logic.conditions import facts_in
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import Words
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.reasoning.program_facts import COMPUTED, LOOKED_AT, SET_UP
from triage.rulebook_care.reasoning.space import Reasoning, conditions_of, settable, table_inputs

_PLACEHOLDER = re.compile(r"\{([a-z][a-z0-9_-]*)\}")


def vocabulary_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes fact-never-known, fact-unused, fact-unfilled, derive-unused."""
    rulebook = reason.rulebook
    used = used_facts(rulebook)
    for fact, values in sorted(settable(rulebook).items()):
        if not values:
            message = f"{fact} is said to be computed, but no calculation gives it and no live rule sets it"
            fix = "Add a derive rule that sets it, ask for it, or take it out"
            yield finding("fact-never-known", fact, f"facts/{fact}.yml", message, fix, ("asked_of",))
    given = (rulebook.program_facts, *(model.facts for model in rulebook.models.values()))
    in_models = frozenset().union(*given)
    filled = COMPUTED | LOOKED_AT | SET_UP
    for known in rulebook.facts.values() if in_models else ():
        if known.asked_of == "record" and known.status == "live" and known.id not in in_models | filled:
            message = f"no model of models.yml has {known.id}, so only records of single machines fill it"
            fix = "Add it to the models, or load it with the machines; where neither is, ask the clerk"
            file = f"facts/{known.id}.yml"
            yield finding("fact-unfilled", known.id, file, message, fix, ("asked_of",))
    read = used_facts(rulebook, only_live=True)
    for rule in rulebook.derive.values():
        if rule.head.status == "live" and not read & {*rule.sets, *rule.otherwise}:
            names = ", ".join(sorted({*rule.sets, *rule.otherwise}))
            message = f"{rule.head.id} sets {names}, at which nothing live looks"
            fix = "Retire it, or use what it sets"
            yield finding("derive-unused", rule.head.id, rule.head.file, message, fix, ("then",))
    set_aside = {fact.id for fact in rulebook.facts.values() if fact.status != "live"}
    for fact in sorted(rulebook.facts.keys() - used - COMPUTED - set_aside):
        message = f"no rule, check, table, warranty or calculation looks at {fact}"
        fix = "Use it in a rule, or take it out: every question costs the clerk time"
        yield finding("fact-unused", fact, f"facts/{fact}.yml", message, fix, ("id",))


def used_facts(rulebook: Rulebook, only_live: bool = False) -> frozenset[str]:
    """Facts that something looks at: a condition (of a live rule, or a draft too), a table, a text, or a
    calculation."""
    conditions = (
        rulebook.live_rules().values() if only_live else [when for _, _, when in conditions_of(rulebook)]
    )
    used = {fact for when in conditions for fact in facts_in(when)}
    used |= {name for table in rulebook.limits.values() for name in table_inputs(table)}
    used |= {fact for _, _, when in rulebook.terms_conditions() for fact in facts_in(when)}
    texts = [
        *(rule.text for rule in rulebook.policy.values()),
        *(caution.text for caution in rulebook.cautions.values()),
    ]
    used |= {name for text in texts for name in _PLACEHOLDER.findall(text)}
    return frozenset(used | LOOKED_AT)


_LANGUAGES = {"en": "English", "es": "Spanish"}


def words_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes words-one-language, words-twice, danger-without-words."""
    rulebook = reason.rulebook
    for words in rulebook.words.values():
        yield from _of_list(words)
    heard = {words.danger for words in rulebook.words.values()}
    for fact in rulebook.facts.values():
        if fact.danger and fact.id not in heard and fact.status == "live":
            message = f"no list of words raises the danger {fact.id}"
            fix = f"Add a list in words/ with `danger: {fact.id}`"
            yield finding("danger-without-words", fact.id, f"facts/{fact.id}.yml", message, fix, ("danger",))


def _of_list(words: Words) -> Iterator[Finding]:
    for key, language in _LANGUAGES.items():
        texts: tuple[str, ...] = getattr(words, key)
        if not texts:
            message = f"{words.id} has no phrases in {language}"
            fix = "Callers of that language are not understood; add some"
            yield finding("words-one-language", words.id, words.file, message, fix, ("id",))
        first: dict[object, int] = {}
        for index, text in enumerate(texts):
            before = first.setdefault(phrase_key(text, key), index)
            if before != index:
                message = f'"{text}" hears the same as "{texts[before]}"'
                yield finding("words-twice", words.id, words.file, message, "Take one out", (key, index))
