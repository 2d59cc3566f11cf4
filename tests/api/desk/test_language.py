"""The language that a clerk is spoken to in belongs to the ticket, not to the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from api.pages.texts import LANGUAGE_COOKIE, clerk
from tests.triage.services import AGENT, REPORT, rulebook_files, running_service
from triage.service import calls, tickets
from triage.service.service import Service
from triage.values.errors import InputError


@pytest.fixture
def ticket(service: Service) -> str:
    return tickets.open_ticket(service, REPORT, AGENT).id


def signed_in(service: Service, tokens: dict[str, str], by: str) -> FlaskClient:
    client = create_app(service).test_client()
    client.post("/sign-in", data={"token": tokens[by]})
    return client


def test_another_agent_reads_out_in_the_language_chosen_on_the_ticket(
    service: Service, tokens: dict[str, str], ticket: str
) -> None:
    mira, lead = signed_in(service, tokens, "agent"), signed_in(service, tokens, "ops")
    path = f"/tickets/{ticket}"
    assert "Su número de reporte" not in lead.get(f"{path}/end").text
    mira.post("/language", data={"language": "es", "ticket": ticket, "next": path})
    assert "Su número de reporte" in lead.get(f"{path}/end").text
    lead.set_cookie(LANGUAGE_COOKIE, "en")
    assert "Su número de reporte" in lead.get(f"{path}/end").text


def test_a_report_made_while_speaking_spanish_stays_spanish(service: Service, tokens: dict[str, str]) -> None:
    mira = signed_in(service, tokens, "agent")
    mira.set_cookie(LANGUAGE_COOKIE, "es")
    sent = mira.post("/report", data={"machine": "LH20-1", "symptom": "not_freezing"})
    made = tickets.ticket(service, sent.headers["Location"].rsplit("/", 1)[1], AGENT)
    assert made.language == "es"


def test_the_same_language_again_is_no_event(service: Service, ticket: str) -> None:
    spoken = calls.speak(service, ticket, "es", AGENT)
    assert (spoken.language, spoken.outcome) == ("es", tickets.ticket(service, ticket, AGENT).outcome)
    assert calls.speak(service, ticket, "es", AGENT).version == spoken.version
    assert tickets.events(service, ticket, AGENT)[-1].kind == "spoken"


def test_an_undone_answer_does_not_take_the_language_back(service: Service, ticket: str) -> None:
    tickets.answer(service, ticket, {"fill_level": 50}, AGENT)
    calls.speak(service, ticket, "es", AGENT)
    assert calls.undo(service, ticket, AGENT, None).language == "es"


@pytest.mark.parametrize("language", ["ES", "spanish", 7, ["es"]])
def test_a_language_is_two_small_letters(service: Service, language: object) -> None:
    with pytest.raises(InputError, match="two small letters"):
        tickets.open_ticket(service, {**REPORT, "language": language}, AGENT)


def test_what_the_rulebook_says_in_spanish_itself_goes_before_the_catalog(tmp_path: Path) -> None:
    files = rulebook_files()
    cord: Any = files["facts/cord_damaged.yml"]
    files["facts/cord_damaged.yml"] = {**cord, "ask_es": "¿Está dañado el cordón?"}
    with running_service(tmp_path, files=files) as service:
        app = create_app(service)
        with app.test_request_context("/"):
            assert clerk(str(cord["ask"]), "es") == "¿Está dañado el cordón?"
            assert clerk(str(cord["ask"]), "en") == cord["ask"]
            assert clerk("Nobody wrote this.", "es") == "Nobody wrote this."
