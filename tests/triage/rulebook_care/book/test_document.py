"""The rulebook as a document."""

from __future__ import annotations

import html
import re
from html.parser import HTMLParser

import pytest

from tests import RULES
from tests.triage.builders import minimal_files, minimal_rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.book.book import as_html, as_markdown, book_of
from triage.rulebook_care.book.names import text
from triage.rulebook_care.book.references import KINDS


class Links(HTMLParser):
    """Anchors, links and tags of a page."""

    def __init__(self, page):
        super().__init__()
        self.anchors, self.links, self.open, self.tags = [], [], [], set()
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        named = dict(attrs)
        if "id" in named:
            self.anchors.append(named["id"])
        if "href" in named:
            self.links.append(named["href"])
        if tag not in ("meta", "br", "hr"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def default():
    return read_rulebook(RULES)


def test_every_link_of_the_page_leads_somewhere_and_every_anchor_is_there_once(default):
    page = Links(as_html(default))
    assert {link.removeprefix("#") for link in page.links} <= set(page.anchors)
    assert len(page.anchors) == len(set(page.anchors))
    assert page.open == []


def test_every_rule_check_cause_and_fact_has_its_place(default):
    anchors = set(Links(as_html(default)).anchors)
    book = book_of(default, [])
    assert {kind for kind, _ in book.entries} == set(KINDS)
    assert {f"{kind}-{name}" for kind, name in book.entries} <= anchors


def test_the_numbers_stand_beside_the_names():
    page = as_markdown(minimal_rulebook())
    assert "| [Dirty filter](#causes-dirty_filter) | 80 |" in page
    assert "| any other cause | 30 |" in page
    assert "When [Filter neglected](#facts-filter_neglected) is yes." in page
    assert "| [Dirty filter](#causes-dirty_filter) | 45.5 |" in page  # 30 of 66 calls
    assert "| 900 | [Cord dispatch](#policy-cord-dispatch) | Send a technician |" in page


def test_the_document_says_of_each_thing_what_the_pages_say(default):
    page = as_markdown(default)
    for entry in book_of(default, []).entries.values():
        start = page.index(f'<a id="{entry.kind}-{entry.id}"></a>')
        said = page[start:].split("\n", 1)[1].split("\n\n#", 1)[0]
        assert said.strip() == f"`{entry.id}`, {text(entry.file)}\n\n{entry.markdown}".strip()


def test_the_same_rulebook_gives_the_same_page_and_another_one_another():
    assert as_html(minimal_rulebook()) == as_html(minimal_rulebook())
    files = {"rulebook.yml": {"title": "Another", "currency": "USD"}}
    assert as_markdown(minimal_rulebook()) != as_markdown(minimal_rulebook(files))


def test_what_people_wrote_shows_as_they_wrote_it():
    title = "<script>alert(1)</script> *not bold* [no](http://link) | no cell & `no code`"
    files = minimal_files()
    check = {**files["checks/rinse-filter.yml"], "title": title, "steps": [title, "# no heading"]}
    page = as_html(minimal_rulebook({"checks/rinse-filter.yml": check}))
    links = Links(page)
    assert "script" not in links.tags
    assert "em" not in links.tags
    assert not any(link.startswith("http") for link in links.links)
    assert (
        "&lt;script&gt;alert(1)&lt;/script&gt; *not bold* [no](http://link) | no cell &amp; `no code`" in page
    )


def test_the_page_asks_nothing_of_any_other_place(default):
    page = as_html(default)
    assert not re.search(r'(src|href)="(?!#)', page)
    assert "@import" not in page


def test_text_stays_on_one_line():
    assert text("one\n\n  two") == "one two"


OPENINGS = [
    "- one",
    "+ one",
    "* one",
    "1. one",
    "12) one",
    "1.",
    "-",
    "---",
    "- - -",
    "***",
    "___",
    "===",
    "~~~",
    "```",
]


@pytest.mark.parametrize(
    "words",
    [*OPENINGS, "# one", "> one", "[x]: y", "![x](y)", "<!-- x -->", "&amp;", "a\\", "-5 F", "1.5", "   one"],
)
def test_a_text_that_begins_like_a_list_or_a_rule_stays_as_written(words):
    files = minimal_files()
    check = {**files["checks/rinse-filter.yml"], "title": words, "steps": [words, words]}
    page = as_html(minimal_rulebook({"checks/rinse-filter.yml": check}))
    shown = html.escape(words.strip(), quote=False)
    assert page.count(f"<li>{shown}</li>") == 2
    assert re.search(rf'<a id="checks-rinse-filter"></a>{re.escape(shown)}</h3>', page)


@pytest.mark.parametrize("number", ["LW-1.2_b", "a`b", "``", "<b>x</b>", "a|b", "*x*", "- x"])
def test_the_number_of_a_part_stays_as_written(number):
    parts = {**minimal_files()["parts.yml"]["parts"], number: {"title": "Filter", "price": 12, "kg": 1}}
    page = as_html(minimal_rulebook({"parts.yml": {"parts": parts}}))
    shown = html.escape(number, quote=False)
    assert re.search(rf"<td>(<code>)?{re.escape(shown)}(</code>)?</td>\n<td>Filter</td>", page)
