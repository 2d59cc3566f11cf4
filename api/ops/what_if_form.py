"""The what-if page's address: which changes its query asks for, and the shortest query that says the same.

`f.<fact>`, `c.<check>`, `forget`, `at`, `spent`, `base`, `version`, `turning`; `show` keeps a field open that
is not changed, `rule` the file that is edited.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from werkzeug.datastructures import MultiDict

from triage.rulebook.model import Fact, Rulebook
from triage.values.shown import N_, shown
from triage.what_if.changes import NOT_DONE

JSONObject = Mapping[str, Any]
MOST_SHOWN = 40
SOURCES = ("caller", "record")
LONGEST = 500


@dataclass(frozen=True, slots=True)
class Asked:
    """A query as it is meant. `facts` are texts as typed; `show` are fields such as `f.fill_level`."""

    facts: Mapping[str, str] = field(default_factory=dict)
    forget: tuple[str, ...] = ()
    checks: Mapping[str, str] = field(default_factory=dict)
    at: str = ""
    spent: str = ""
    live: bool = False
    version: str = ""
    turning: bool = False
    rule: str = ""
    show: tuple[str, ...] = ()

    @property
    def changes(self) -> bool:
        """Whether there is anything to decide otherwise."""
        return bool(self.facts or self.forget or self.checks or self.at or self.spent or self.version)

    def query(self) -> list[tuple[str, str]]:
        """The shortest query; the same changes always give the same one."""
        found = [(f"f.{fact}", text) for fact, text in sorted(self.facts.items())]
        found += [("forget", fact) for fact in sorted(self.forget)]
        found += [(f"c.{check}", result) for check, result in sorted(self.checks.items())]
        found += [(name, value) for name, value in (("at", self.at), ("spent", self.spent)) if value]
        found += [("base", "live")] if self.live else []
        found += [("version", self.version)] if self.version else []
        found += [("turning", "1")] if self.turning else []
        found += [("show", name) for name in self.show]
        return found + ([("rule", self.rule)] if self.rule else [])


def asked_for(
    query: MultiDict[str, str], rulebook: Rulebook, decision: JSONObject, report: JSONObject
) -> Asked:
    """What a query asks for, against what is known: a field left as it was is no change."""
    known = {fact: shown(each["value"]) for fact, each in decision["facts"].items()}
    done = {each["check"]: str(each["result"]) for each in report.get("checks") or ()}
    facts: dict[str, str] = {}
    forget = [fact[:LONGEST] for fact in query.getlist("forget")]
    checks: dict[str, str] = {}
    fields: list[str] = []
    for name, value in query.items():
        text = " ".join(value.split())[:LONGEST]
        if name.startswith("f."):
            fact = name[2:]
            fields.append(name)
            if text == known.get(fact, ""):
                continue
            if text:
                facts[fact] = text
            else:
                forget.append(fact)
        elif name.startswith("c."):
            check = name[2:]
            fields.append(name)
            if text and text != done.get(check, NOT_DONE):
                checks[check] = text
    show = [*query.getlist("show"), *query.getlist("add")]
    changed = {*(f"f.{fact}" for fact in (*facts, *forget)), *(f"c.{check}" for check in checks)}
    open_already = {f"f.{fact}" for fact, each in decision["facts"].items() if each["from"] in SOURCES}
    open_already |= {f"c.{check}" for check in (*done, *(step["check"] for step in decision["plan"]))}
    kept = [name for name in dict.fromkeys((*show, *fields)) if name and name not in changed | open_already]
    base = "live" if query.get("base") == "live" else "own"
    return Asked(
        facts,
        tuple(dict.fromkeys(forget)),
        checks,
        query.get("at", "").strip()[:64],
        query.get("spent", "").strip()[:40],
        base == "live",
        query.get("version", "").strip()[:80],
        query.get("turning") == "1",
        query.get("rule", "").strip()[:200],
        tuple(name[:LONGEST] for name in kept[:MOST_SHOWN] if _is_field(name, rulebook)),
    )


def _is_field(name: str, rulebook: Rulebook) -> bool:
    return name[2:] in (rulebook.facts if name.startswith("f.") else rulebook.checks)


@dataclass(frozen=True, slots=True)
class Field:
    """One row of the form. `options` are (value, title); none: a text is typed."""

    name: str
    title: str
    was: str
    now: str
    unit: str
    options: Sequence[tuple[str, str]]
    source: str = ""

    @property
    def changed(self) -> bool:
        return self.was != self.now


def fact_fields(
    asked: Asked, rulebook: Rulebook, decision: JSONObject, unit: Callable[[Fact], str]
) -> list[Field]:
    """The ticket's own facts, those changed, and those opened; the changed ones first."""
    known = decision["facts"]
    open_ids = [
        fact
        for fact, each in known.items()
        if fact in rulebook.facts and each["from"] in SOURCES and rulebook.facts[fact].asked_of != "computed"
    ]
    opened = [name[2:] for name in asked.show if name.startswith("f.")]
    found = []
    for fact_id in dict.fromkeys((*sorted(open_ids), *asked.facts, *asked.forget, *opened)):
        fact = rulebook.facts.get(fact_id)
        if fact is None:
            continue
        was = shown(known[fact_id]["value"]) if fact_id in known else ""
        now = "" if fact_id in asked.forget else asked.facts.get(fact_id, was)
        options = (
            [("yes", N_("yes")), ("no", N_("no"))] if fact.type == "flag" else list(fact.choices.items())
        )
        source = known[fact_id]["from"] if fact_id in known else ""
        found.append(Field(f"f.{fact_id}", fact.title, was, now, unit(fact), options, source))
    return sorted(found, key=lambda each: (not each.changed, each.source != "caller", each.title))


RESULT_WORDS = (
    (NOT_DONE, N_("not done")),
    ("not_cured", N_("did not fix it")),
    ("could_not_do", N_("could not be done")),
    ("cured", N_("fixed it")),
)


def check_fields(asked: Asked, rulebook: Rulebook, decision: JSONObject, report: JSONObject) -> list[Field]:
    """The checks done, those of the plan, those changed and those opened."""
    done = {each["check"]: str(each["result"]) for each in report.get("checks") or ()}
    opened = [name[2:] for name in asked.show if name.startswith("c.")]
    plan = [step["check"] for step in decision["plan"]]
    ids = dict.fromkeys((*done, *asked.checks, *plan, *opened))
    return [
        Field(
            f"c.{check}",
            rulebook.checks[check].title,
            done.get(check, NOT_DONE),
            asked.checks.get(check, done.get(check, NOT_DONE)),
            "",
            RESULT_WORDS,
        )
        for check in ids
        if check in rulebook.checks
    ]
