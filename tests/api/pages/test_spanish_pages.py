"""On a page in Spanish all that the rulebook says in Spanish is said in Spanish, whoever reads it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from lxml import html

from tests.triage.rulebook_care.safety.default_files import default_files, default_rulebook
from tests.triage.services import AGENT, running_service
from triage.service import calls, tickets
from triage.service.service import Service


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, files=default_files()) as running:
        yield running


@pytest.fixture
def client_in_spanish(client: FlaskClient) -> FlaskClient:
    for name in ("barrelwise_pages_language", "barrelwise_clerk_language"):
        client.set_cookie(name, "es")
    return client


def texts(page: str) -> Iterator[str]:
    """What stands on a page, but for what is marked as English and what people said themselves."""
    root = html.document_fromstring(page)
    for apart in root.xpath("//*[@lang='en'] | //q | //mark | //script | //style"):
        apart.drop_tree()
    yield from (text.strip() for text in root.xpath("//body//text()") if text.strip())


def in_english(page: str) -> set[str]:
    """Texts of the rulebook that stand on a page in English although there is Spanish."""
    spanish = default_rulebook().spanish
    assert '<html lang="es">' in page
    return {text for text in texts(page) if spanish.get(text.rstrip(":."), text) != text}


def sign_in(client: FlaskClient, token: str) -> None:
    client.post("/sign-in", data={"token": token})


def test_an_agent_reads_titles_dangers_and_reasons_in_spanish(
    client_in_spanish: FlaskClient, service: Service, tokens: dict[str, str]
) -> None:
    desk = client_in_spanish
    sign_in(desk, tokens["agent"])
    report = {"machine": "LH20-1", "symptoms": ["not_freezing"], "answers": {"filter_days": 40}}
    call = f"/tickets/{tickets.open_ticket(service, report, AGENT).id}"
    seen = {}
    for path in (call, f"{call}?check=rinse-filter", f"{call}/end", f"{call}/end/close", f"{call}/history"):
        seen[path] = desk.get(path, follow_redirects=True).text
        assert in_english(seen[path]) == set(), path
    for said in ("Filtro de aire sucio", "Días desde que se limpió el filtro de aire"):
        assert said in seen[call]
    assert "La forma segura más barata empieza con una prueba en la tienda" in seen[f"{call}/end"]
    report = {"machine": "LH20-1", "symptoms": ["leaking"], "note": "it zapped me"}
    shock = tickets.open_ticket(service, report, AGENT).id
    calls.acknowledge(service, shock, AGENT, None)
    for path in (f"/tickets/{shock}", "/", "/?view=open", "/machines/LH20-1"):
        page = desk.get(path, follow_redirects=True).text
        assert in_english(page) == set(), path
        assert "Se sintió un hormigueo o una descarga" in page


@pytest.mark.parametrize("role", ["technician", "reporter"])
def test_others_read_a_ticket_in_spanish_on_the_page_that_is_theirs(
    client_in_spanish: FlaskClient, service: Service, tokens: dict[str, str], role: str
) -> None:
    report = {"machine": "LH20-1", "symptoms": ["not_freezing"], "note": "it zapped me"}
    ticket = tickets.open_ticket(service, report, AGENT).id
    sign_in(client_in_spanish, tokens[{"technician": "fogline"}.get(role, role)])
    page = client_in_spanish.get(f"/tickets/{ticket}", follow_redirects=True)
    own = f"/field/tickets/{ticket}" if role == "technician" else f"/tickets/{ticket}/history"
    assert (page.status_code, page.request.path) == (200, own)
    assert in_english(page.text) == set()
    assert "Se sintió un hormigueo o una descarga" in page.text


def test_a_refusal_says_in_spanish_whose_page_it_is_and_what_was_typed(
    client_in_spanish: FlaskClient, tokens: dict[str, str]
) -> None:
    client = client_in_spanish
    sign_in(client, tokens["fogline"])
    refused = client.get("/report", headers={"Accept": "text/html"})
    assert refused.status_code == 403
    assert "Esta página es de otros: agente, responsable de operaciones." in refused.text
    assert "Usted entró como: técnico." in refused.text
    missing = client.get("/field/tickets/T-OOPS", headers={"Accept": "text/html"})
    assert missing.status_code == 404
    assert missing.text.count("«T-OOPS»") == 1
    nowhere = client.get("/nowhere", headers={"Accept": "text/html"})
    assert "En esta dirección no hay nada." in nowhere.text
