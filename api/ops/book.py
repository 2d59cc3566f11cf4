"""The rulebook as pages of the ops lead: every entry in plain words, found by words, led to by links."""

import re
from collections.abc import Mapping
from itertools import groupby
from typing import Any

from flask import Blueprint, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markdown_it import MarkdownIt
from markupsafe import Markup

from api.http.auth import page_roles
from api.http.work_folder import work_folder
from api.ops.shelf import shelf
from api.pages.texts import gettext, page_language, sayer
from triage.rulebook_care.book.book import STATUSES, Book, counts, search
from triage.rulebook_care.book.entries import BUILT_IN, Entry
from triage.rulebook_care.book.references import KINDS
from triage.rulebook_care.editing.files import known_path
from triage.rulebook_care.editing.scaffold import KINDS as SCAFFOLDS
from triage.values.errors import NotFoundError
from triage.values.shown import N_

blueprint = Blueprint("rulebook_book", __name__, url_prefix="/rulebook")
PAGE = 40
MOST_OFFSET = 10_000

_LINK = re.compile(r"\]\(#([a-z]+)-([a-z0-9_-]+)\)")
_FIELD = re.compile(r"(<li><strong>[^<]*</strong>): ")
_MARKDOWN = MarkdownIt("commonmark", {"html": False}).enable("table")
_ABOUT: Mapping[str, str] = {
    "symptoms": N_("What callers report, and with which causes such calls end"),
    "causes": N_("What may be wrong, and what its repair takes"),
    "evidence": N_("What speaks for a cause, and how strongly"),
    "cautions": N_("Dangers: what is said, and what is not to be done"),
    "checks": N_("What a clerk or a technician may try"),
    "policy": N_("What decides between a fix in the store, a visit, approval, hold and swap"),
    "derive": N_("What follows from other facts"),
    "limits": N_("What may be spent, and who may approve more"),
    "warranty": N_("What the maker pays for, and how long"),
    "program": N_("The program's own numbers"),
    "facts": N_("What is asked, on record or computed"),
    "cases": N_("Reports with the decision that is expected of them"),
}
_SAID = (
    *(N_("error"), N_("warning"), N_("note"), N_("live"), N_("draft"), N_("retired"), N_("electrical")),
    *(N_("sets it"), N_("speaks of it"), N_("is a band beside it"), N_("forbids it"), N_("may end with it")),
    *(N_("has shares together with it"), N_("asks first it"), N_("may fix it"), N_("is said with it")),
    *(N_("decides by it"), N_("is at risk by it"), N_("gives it"), N_("raises it"), N_("points to it")),
    *(N_("reports it"), N_("expects it"), N_("fires on it"), N_("clerk"), N_("technician"), N_("shipped")),
    *(N_("general"), N_("commissioned"), N_("life"), N_("property"), N_("default")),
    *(N_("number"), N_("flag"), N_("choice"), N_("date"), N_("text"), N_("time"), N_("outcome")),
    *(N_("top cause"), N_("first check"), N_("cautions"), N_("not outcome"), N_("person"), N_("food")),
    *(N_("gas"), N_("mon"), N_("tue"), N_("wed"), N_("thu"), N_("fri"), N_("sat"), N_("sun")),
)
"""What the entries say by values of the rulebook: how one refers to another, kinds, skills, statuses."""


@blueprint.get("")
@page_roles("ops")
def book() -> ResponseReturnValue:
    """The contents, or the entries of a kind or a search."""
    context = reading()
    shown: Book = context["book"]
    args = request.args
    words, kind, status = args.get("q", "").strip()[:200], args.get("kind", ""), args.get("status", "")
    kind, status = kind if kind in KINDS else "", status if status in STATUSES else ""
    with_findings = args.get("found") == "1"
    everywhere = search(shown, words, status=status, with_findings=with_findings)
    found = [entry for entry in everywhere if kind in ("", entry.kind)]
    text = args.get("from", "")
    offset = min(int(text), MOST_OFFSET) if text.isascii() and text.isdigit() and len(text) < 6 else 0
    asked = {"q": words or None, "status": status or None, "found": 1 if with_findings else None}
    listing = bool(words or kind or status or with_findings)
    return render_template(
        "rulebook/book.html",
        **context,
        listing=listing,
        words=words,
        kind=kind,
        status=status,
        with_findings=with_findings,
        asked={**asked, "of": request.args.get("of") or None},
        statuses=STATUSES,
        counts=counts(everywhere),
        contents=() if listing else _contents(shown),
        total=len(found),
        entries=found[offset : offset + PAGE],
        first=offset + 1,
        earlier=max(offset - PAGE, 0) if offset else None,
        more=offset + PAGE if len(found) > offset + PAGE else None,
        all_findings=[
            (entry, each)
            for entry in (() if listing else shown.entries.values())
            for each in shown.found_in(entry)
            if entry.id != "authorities"
        ],
    )


@blueprint.get("/entries/<kind>/<name>")
@page_roles("ops")
def entry(kind: str, name: str) -> ResponseReturnValue:
    """One entry, what the lint says of it, and what refers to it."""
    context = reading()
    shown: Book = context["book"]
    found = shown.entries.get((kind, name))
    if found is None:
        raise NotFoundError(f'the rulebook has no entry "{name[:80]}" of the kind "{kind[:40]}"')
    return render_template(
        "rulebook/entry.html",
        **context,
        entry=found,
        findings=shown.found_in(found),
        silenced=[each for each in shown.findings.get(found.file, ()) if each.silenced is not None],
        references=_referring(shown, found),
    )


def reading() -> dict[str, Any]:
    """Which book is read, the live version, and how the folder differs: for the head of each page.

    The folder's, as it is on disk, where it can be read and `of=force` does not ask for the live version.
    """
    kept, state = shelf(), shelf().folder()
    live = kept.live()
    from_folder = state is not None and state.book is not None and request.args.get("of") != "force"
    shown = state.book if state is not None and state.book is not None and from_folder else kept.serving()
    language = page_language()
    if language != "en":
        shown = shown.in_language(language, sayer(shown.rulebook, language))
    of = "force" if request.args.get("of") == "force" else None

    def words(entry: Entry) -> Markup:
        return _words(entry, of)

    return {
        "book": shown,
        "from_folder": from_folder,
        "folder": state,
        "changed": () if state is None else kept.changed(live, state),
        "live": live,
        "kinds": KINDS,
        "begun": SCAFFOLDS,
        "about": _ABOUT,
        "of": of,
        "said": words,
        "can_edit": can_edit,
        "built_in": BUILT_IN,
    }


def can_edit(file: str | None) -> bool:
    """Whether the editor has such a file."""
    if not shelf().has_folder or not file:
        return False
    try:
        return (work_folder().root / known_path(file)).is_file()
    except NotFoundError:
        return False


def _words(entry: Entry, of: str | None) -> Markup:
    """The entry's text as HTML, its links leading to entries' pages."""

    def link(match: re.Match[str]) -> str:
        return f"]({url_for('rulebook_book.entry', kind=match[1], name=match[2], of=of)})"

    html = _FIELD.sub(r"\1 ", _MARKDOWN.render(_LINK.sub(link, entry.markdown)))
    # raw HTML is off in the parser, so this is its own
    if entry.kind in ("limits", "program", "cases"):
        table = gettext("Table")
        wide = f'<div class="scroll" tabindex="0" role="group" aria-label="{table}"><table>'
        html = html.replace("<table>", wide).replace("</table>", "</table></div>")
    return Markup(html)


def _contents(shown: Book) -> list[tuple[str, int, Mapping[str, int]]]:
    """Kind, entries, and how many of each status but live."""
    return [
        (
            kind,
            number,
            {
                status: len(found)
                for status in STATUSES
                if status != "live" and (found := search(shown, kind=kind, status=status))
            },
        )
        for kind, number in counts(shown.entries.values()).items()
    ]


def _referring(shown: Book, found: Entry) -> list[tuple[str, str, list[Entry]]]:
    """Kind, how, and the entries that refer to this one so."""
    order = list(KINDS)
    pairs = sorted(
        ((each.source, each.how) for each in shown.referred_by.get(found.key, ())),
        key=lambda pair: (order.index(pair[0][0]), pair[1], shown.entries[pair[0]].title),
    )
    groups = groupby(pairs, key=lambda pair: (pair[0][0], pair[1]))
    return [(kind, how, [shown.entries[key] for key, _ in group]) for (kind, how), group in groups]
