"""The rules as a document: symptoms, causes, evidence, cautions, checks, policy, derived facts."""

from __future__ import annotations

from collections.abc import Iterator

from triage.rulebook.model import (
    Cause,
    Caution,
    Check,
    DeriveRule,
    EvidenceRule,
    PolicyRule,
    Rulebook,
    RuleHead,
    Symptom,
)
from triage.rulebook_care.book.parts import Names, by_title, fields, heading, link, per_hundred, table, text


def symptoms(rulebook: Rulebook, names: Names) -> Iterator[str]:
    for each in by_title(rulebook.symptoms):
        yield heading(3, "symptom", each.id, each.title)
        yield ""
        yield from of_symptom(each, names)


def of_symptom(symptom: Symptom, names: Names) -> Iterator[str]:
    """What the book says of one symptom, without its heading; so for each kind below."""
    if symptom.callers_say:
        yield "Callers say: " + " / ".join(f"“{text(words)}”" for words in symptom.callers_say)
        yield ""
    total = sum(symptom.shares.values())
    shares = sorted(symptom.shares.items(), key=lambda item: (-item[1], item[0]))
    yield from table(
        ("Cause", "of 100 calls"),
        ((names.cause(cause), f"{float(100 * count / total):.3g}") for cause, count in shares),
    )
    yield from fields([("Source", text(symptom.source))])


def causes(rulebook: Rulebook, names: Names) -> Iterator[str]:
    for each in by_title(rulebook.causes):
        yield heading(3, "cause", each.id, each.title)
        yield ""
        yield from of_cause(each, names)


def of_cause(cause: Cause, names: Names) -> Iterator[str]:
    rulebook = names.rulebook
    repair = cause.repair
    parts = ", ".join(
        f"{quantity} × {text(rulebook.parts[part].title)}" for part, quantity in repair.parts.items()
    )
    work = f"{repair.labor_hours:f} h, {repair.skill}"
    if repair.technicians > 1:
        work += f", {repair.technicians} technicians"
    seen = [
        link("evidence", rule.head.id, rule.head.title)
        for rule in rulebook.evidence.values()
        if cause.id in rule.seen_with
    ]
    cures = [names.check(check.id) for check in rulebook.checks.values() if cause.id in check.resolves]
    symptoms = [names.symptom(one.id) for one in rulebook.symptoms.values() if cause.id in one.shares]
    yield from fields(
        [
            ("Component", text(cause.component.replace("_", " "))),
            ("Typical repair", work + (f"; {parts}" if parts else "")),
            ("Symptoms", ", ".join(symptoms)),
            ("Evidence", ", ".join(seen)),
            ("Checks that may cure it", ", ".join(cures)),
            ("Why", text(cause.why)),
            ("Source", text(cause.source)),
        ]
    )


def evidence(rulebook: Rulebook, names: Names) -> Iterator[str]:
    def order(rule: EvidenceRule) -> tuple[str, int, str]:
        return rule.group or rule.head.id, rule.band, rule.head.id

    for rule in sorted(rulebook.evidence.values(), key=order):
        yield heading(3, "evidence", rule.head.id, rule.head.title)
        yield ""
        yield from of_evidence(rule, names)


def of_evidence(rule: EvidenceRule, names: Names) -> Iterator[str]:
    yield f"When {names.condition(rule.head.when)}."
    yield ""
    seen = sorted(rule.seen_with.items(), key=lambda item: (-item[1], item[0]))
    rows = [(names.cause(cause), per_hundred(chance)) for cause, chance in seen]
    yield from table(("With", "seen in, of 100"), [*rows, ("any other cause", per_hundred(rule.others))])
    group = "" if rule.group is None else f"{text(rule.group)}, band {rule.band}"
    yield from fields([("Band of", group), *_head(rule.head)])


def cautions(rulebook: Rulebook, names: Names) -> Iterator[str]:
    for each in sorted(rulebook.cautions.values(), key=lambda each: each.head.title):
        yield heading(3, "caution", each.head.id, each.head.title)
        yield ""
        yield from of_caution(each, names)


def of_caution(caution: Caution, names: Names) -> Iterator[str]:
    yield text(caution.text)
    yield ""
    beside = [check.id for check in names.rulebook.checks.values() if caution.head.id in check.cautions]
    yield from fields(
        [
            ("When", "" if caution.only_with_checks else names.condition(caution.head.when)),
            ("Said beside", ", ".join(names.check(check) for check in sorted(beside))),
            ("Use", "**stop using the machine**" if caution.stop_use else ""),
            ("Forbids", _forbids(caution, names)),
            ("Visit", _visit(caution)),
            ("Defers to", "; ".join(text(each) for each in caution.defers_to)),
            *_head(caution.head),
        ]
    )


def checks(rulebook: Rulebook, names: Names) -> Iterator[str]:
    for each in by_title(rulebook.checks):
        yield heading(3, "check", each.id, each.title)
        yield ""
        yield from of_check(each, names)


def of_check(check: Check, names: Names) -> Iterator[str]:
    for number, step in enumerate(check.steps, 1):
        yield f"{number}. {text(step)}"
    yield ""
    cures = sorted(check.resolves.items(), key=lambda item: (-item[1], item[0]))
    yield from table(
        ("Cures", "of 100"), [(names.cause(cause), per_hundred(chance)) for cause, chance in cures]
    )
    yield from fields(
        [
            ("Who", check.who),
            ("Time", _time(check)),
            ("When", names.condition(check.when)),
            ("Look for", text(check.look_for)),
            ("Cautions", ", ".join(names.caution(caution) for caution in check.cautions)),
            ("Materials", f"{check.materials:.2f}" if check.materials else ""),
            ("Why", text(check.why)),
            ("Source", text(check.source)),
        ]
    )


def policy(rulebook: Rulebook, names: Names) -> Iterator[str]:
    rules = sorted(rulebook.policy.values(), key=lambda rule: (-rule.priority, rule.head.id))
    yield "Of all rules that hold, the highest decides."
    yield ""
    yield from table(
        ("Priority", "Rule", "Outcome", "When"),
        [
            (
                str(rule.priority),
                link("policy", rule.head.id, rule.head.title),
                text(rule.outcome),
                names.condition(rule.head.when),
            )
            for rule in rules
        ],
    )
    for rule in rules:
        yield heading(3, "policy", rule.head.id, rule.head.title)
        yield ""
        yield from of_policy(rule, names)


def of_policy(rule: PolicyRule, names: Names) -> Iterator[str]:
    yield f"> {text(rule.text)}"
    yield ""
    urgent = "" if rule.visit_priority is None else f"priority {rule.visit_priority}"
    yield from fields([("Visit", urgent), *_head(rule.head)])


def derive(rulebook: Rulebook, names: Names) -> Iterator[str]:
    for rule in sorted(rulebook.derive.values(), key=lambda rule: rule.head.title):
        yield heading(3, "derive", rule.head.id, rule.head.title)
        yield ""
        yield from of_derive(rule, names)


def of_derive(rule: DeriveRule, names: Names) -> Iterator[str]:
    yield f"When {names.condition(rule.head.when)}."
    yield ""
    sides = [("Sets", rule.sets), ("Otherwise", rule.otherwise)]
    yield from fields(
        [
            *(
                (name, ", ".join(f"{names.fact(f)} = {names.value(f, v)}" for f, v in side.items()))
                for name, side in sides
            ),
            *_head(rule.head),
        ]
    )


def _head(head: RuleHead) -> tuple[tuple[str, str], ...]:
    return (
        ("Status", "" if head.status == "live" else f"**{head.status}**"),
        ("Why", text(head.why)),
        ("Known misfires", text(head.known_misfires)),
        ("Source", text(head.source)),
        ("Owner", f"{text(head.owner)}, since {head.since.isoformat()}"),
        ("File", f"`{head.file}`"),
    )


def _forbids(caution: Caution, names: Names) -> str:
    if caution.forbids_all_checks:
        return "every check"
    return ", ".join(names.check(check) for check in sorted(caution.forbids))


def _visit(caution: Caution) -> str:
    skill = caution.visit_skill or ""
    urgent = "" if caution.visit_priority is None else f"priority {caution.visit_priority}"
    return ", ".join(part for part in (skill, urgent) if part)


def _time(check: Check) -> str:
    wait = f", then wait {check.wait_minutes} min" if check.wait_minutes else ""
    return f"{check.minutes} min{wait}"
