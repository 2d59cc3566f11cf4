"""The rulebook as a document that people read: one page in Markdown or HTML, every name a link.

Generated from the rules alone, so that the same rulebook gives the same text; a written copy is stale as soon
as it differs from a new one.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from markdown_it import MarkdownIt

from triage.rulebook.model import Rulebook
from triage.rulebook_care.book import rules as table_rules
from triage.rulebook_care.book import terms as table_terms
from triage.rulebook_care.book.parts import Names, heading, text

_STYLE = """
body { font: 16px/1.5 system-ui, sans-serif; color: #1c2733; }
body { max-width: 62rem; margin: 2rem auto; padding: 0 1rem; }
table { border-collapse: collapse; margin: .5rem 0 1rem; }
th, td { border: 1px solid #c8d0d8; padding: .25rem .6rem; text-align: left; vertical-align: top; }
th { background: #eef2f5; }
h2 { border-bottom: 2px solid #c8d0d8; margin-top: 2.5rem; }
a { color: #0b5c8a; }
@media (prefers-color-scheme: dark) {
  body { background: #14191f; color: #dde4ea; } th { background: #222b34; }
  th, td, h2 { border-color: #3a4652; } a { color: #7cc4ee; }
}
"""


def as_markdown(rulebook: Rulebook) -> str:
    """The whole document as Markdown (CommonMark with tables)."""
    return "\n".join(_lines(rulebook)).rstrip() + "\n"


def as_html(rulebook: Rulebook) -> str:
    """The same document as one HTML page without any outside reference."""
    body = MarkdownIt("commonmark", {"html": True}).enable("table").render(as_markdown(rulebook))
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(rulebook.title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        f"{body}</body>\n</html>\n"
    )


def _lines(rulebook: Rulebook) -> Iterator[str]:
    names = Names(rulebook)
    yield f"# {text(rulebook.title)}"
    yield ""
    yield f"Generated from the rules by `barrelwise rulebook table`; version `{rulebook.version}`."
    yield ""
    yield "Chances are “of 100 calls”. Amounts are in " + text(rulebook.currency) + "."
    yield ""
    parts = (
        ("Symptoms", table_rules.symptoms),
        ("Causes", table_rules.causes),
        ("Evidence", table_rules.evidence),
        ("Cautions", table_rules.cautions),
        ("Checks", table_rules.checks),
        ("Policy", table_rules.policy),
        ("Limits", table_terms.limits),
        ("Warranty", table_terms.warranty),
        ("Derived facts", table_rules.derive),
        ("Facts", table_terms.facts),
        ("Whole reports", table_terms.cases),
    )
    for title, _ in parts:
        yield f"- [{title}](#part-{title.lower().replace(' ', '-')})"
    yield ""
    for title, part in parts:
        yield heading(2, "part", title.lower().replace(" ", "-"), title)
        yield ""
        yield from part(rulebook, names)
