"""What stands twice, what nothing makes known or refers to, names that lead nowhere, and callers' words.

What a calculation gives costs nobody a question, so it may stand in the vocabulary for people to see.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping

from triage.inputs.phrases import phrase_key, phrase_start
from triage.logic.conditions import FactTest, facts_in, values_in, walk
from triage.rulebook.model import Fact, Rulebook
from triage.rulebook.terms import LimitTable, Words
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.reasoning.program_facts import COMPUTED, LOOKED_AT, SET_UP
from triage.rulebook_care.reasoning.space import Reasoning, conditions_of, settable, table_inputs
from triage.values.plain_data import Path
from triage.values.shown import nearest

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
        starts = [phrase_start(text) for text in texts]
        alike = {start for start, number in Counter(starts).items() if number > 1}
        first: dict[object, int] = {}
        for index, text in enumerate(texts):
            if starts[index] not in alike:
                continue
            before = first.setdefault(phrase_key(text, key), index)
            if before != index:
                message = f'"{text}" hears the same as "{texts[before]}"'
                yield finding("words-twice", words.id, words.file, message, "Take one out", (key, index))


_LOOKED_UP: Mapping[str, Callable[[Rulebook], Iterable[str]]] = {
    "model": lambda rulebook: rulebook.models,
    "contractor": lambda rulebook: rulebook.rates.contractors,
}
"""Facts of free text whose values are names that a file of the rulebook lists -> those names."""

_UNITS: Mapping[str, frozenset[str]] = {
    "days": frozenset({"d", "day"}),
    "hours": frozenset({"h", "hour"}),
    "min": frozenset({"min", "minute"}),
    "in": frozenset({"inch"}),
    "ft": frozenset({"foot"}),
    "kg": frozenset({"kg", "kilogram"}),
    "l": frozenset({"l", "liter"}),
    "c": frozenset({"degC"}),
    "f": frozenset({"degF"}),
    "volts": frozenset({"V", "volt"}),
    "amps": frozenset({"A", "ampere"}),
    "watts": frozenset({"W", "watt"}),
    "pct": frozenset({"percent"}),
}
"""Last word of a fact's id -> the units it may mean."""


def leftover_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes said-twice, name-unknown, lookalike, unit-*, no-range, unused, says-nothing, authority-short."""
    rulebook = reason.rulebook
    yield from _said_twice(rulebook)
    yield from _names(rulebook)
    for fact in rulebook.facts.values():
        yield from _of_number(fact)
    yield from _unused(rulebook)
    for table in rulebook.limits.values():
        if table.kind == "authority":
            yield from _authorities(rulebook, table)
    for case in rulebook.cases.values():
        if not case.expect:
            message = f"{case.id} expects nothing, so it cannot fail"
            fix = "Say the outcome that is right"
            yield finding("says-nothing", case.id, f"cases/{case.id}.yml", message, fix, ("expect",))
    kinds = (rulebook.derive, rulebook.evidence, rulebook.cautions, rulebook.policy)
    for head in (rule.head for kind in kinds for rule in kind.values()):
        if head.since is not None:
            message = f"nothing goes by the `since` of {head.id}"
            fix = "Take it out; `valid_from` says from which day a rule applies"
            yield finding("says-nothing", head.id, head.file, message, fix, ("since",))


def _said_twice(rulebook: Rulebook) -> Iterator[Finding]:
    said: dict[tuple[str, str], str] = {}
    for what, id_, file, path, text in _told_apart(rulebook):
        in_both = (("", text), (" in Spanish", rulebook.spanish.get(text)))
        for language, words in ((language, words) for language, words in in_both if words is not None):
            first = said.setdefault((what + language, " ".join(words.casefold().split())), id_)
            if first != id_:
                message = f"{id_} has the same {what}{language} as {first}: “{words[:80]}”"
                fix = "Word one so that people tell them apart"
                yield finding("said-twice", id_, file, message, fix, path)
                break
    for check in rulebook.checks.values():
        spanish = tuple(rulebook.spanish.get(step, step) for step in check.steps)
        for index, (step, said_es) in enumerate(zip(check.steps, spanish, strict=True)):
            if step in check.steps[:index] or said_es in spanish[:index]:
                message = f"a step of {check.id} stands twice: “{step[:80]}”"
                file = f"checks/{check.id}.yml"
                yield finding("said-twice", check.id, file, message, "Take one out", ("steps", index))


def _told_apart(rulebook: Rulebook) -> Iterator[tuple[str, str, str, Path, str]]:
    """What people tell things by: kind of text, id, file, place and text."""
    for kind in ("symptoms", "causes", "checks", "facts"):
        for entry in getattr(rulebook, kind).values():
            yield f"title ({kind})", entry.id, f"{kind}/{entry.id}.yml", ("title",), entry.title
    for fact in rulebook.facts.values():
        file = f"facts/{fact.id}.yml"
        if fact.ask:
            yield "question", fact.id, file, ("ask",), fact.ask
        for choice, title in fact.choices.items():
            yield f"choice of {fact.id}", choice, file, ("choices", choice), title
    for symptom in rulebook.symptoms.values():
        for index, words in enumerate(symptom.callers_say):
            yield "words of callers", symptom.id, f"symptoms/{symptom.id}.yml", ("callers_say", index), words


def _names(rulebook: Rulebook) -> Iterator[Finding]:
    lists = {fact: tuple(listed(rulebook)) for fact, listed in _LOOKED_UP.items()}
    for id_, file, when in (*conditions_of(rulebook), *rulebook.terms_conditions()):
        for leaf in walk(when):
            known = lists.get(leaf.fact)
            for value in values_in(leaf.test) if isinstance(leaf, FactTest) and known else ():
                if value not in known:  # type: ignore[operator]  # not empty here
                    message = f'{id_} looks for the {leaf.fact} "{value}", which is nowhere listed'
                    fix = f"Name one that is: {', '.join(known or ())[:200]}"
                    yield finding("name-unknown", id_, file, message, fix, ("when",))
    for terms in rulebook.warranty.values() if rulebook.models else ():
        for model in sorted(terms.models - rulebook.models.keys()):
            message = f"{terms.id} is for the model {model}, which is not in models.yml"
            fix = f"Name one that is ({', '.join(sorted(rulebook.models))[:200]}), or add it there"
            yield finding("name-unknown", terms.id, f"warranty/{terms.id}.yml", message, fix, ("models",))
    components = {cause.component for cause in rulebook.causes.values()}
    for cause in rulebook.causes.values():
        alone = sum(other.component == cause.component for other in rulebook.causes.values()) == 1
        near = nearest(cause.component, components - {cause.component}) if alone else None
        if near is not None and abs(len(near) - len(cause.component)) <= 1:
            message = f"no other cause has the component {cause.component}; it looks like {near}"
            file = f"causes/{cause.id}.yml"
            yield finding(
                "lookalike", cause.id, file, message, f"Write {near}, if it is meant", ("component",)
            )


def _of_number(fact: Fact) -> Iterator[Finding]:
    file, units = f"facts/{fact.id}.yml", _UNITS.get(fact.id.rpartition("_")[2])
    if fact.type == "number" and fact.unit is not None and units is not None and fact.unit not in units:
        message = f"{fact.id} is given in {fact.unit}, but its name says {min(units)}"
        yield finding("unit-differs", fact.id, file, message, "Make name, unit and rules one", ("unit",))
    if fact.type == "number" and fact.range is None and fact.asked_of in ("clerk", "technician"):
        message = f"{fact.id} takes any number, however absurd"
        yield finding("no-range", fact.id, file, message, "Say what it may be, as `range`", ("type",))


def _unused(rulebook: Rulebook) -> Iterator[Finding]:
    parts = {part for cause in rulebook.causes.values() for part in cause.repair.parts}
    for number in sorted(rulebook.parts.keys() - parts):
        message = f"no cause takes the part {number}"
        yield finding("unused", "parts", "parts.yml", message, "Take it out, or name it", ("parts", number))
    named = {name for check in rulebook.checks.values() for name in check.cautions}
    for caution in rulebook.cautions.values():
        if caution.only_with_checks and caution.head.status == "live" and caution.head.id not in named:
            message = f"{caution.head.id} is said beside checks only, and no check names it"
            fix = "Name it in the `cautions` of a check, or retire it"
            yield finding("says-nothing", caution.head.id, caution.head.file, message, fix, ("with_checks",))
    for table in rulebook.limits.values():
        tested = {name for row in table.rows for name in row.when}
        for index, name in enumerate(table.inputs):
            if tested and name not in tested:
                message = f"no row of {table.id} tests its input {name}"
                path = ("inputs", index)
                yield finding("unused", table.id, f"limits/{table.id}.yml", message, "Take it out", path)


def _authorities(rulebook: Rulebook, table: LimitTable) -> Iterator[Finding]:
    file = f"limits/{table.id}.yml"
    ceilings = [each.up_to for each in rulebook.authorities.values() if each.up_to is not None]
    if rulebook.ops_up_to is not None and ceilings and rulebook.ops_up_to > max(ceilings):
        message = f"ops approve up to {rulebook.ops_up_to}, more than any ceiling of an authority"
        yield finding("authority-short", "rulebook", "rulebook.yml", message, "Lower it", ("ops_up_to",))
    asked = {str(row.then.get("authority")) for row in table.rows}
    asked |= {deputy for each in rulebook.authorities.values() for deputy in each.deputies}
    for name in sorted(rulebook.authorities.keys() - asked):
        message = f"nobody ever asks the authority {name}: no row and no deputy names it"
        yield finding("unused", table.id, file, message, "Take it out, or name it", ("authorities", name))
