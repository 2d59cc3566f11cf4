"""Help, the meaning of problems, and the reference of the API, as pages that nobody signs in for."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from api.help.pages import FOLDER, PAGES, WHAT_TO_DO
from api.http.problems import TITLES
from tests import ROOT
from tests.api.conftest import Send, signed_in

HTML = {"Accept": "text/html"}


@pytest.mark.parametrize("name", PAGES)
def test_every_page_of_help_is_there_and_linked(client: FlaskClient, name: str) -> None:
    shown = client.get(f"/help/{name}", headers=HTML)
    assert shown.status_code == 200
    assert "<h1>" in shown.text
    assert all(f'href="/help/{other}"' in shown.text for other in PAGES)


def test_the_tutorial_is_in_spanish_too_and_the_rest_in_english(
    client: FlaskClient, tokens: dict[str, str]
) -> None:
    signed_in(client, tokens["agent"]).post("/language", data={"pages": "es"})
    assert "la primera hora" in client.get("/help", headers=HTML).text
    assert '<div lang="en"' in client.get("/help/changelog", headers=HTML).text


def test_a_page_that_is_none_is_not_found(client: FlaskClient) -> None:
    for name in ("nothing", "..%2f..%2fapp", "en"):
        assert client.get(f"/help/{name}", headers=HTML).status_code == 404


def test_the_readme_links_to_sources_that_are_there() -> None:
    links = re.findall(r"\((api/templates/help/[^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert len(links) >= 5
    assert all((ROOT / link).is_file() for link in links)
    assert {path.stem for path in (FOLDER / "en").glob("*.md")} == set(PAGES)


def test_the_type_of_a_problem_leads_to_what_it_means(client: FlaskClient, send: Send) -> None:
    refused = send("POST", "/v1/reports", {"symptoms": "many"}).json
    assert refused is not None
    page = client.get(refused["type"], headers=HTML)
    assert page.status_code == 200
    assert TITLES[422] in page.text
    assert WHAT_TO_DO.keys() == TITLES.keys()


def test_the_reference_shows_every_operation_and_object(client: FlaskClient) -> None:
    document, shown = client.get("/openapi.json").json, client.get("/api", headers=HTML).text
    assert document is not None
    for operations in document["paths"].values():
        for operation in operations.values():
            if isinstance(operation, dict):
                assert f'id="{operation["operationId"]}"' in shown
    for name in document["components"]["schemas"]:
        assert f'<details id="{name}">' in shown
    assert '<script src="http' not in shown
