"""The desk's texts: all in the catalog, and everything read to clerks in Spanish."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po

from api.desk import summary
from api.pages.texts import clerk, translated
from tests import ROOT
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(ROOT / "rules")


SENTENCES = (
    *(summary.SOLVED, summary.NUMBER, summary.STOP, summary.WAIT, summary.US, "Yes", "No"),
    *summary.BY_OUTCOME.values(),
)


def read_to_clerks(rulebook: Rulebook) -> Iterator[str]:
    """Every sentence of the rulebook that an agent reads out."""
    for caution in rulebook.cautions.values():
        yield caution.text
    for fact in rulebook.facts.values():
        if fact.asked_of == "clerk":
            yield from filter(None, (fact.ask, fact.help, *fact.choices.values()))
    for check in rulebook.checks.values():
        if check.who == "clerk":
            yield from (*check.steps, check.look_for)


def test_the_fixed_sentences_are_all_in_spanish_and_keep_their_places() -> None:
    for sentence in SENTENCES:
        spanish = clerk(sentence, "es")
        assert sentence in translated("es")
        for place in ("{ticket}", "{due}", "{authority}", "{time}"):
            assert (place in sentence) == (place in spanish), sentence


def test_everything_the_default_rulebook_reads_to_clerks_is_in_spanish(rulebook: Rulebook) -> None:
    missing = set(read_to_clerks(rulebook)) - translated("es")
    assert missing == set(), "add these to api/translations/es/LC_MESSAGES/clerk.po"


def test_spanish_has_nothing_that_is_read_no_more(rulebook: Rulebook) -> None:
    assert translated("es") - set(read_to_clerks(rulebook)) - set(SENTENCES) == set()


def test_a_sentence_without_translation_is_read_in_english() -> None:
    assert clerk("Is the moon made of slush?", "es") == "Is the moon made of slush?"


def test_every_page_text_stands_in_the_one_catalog() -> None:
    methods = [("**.py", "python"), ("**/templates/**.html", "jinja2")]
    found = {message for *_, message, _, _ in extract_from_dir(ROOT / "api", methods)}
    single = {message[0] if isinstance(message, tuple) else message for message in found}
    known = read_po(BytesIO((ROOT / "api/translations/messages.pot").read_bytes()))
    listed = {
        message.id[0] if isinstance(message.id, tuple) else message.id for message in known if message.id
    }
    assert single == listed, "run the line at the top of api/translations/babel.cfg"
