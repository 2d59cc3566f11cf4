"""The desk's texts: all in the catalog, and everything read to clerks in Spanish."""

from __future__ import annotations

import re
from collections.abc import Iterator
from io import BytesIO

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po
from flask.testing import FlaskClient

from api.desk import summary
from api.pages.texts import clerk, tell
from tests import ROOT
from triage.repairs.period_numbers import DEFINITIONS
from triage.rulebook.built_in_facts import LOCAL_CODES
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(ROOT / "rules")


@pytest.fixture
def desk(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["agent"]})
    return client


SENTENCES = (
    *(LOCAL_CODES, summary.SOLVED, summary.NUMBER, summary.STOP, summary.WAIT, summary.US, "Yes", "No"),
    *(summary.CLOSED, summary.CALL_BACK, summary.CALL_SOON, summary.BOOKED, summary.SWAP_BOOKED),
    *(summary.THERE, summary.LATE, summary.DONE, summary.SMELL, summary.KNOWN_ENOUGH),
    *(summary.BOOKED_BY, summary.NOTED, summary.CALL_ON, summary.WHICH_NUMBER),
    *summary.BY_OUTCOME.values(),
    *summary.BY_FIXER.values(),
    *DEFINITIONS.values(),
)


def read_to_clerks(rulebook: Rulebook) -> Iterator[str]:
    """Every sentence of the rulebook that an agent reads out."""
    yield from (symptom.title for symptom in rulebook.symptoms.values())
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
        assert sentence == "No" or spanish != sentence
        for place in ("{ticket}", "{due}", "{authority}", "{time}", "{who}", "{phone}", "{symptoms}"):
            assert (place in sentence) == (place in spanish), sentence


def test_everything_the_default_rulebook_reads_to_clerks_is_in_spanish(rulebook: Rulebook) -> None:
    assert set(read_to_clerks(rulebook)) - rulebook.spanish.keys() == set()
    assert rulebook.spanish_gaps == {}


def test_the_numbers_are_in_spanish_with_their_definitions(
    client: FlaskClient, tokens: dict[str, str]
) -> None:
    client.post("/sign-in", data={"token": tokens["ops"]})
    client.post("/language", data={"pages": "es", "next": "/numbers"})
    page = client.get("/numbers").text
    assert "<h2>Resueltas en la tienda</h2>" in page
    assert "Reportes abiertos en el período." in page
    for english in ("Opened", "Outcome", "Contractor", "period", "Tickets", "None."):
        assert english not in re.sub(r"<[^>]*>", "", page), english


def test_a_sentence_without_translation_is_read_in_english() -> None:
    assert clerk("Is the moon made of slush?", "es") == "Is the moon made of slush?"


def test_every_page_text_stands_in_the_one_catalog() -> None:
    methods = [("**.py", "python"), ("**/templates/**.html", "jinja2")]
    methods += [("**/book/templates/**.md", "jinja2"), ("**/book/templates/**.txt", "jinja2")]
    rooms = (ROOT / "api", ROOT / "triage")
    found = {message for room in rooms for *_, message, _, _ in extract_from_dir(room, methods)}
    single = {message[0] if isinstance(message, tuple) else message for message in found}
    known = read_po(BytesIO((ROOT / "api/translations/messages.pot").read_bytes()))
    listed = {
        message.id[0] if isinstance(message.id, tuple) else message.id for message in known if message.id
    }
    assert single == listed, "run the line at the top of api/translations/babel.cfg"


def test_the_pages_are_in_spanish_and_keep_their_places() -> None:
    places = re.compile(r"%\(\w+\)s")
    with (ROOT / "api/translations/es/LC_MESSAGES/messages.po").open("rb") as source:
        spanish = {message.id: message.string for message in read_po(source, locale="es") if message.id}
    with (ROOT / "api/translations/messages.pot").open("rb") as source:
        english = [message.id for message in read_po(source) if message.id]
    for text in spanish:
        forms = zip(
            *((each,) if isinstance(each, str) else each for each in (text, spanish[text])), strict=True
        )
        for said, told in forms:
            extra = set(places.findall(told)) - set(places.findall(said))
            assert extra == set() and told, said
    missing = [text for text in english if text not in spanish]
    assert len(missing) * 20 < len(english), f"add these to messages.po of es: {missing}"


def test_an_agent_reads_the_pages_in_spanish_and_speaks_english(desk: FlaskClient) -> None:
    response = desk.post("/language", data={"pages": "es", "next": "/"})
    assert response.headers["Location"] == "/"
    page = desk.get("/").text
    assert '<html lang="es">' in page
    assert "¿Quién llama?" in page
    call = desk.post("/report", data={"machine": "LH20-1", "symptom": "not_freezing"}).headers["Location"]
    page = desk.get(call).text
    assert "Causas probables" in page
    assert re.search(r'<blockquote id="ask"[^>]* lang="en"', page)
    desk.post("/language", data={"pages": "en", "next": "/"})
    assert "Likely causes" in desk.get(call).text


def test_sentences_of_change_are_told_with_what_they_name(desk: FlaskClient) -> None:
    with desk.application.test_request_context(headers={"Cookie": "barrelwise_pages_language=es"}):
        desk.application.preprocess_request()
        assert tell("Outcome: Send a technician → Fix in store.").startswith("Resultado: ")
        assert "Send a technician" not in tell("Outcome: Send a technician → Fix in store.")
        assert tell("The limit: 350.00 → 400.00.") == "El límite: 350.00 → 400.00."
        assert tell("Dirty filter: 10 % → not considered.").endswith(": 10 % → ya no se considera.")
