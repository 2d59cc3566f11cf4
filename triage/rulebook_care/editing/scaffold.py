"""A new file for the rulebook: every key it needs, its cases, and TODO where somebody has to think.

What it holds can be read at once: it is a draft, so nothing changes until it goes live. Ids of facts
and causes are the rulebook's own first ones, as examples.
"""

from collections.abc import Mapping
from datetime import date

from triage.rulebook.model import OTHER_CAUSE, Fact, Rulebook
from triage.values.errors import InputError
from triage.values.shown import hint

_HEAD = """\
id: {id}
title: "TODO: what is the case, in five words"
{status}owner: "TODO: who answers for it"
why: "TODO: why it is so"
source: common practice, no source
"""
_CASES = """\
known_misfires: "TODO: when it holds although it should not"
cases:                    # at least one that fires and one that stays silent
  - {{facts: {{{fact}: {inside}}}, fires: true}}
  - {{facts: {{{fact}: {outside}}}, fires: false}}
"""
_WHEN = """\
when:                     # all lines must hold; also any_of, none_of, known, unknown
  {fact}: {test}
"""
_RULES: Mapping[str, str] = {
    "evidence": _HEAD
    + _WHEN
    + """\
then:
  seen_with:              # of 100 calls with this cause, in how many is it seen? And with any other?
    {cause}: 0.60
    others: 0.20
# group: some-name        # bands of one observation exclude each other
# band: 1
"""
    + _CASES,
    "derive": _HEAD
    + _WHEN
    + """\
then:
  set: {{{flag}: true}}
  otherwise: {{{flag}: false}}
"""
    + _CASES,
    "cautions": _HEAD
    + _WHEN
    + """\
then:
  text: "TODO: what to do and what to leave alone."
  stop_use: false
  forbids: []             # checks, or: all
  defers_to: [the technician]
"""
    + _CASES,
    "policy": _HEAD
    + _WHEN
    + """\
then:
  outcome: dispatch       # fix_in_store, dispatch, approve, hold, swap
  priority: 150           # of all rules that hold the highest decides
  text: "TODO: the reason as people read it"
"""
    + _CASES,
}
_OTHERS: Mapping[str, str] = {
    "checks": """\
id: {id}
title: "TODO: what to do, as an order"
{status}"""
    + _WHEN
    + """\
who: clerk                # or technician; a clerk opens nothing that needs a tool
minutes: 5
wait_minutes: 0           # until the result can be seen
resolves:
  {cause}: 0.50           # chance that it fixes it, given the cause
cautions: []
steps:
  - "TODO: first step"
look_for: "TODO: how one sees that it worked"
why: "TODO: why it helps"
source: common practice, no source
""",
    "facts": """\
id: {id}
title: "TODO: what it says"
{status}type: flag                # number, choice, flag, date, time, text
ask: "TODO: the question?"
help: "TODO: how the clerk finds out"
asked_of: clerk           # clerk, technician, record, computed
ask_seconds: 20
""",
    "causes": """\
id: {id}
title: "TODO: what is wrong"
{status}component: {component}
repair: {{labor_hours: 1, parts: {{}}}}
why: "TODO: how it leads to the trouble"
source: common practice, no source
""",
    "symptoms": """\
id: {id}
title: "TODO: what callers see"
{status}callers_say:
  - "TODO: in their words"
shares:                   # out of the calls seen, how many end with which cause
  {cause}: 10
  other: 10
source: common practice, no source
""",
    "words": """\
id: {id}
title: "TODO: what callers say of what"
{status}symptom: {symptom}      # or `danger:`, a fact marked as a danger
en:                       # a|b is either word in any form; =a in this form only; all words, in any order
  - something|anything lorem
es:
  - algo|nada lorem
unless:                   # in this order: takes back what it shares a word with
  - lorem ipsum
source: common practice, no source
cases:                    # at least one that is heard and one that is not
  - {{said: "TODO: something about a lorem", heard: true}}
  - {{said: "TODO: something about lorem ipsum", heard: false}}
""",
    "warranty": """\
id: {id}
title: "TODO: whose warranty, of what"
{status}models: [{model}]           # leave it out for every model
starts: commissioned      # or shipped
valid_from: {today}    # by the day of the fault; `valid_by` says otherwise
periods:
  default: {{parts_months: 12, labor_months: 12}}
source: "TODO: where the terms stand"
""",
    "cases": """\
id: {id}
title: "TODO: the story in a line"
{status}report:
  symptoms: [{symptom}]
  reported_at: {today}T10:00:00-05:00
  answers: {{}}
expect:
  outcome: dispatch       # also not_outcome, top_cause, first_check, cautions
""",
}

KINDS = (*_RULES, *_OTHERS)
"""The kinds of files there is a scaffold for."""


def scaffold(rulebook: Rulebook, kind: str, name: str, today: date) -> tuple[str, str]:
    """The path within the rulebook and the text of a new file. Raises InputError on an unknown kind or a
    name that is taken or is no id."""
    template = {**_RULES, **_OTHERS}.get(kind)
    if template is None:
        known = f"; there are {', '.join(KINDS)}"
        raise InputError(f'there is no scaffold for "{kind[:64]}"{hint(kind, KINDS, known)}')
    if not _is_id(name):
        raise InputError(f'"{name[:64]}" is not an id; ids start with a letter: a-z, 0-9, "_" and "-"')
    if name in _taken(rulebook, kind):
        raise InputError(f'"{name}" is taken; every rule and check has an id of its own')
    fact = _example_fact(rulebook)
    test, inside, outside = _example_test(fact)
    values = {
        "id": name,
        "status": "status: draft             # draft: read and checked, but does not apply; live; retired\n",
        "today": today.isoformat(),
        "fact": fact.id,
        "test": test,
        "inside": inside,
        "outside": outside,
        "cause": next((cause for cause in sorted(rulebook.causes) if cause != OTHER_CAUSE), OTHER_CAUSE),
        "component": next(iter(sorted({cause.component for cause in rulebook.causes.values()}))),
        "model": next(iter(sorted(rulebook.models)), "a-model"),
        "symptom": next(iter(sorted(rulebook.symptoms))),
        "flag": _example_flag(rulebook, fact.id),
    }
    return f"{kind}/{name}.yml", template.format_map(values)


def _is_id(name: str) -> bool:
    plain = name.replace("_", "").replace("-", "")
    return (
        0 < len(name) <= 64
        and name[0].isalpha()
        and name.isascii()
        and name == name.lower()
        and plain.isalnum()
    )


def _taken(rulebook: Rulebook, kind: str) -> set[str]:
    rules = {"derive", "evidence", "cautions", "policy", "checks"}
    kinds = rules if kind in rules else {kind}
    return {name for each in kinds for name in (*getattr(rulebook, each), *rulebook.set_aside.get(each, ()))}


def _example_fact(rulebook: Rulebook) -> Fact:
    """A fact to test: asked of the clerk if there is one, for a flag is the simplest to test."""
    usable = [fact for fact in rulebook.facts.values() if fact.type in ("flag", "number", "choice")]
    if not usable:
        raise InputError("the rulebook has no fact of type flag, number or choice to make an example of")
    return min(usable, key=lambda fact: (fact.asked_of != "clerk", fact.id))


def _example_test(fact: Fact) -> tuple[str, str, str]:
    """A test's text as YAML, a value that passes and one that does not."""
    if fact.type == "flag":
        return "true", "true", "false"
    if fact.type == "choice":
        first, *rest = fact.choices
        return f"'\"{first}\"'", first, rest[0] if rest else first
    bounds = fact.range
    low = getattr(bounds, "low", 0)
    high = getattr(bounds, "high", 10)
    return f'"> {low}"', str(high), str(low)


def _example_flag(rulebook: Rulebook, other_than: str) -> str:
    flags = [
        fact
        for fact in rulebook.facts.values()
        if fact.type == "flag" and fact.asked_of == "computed" and fact.id != other_than
    ]
    return min((fact.id for fact in flags), default="some_computed_flag")
