"""The rulebook as a document that people read: its book on one page, in Markdown or HTML, every name a link.

Generated from the rules alone, so that the same rulebook gives the same text; a written copy is stale as soon
as it differs from a new one.
"""

from __future__ import annotations

from itertools import groupby

from markdown_it import MarkdownIt
from markupsafe import Markup

from triage.rulebook.model import Rulebook
from triage.rulebook_care.book.entries import KINDS, MARKDOWN, entries_of, templates, whole
from triage.rulebook_care.book.names import Names


def as_markdown(rulebook: Rulebook) -> str:
    """The whole document as Markdown (CommonMark with tables)."""
    book = whole(rulebook)
    return MARKDOWN.get_template("document.md").render(
        book=book,
        names=Names(book),
        kinds=KINDS,
        parts=[(kind, list(each)) for kind, each in groupby(entries_of(rulebook), lambda entry: entry.kind)],
    )


def as_html(rulebook: Rulebook) -> str:
    """The same document as one HTML page without any outside reference."""
    body = MarkdownIt("commonmark", {"html": True}).enable("table").render(as_markdown(rulebook))
    page = templates(autoescape=True).get_template("document.html")
    return page.render(title=rulebook.title, body=Markup(body))
