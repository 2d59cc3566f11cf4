"""The rulebook as a book of entries that are found by words and lead to each other.

book = book_of(rulebook)
found = search(book, "filter 15", kind="evidence")

An entry's Markdown links to others as `#kind-id`, as in the generated document (`KIND_OF_ANCHOR`).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from triage.rulebook.built_in_facts import every_fact
from triage.rulebook.model import EvidenceRule, Rulebook, RuleHead
from triage.rulebook_care.book import entry_words as words
from triage.rulebook_care.book import rules as table_rules
from triage.rulebook_care.book import single_files as files
from triage.rulebook_care.book import terms as table_terms
from triage.rulebook_care.book.parts import by_title
from triage.rulebook_care.book.references import Key, Reference, references
from triage.rulebook_care.lint.findings import Finding
from triage.rulebook_care.lint.lint import lint

KINDS: Mapping[str, tuple[str, str]] = {
    "symptoms": ("symptom", "Symptoms"),
    "causes": ("cause", "Causes"),
    "evidence": ("evidence rule", "Evidence"),
    "cautions": ("caution", "Cautions"),
    "checks": ("check", "Checks"),
    "policy": ("policy rule", "Policy"),
    "derive": ("derive rule", "Derived facts"),
    "limits": ("limit table", "Limits"),
    "warranty": ("warranty terms", "Warranty"),
    "program": ("numbers of the program", "Rates, parts, hours, models"),
    "facts": ("fact", "Facts"),
    "cases": ("whole-report case", "Whole reports"),
}
"""Kind of entry -> what one is called, and all of them; in the order of the book."""

KIND_OF_ANCHOR: Mapping[str, str] = {
    "symptom": "symptoms",
    "cause": "causes",
    "evidence": "evidence",
    "caution": "cautions",
    "check": "checks",
    "policy": "policy",
    "derive": "derive",
    "fact": "facts",
    "limit": "limits",
    "warranty": "warranty",
}

STATUSES = ("live", "draft", "retired")
BUILT_IN = "built in"
"""Where a fact stands that every rulebook has; other entries name their file."""

_ESCAPED = re.compile(r"\\(.)")
_LINK = re.compile(r"\]\(#[^)]*\)")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that the rulebook says. `line` sums it up; `status` is empty for kinds that have none."""

    kind: str
    id: str
    title: str
    file: str
    line: str
    markdown: str
    status: str = ""
    owner: str = ""

    @property
    def key(self) -> Key:
        return self.kind, self.id


@dataclass(frozen=True, slots=True)
class Book:
    """All entries in order, what refers to what both ways, and the lint's findings by file."""

    version: str
    title: str
    entries: Mapping[Key, Entry]
    refers_to: Mapping[Key, tuple[Reference, ...]]
    referred_by: Mapping[Key, tuple[Reference, ...]]
    findings: Mapping[str, tuple[Finding, ...]]
    words: Mapping[Key, str]  # all that an entry is found by, casefolded

    def found_in(self, entry: Entry) -> tuple[Finding, ...]:
        """What the lint says of the entry's file, without what was silenced."""
        return tuple(each for each in self.findings.get(entry.file, ()) if each.silenced is None)


def book_of(rulebook: Rulebook, findings: Iterable[Finding] | None = None) -> Book:
    """The book of a rulebook; `findings` where they are known already, with their lines."""
    whole = replace(rulebook, facts=every_fact(rulebook))
    entries = {entry.key: entry for entry in _entries(whole, rulebook)}
    out: dict[Key, list[Reference]] = {}
    back: dict[Key, list[Reference]] = {}
    for reference in references(whole):
        out.setdefault(reference.source, []).append(reference)
        back.setdefault(reference.target, []).append(reference)
    by_file: dict[str, list[Finding]] = {}
    for each in lint(rulebook) if findings is None else findings:
        by_file.setdefault(each.file, []).append(each)
    return Book(
        rulebook.version,
        rulebook.title,
        entries,
        {key: tuple(each) for key, each in out.items()},
        {key: tuple(each) for key, each in back.items()},
        {file: tuple(each) for file, each in by_file.items()},
        {key: _words(entry, out.get(key, ()), entries) for key, entry in entries.items()},
    )


def search(
    book: Book, asked: str = "", kind: str = "", status: str = "", with_findings: bool = False
) -> tuple[Entry, ...]:
    """The entries that hold every word asked for: by id first, then by title, then anywhere; else all.

    `kind` and `status` narrow it down where they are given.
    """
    wanted = asked.casefold().split()
    found = [
        entry
        for key, entry in book.entries.items()
        if kind in ("", entry.kind)
        and status in ("", entry.status)
        and (not with_findings or book.found_in(entry))
        and all(word in book.words[key] for word in wanted)
    ]
    return tuple(sorted(found, key=lambda entry: _rank(entry, wanted))) if wanted else tuple(found)


def _rank(entry: Entry, wanted: list[str]) -> int:
    name, title = entry.id.casefold(), entry.title.casefold()
    if [name] == wanted:
        return 0
    if all(word in title for word in wanted):
        return 1
    return 2 if all(word in name or word in title for word in wanted) else 3


def counts(found: Iterable[Entry]) -> Mapping[str, int]:
    """How many entries of each kind, every kind named, in the order of the book."""
    counted = Counter(entry.kind for entry in found)
    return {kind: counted[kind] for kind in KINDS}


def _words(entry: Entry, refers: Iterable[Reference], entries: Mapping[Key, Entry]) -> str:
    """Ids, titles, texts, and the ids and titles of what it refers to."""
    targets = [f"{each.target[1]} {entries[each.target].title}" for each in refers if each.target in entries]
    said = _ESCAPED.sub(r"\1", _LINK.sub("", entry.markdown).replace("[", ""))
    parts = (entry.id, entry.title, entry.file, entry.status, entry.owner, entry.line, said, *targets)
    return " ".join(" ".join(parts).casefold().split())


def _entries(book: Rulebook, given: Rulebook) -> Iterator[Entry]:
    """`book` has the built-in facts as well; those of `given` stand in files."""
    names = words.BookNames(book)

    def plain(
        kind: str, things: Iterable[T], line: Callable[[Rulebook, T], str], text: Callable[..., Iterator[str]]
    ) -> Iterator[Entry]:
        for thing in things:
            name, title = thing.id, thing.title  # type: ignore[attr-defined]
            yield Entry(kind, name, title, f"{kind}/{name}.yml", line(book, thing), _text(text(thing, names)))

    def rules(
        kind: str, things: Iterable[T], line: Callable[[Rulebook, T], str], text: Callable[..., Iterator[str]]
    ) -> Iterator[Entry]:
        for thing in things:
            head: RuleHead = thing.head  # type: ignore[attr-defined]
            lines = [line for line in text(thing, names) if line != f"- **File**: `{head.file}`"]
            said = _text((*lines, *words.of_head(head, names)))
            yield Entry(
                kind, head.id, head.title, head.file, line(book, thing), said, head.status, head.owner
            )

    yield from plain("symptoms", by_title(book.symptoms), words.symptom_line, table_rules.of_symptom)
    yield from plain("causes", by_title(book.causes), words.cause_line, table_rules.of_cause)
    observations = sorted(book.evidence.values(), key=_band)
    yield from rules("evidence", observations, words.evidence_line, table_rules.of_evidence)
    cautions = sorted(book.cautions.values(), key=lambda each: (each.head.title, each.head.id))
    yield from rules("cautions", cautions, words.caution_line, table_rules.of_caution)
    yield from plain("checks", by_title(book.checks), words.check_line, table_rules.of_check)
    policy = sorted(book.policy.values(), key=lambda rule: (-rule.priority, rule.head.id))
    yield from rules("policy", policy, words.policy_line, table_rules.of_policy)
    derive = sorted(book.derive.values(), key=lambda rule: (rule.head.title, rule.head.id))
    yield from rules("derive", derive, words.derive_line, table_rules.of_derive)
    yield from plain("limits", by_title(book.limits), words.limit_line, table_terms.of_limit)
    yield from plain("warranty", by_title(book.warranty), words.warranty_line, table_terms.of_warranty)
    yield from _service(book, names)
    facts = sorted(book.facts.values(), key=lambda fact: (fact.title, fact.id))
    for fact in plain("facts", facts, words.fact_line, words.of_fact):
        yield fact if fact.id in given.facts else replace(fact, file=BUILT_IN)
    cases = sorted(book.cases.values(), key=lambda case: (case.title, case.id))
    yield from plain("cases", cases, words.case_line, words.of_case)


def _service(book: Rulebook, names: words.BookNames) -> Iterator[Entry]:
    contractors = len(book.rates.contractors)
    parts = (
        (
            "rates",
            "What visits cost",
            f"{contractors} agreements beside the default",
            files.of_rates(book),
        ),
        ("parts", "Parts and their prices", f"{len(book.parts)} parts", files.of_parts(book)),
        (
            "service_hours",
            "Service hours and priorities",
            "When a technician comes",
            files.of_hours(book),
        ),
        ("models", "Models of machines", f"{len(book.models)} models", files.of_models(book, names)),
        ("rulebook", "The program's own numbers", "Tolerances and care", files.of_manifest(book)),
        ("authorities", "Who approves what", f"{len(book.authorities)} authorities", None),
    )
    for name, title, line, lines in parts:
        if lines is not None:
            yield Entry("program", name, title, f"{name}.yml", line, _text(lines))
        elif book.authorities:
            file = next(
                (f"limits/{one.id}.yml" for one in book.limits.values() if one.kind == "authority"), ""
            )
            yield Entry("program", name, title, file, line, _text(table_terms.authorities(book)))


def _band(rule: EvidenceRule) -> tuple[str, int, str]:
    return rule.group or rule.head.id, rule.band, rule.head.id


def _text(lines: Iterable[str]) -> str:
    return "\n".join(lines).rstrip() + "\n"
