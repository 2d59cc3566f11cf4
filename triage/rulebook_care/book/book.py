"""The rulebook as a book of entries that are found by words and lead to each other.

book = book_of(rulebook)
found = search(book, "filter 15", kind="evidence")

The rulebook as a document that people read: its book on one page, in Markdown or HTML, every name a link.

Generated from the rules alone, so that the same rulebook gives the same text; a written copy is stale as soon
as it differs from a new one.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import groupby

from markdown_it import MarkdownIt
from markupsafe import Markup

from triage.rulebook.model import Rulebook
from triage.rulebook_care.book.entries import MARKDOWN, Entry, entries_of, templates, whole
from triage.rulebook_care.book.names import Names, Say
from triage.rulebook_care.book.references import KINDS, Key, Reference, references
from triage.rulebook_care.lint.findings import Finding
from triage.rulebook_care.lint.lint import lint

STATUSES = ("live", "draft", "retired")

_ESCAPED = re.compile(r"\\(.)")
_LINK = re.compile(r"\]\(#[^)]*\)")


@dataclass(frozen=True)
class Book:
    """All entries in order, what refers to each, and the lint's findings by file."""

    rulebook: Rulebook
    entries: Mapping[Key, Entry]
    refers_to: Mapping[Key, tuple[Reference, ...]]
    referred_by: Mapping[Key, tuple[Reference, ...]]
    findings: Mapping[str, tuple[Finding, ...]]
    _others: dict[str, "Book"] = field(default_factory=dict)

    @property
    def version(self) -> str:
        return self.rulebook.version

    @property
    def title(self) -> str:
        return self.rulebook.title

    @cached_property
    def words(self) -> Mapping[Key, str]:
        """All that an entry is found by, casefolded."""
        return {
            key: _words(entry, self.refers_to.get(key, ()), self.entries)
            for key, entry in self.entries.items()
        }

    def found_in(self, entry: Entry) -> tuple[Finding, ...]:
        """What the lint says of the entry's file, without what was silenced."""
        return tuple(each for each in self.findings.get(entry.file, ()) if each.silenced is None)

    def in_language(self, language: str, say: Say) -> "Book":
        """The same book as `say` gives it in another language, made once."""
        if language not in self._others:
            entries = {entry.key: entry for entry in entries_of(self.rulebook, say)}
            self._others[language] = replace(self, entries=entries, _others={})
        return self._others[language]


def book_of(rulebook: Rulebook, findings: Iterable[Finding] | None = None) -> Book:
    """The book of a rulebook; `findings` where they are known already, with their lines."""
    out: dict[Key, list[Reference]] = {}
    back: dict[Key, list[Reference]] = {}
    for reference in references(whole(rulebook)):
        out.setdefault(reference.source, []).append(reference)
        back.setdefault(reference.target, []).append(reference)
    by_file: dict[str, list[Finding]] = {}
    for each in lint(rulebook) if findings is None else findings:
        by_file.setdefault(each.file, []).append(each)
    return Book(
        rulebook,
        {entry.key: entry for entry in entries_of(rulebook)},
        {key: tuple(each) for key, each in out.items()},
        {key: tuple(each) for key, each in back.items()},
        {file: tuple(each) for file, each in by_file.items()},
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


def as_markdown(rulebook: Rulebook, say: Say = str) -> str:
    """The whole document as Markdown (CommonMark with tables), what people read said by `say`."""
    book = whole(rulebook)
    return MARKDOWN.get_template("document.md").render(
        book=book,
        names=Names(book, say),
        _=say,
        kinds=KINDS,
        parts=[
            (kind, list(each)) for kind, each in groupby(entries_of(rulebook, say), lambda entry: entry.kind)
        ],
    )


def as_html(rulebook: Rulebook, say: Say = str, language: str = "en") -> str:
    """The same document as one HTML page without any outside reference."""
    body = MarkdownIt("commonmark", {"html": True}).enable("table").render(as_markdown(rulebook, say))
    page = templates(autoescape=True).get_template("document.html")
    return page.render(title=say(rulebook.title), body=Markup(body), language=language)
