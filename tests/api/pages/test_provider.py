"""Signing in by an OpenID Connect provider, against a small one that the tests start."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import parse_qs, urlsplit

import pytest
import requests
from flask.testing import FlaskClient
from joserfc.jwk import RSAKey
from werkzeug.test import TestResponse

from api.app import create_app
from api.http.auth import COOKIE
from tests.api.pages.openid_provider import PAGES, Provider, provider
from tests.triage.services import NOON
from triage.config import OpenId, read_settings
from triage.service.service import Service
from triage.values.errors import InputError

MARA = {"email": "Mara@lanternway.example", "email_verified": True}


@pytest.fixture(scope="module")
def started() -> Iterator[Provider]:
    with provider() as made:
        yield made


@pytest.fixture
def at(started: Provider) -> Provider:
    started.who, started.claims, started.userinfo, started.signs_with = dict(MARA), {}, {}, None
    return started


@pytest.fixture
def desk(service: Service, at: Provider) -> FlaskClient:
    with service.store.write() as work:
        work.tokens.add("mara", "agent", None, NOON, email="mara@lanternway.example")
    return create_app(service, openid=at.settings()).test_client()


def leave(desk: FlaskClient, path: str = "/sign-in/provider") -> str:
    """Goes to the provider and signs in there; gives the path that it leads back to."""
    sent = desk.get(path, base_url=PAGES)
    assert sent.status_code == 302
    answer = requests.get(sent.headers["Location"], allow_redirects=False, timeout=10)
    back = answer.headers["Location"]
    assert back.startswith(f"{PAGES}/sign-in/provider/return?")
    return back.removeprefix(PAGES)


def come_back(desk: FlaskClient, path: str) -> TestResponse:
    return desk.get(path, base_url=PAGES)


def nobody(desk: FlaskClient, answer: TestResponse, status: int, words: str) -> None:
    assert answer.status_code == status
    assert words in answer.text
    assert desk.get_cookie(COOKIE, domain="desk.example.com") is None


def test_who_has_the_address_of_a_token_gets_its_session(desk: FlaskClient) -> None:
    assert "/sign-in/provider?next=/report" in desk.get("/sign-in?next=/report").text
    answer = come_back(desk, leave(desk, "/sign-in/provider?next=/report"))
    assert answer.status_code == 200
    assert 'content="0; url=/report"' in answer.text
    cookie = next(each for each in answer.headers.getlist("Set-Cookie") if each.startswith(COOKIE))
    assert "Secure" in cookie
    assert "SameSite=Strict" in cookie
    page = desk.get("/report", base_url=PAGES)
    assert page.status_code == 200
    assert "mara, agent" in page.text


def test_the_address_may_stand_in_the_userinfo(desk: FlaskClient, at: Provider) -> None:
    at.who, at.userinfo = {}, {"sub": "u-1", **MARA}
    assert come_back(desk, leave(desk)).status_code == 200


def test_the_userinfo_of_somebody_else_does_not_count(desk: FlaskClient, at: Provider) -> None:
    at.who, at.userinfo = {}, {"sub": "u-2", **MARA}
    nobody(desk, come_back(desk, leave(desk)), 403, "did not say which e-mail address")


@pytest.mark.parametrize("who", [{}, {"email": MARA["email"]}, {**MARA, "email_verified": False}])
def test_an_address_that_is_not_sure_signs_nobody_in(
    desk: FlaskClient, at: Provider, who: dict[str, object]
) -> None:
    at.who = who
    nobody(desk, come_back(desk, leave(desk)), 403, "did not say which e-mail address")


def test_a_stranger_is_told_whom_to_ask(desk: FlaskClient, at: Provider) -> None:
    at.who = {"email": "who@elsewhere.example", "email_verified": True}
    nobody(desk, come_back(desk, leave(desk)), 403, "No token belongs to who@elsewhere.example")


def test_a_revoked_token_lets_nobody_in(desk: FlaskClient, service: Service) -> None:
    with service.store.write() as work:
        work.tokens.revoke("mara", NOON)
    nobody(desk, come_back(desk, leave(desk)), 403, "No token belongs to")


def test_an_address_of_two_tokens_signs_nobody_in(desk: FlaskClient, service: Service) -> None:
    with service.store.write() as work:
        work.tokens.add("mara too", "ops", None, NOON, email="mara@lanternway.example")
    nobody(desk, come_back(desk, leave(desk)), 403, "or several do")


@pytest.mark.parametrize(
    "claims",
    [{"nonce": "another"}, {"iss": "https://elsewhere.example"}, {"aud": "another"}, {"exp": 1}],
    ids=["nonce", "issuer", "audience", "expired"],
)
def test_a_token_for_somebody_else_is_refused(
    desk: FlaskClient, at: Provider, claims: dict[str, object]
) -> None:
    at.claims = claims
    nobody(desk, come_back(desk, leave(desk)), 403, "broken off")


def test_a_token_that_another_signed_is_refused(desk: FlaskClient, at: Provider) -> None:
    at.signs_with = RSAKey.generate_key(2048)
    nobody(desk, come_back(desk, leave(desk)), 403, "broken off")


def test_what_was_not_asked_for_here_is_refused(desk: FlaskClient, service: Service, at: Provider) -> None:
    back = leave(desk)
    another = create_app(service, openid=at.settings()).test_client()
    nobody(another, come_back(another, back), 403, "broken off")
    assert come_back(desk, back).status_code == 200
    assert come_back(desk, back).status_code == 403  # a code is good for once


def test_another_process_takes_who_comes_back(desk: FlaskClient, service: Service, at: Provider) -> None:
    back = leave(desk)
    state = desk.get_cookie("barrelwise_sign_in", domain="desk.example.com")
    assert state is not None
    another = create_app(service, openid=at.settings()).test_client()
    another.set_cookie("barrelwise_sign_in", state.value, domain="desk.example.com")
    assert come_back(another, back).status_code == 200


def test_saying_no_there_leads_back_to_the_form(desk: FlaskClient) -> None:
    state = parse_qs(urlsplit(leave(desk)).query)["state"][0]
    answer = come_back(desk, f"/sign-in/provider/return?error=access_denied&state={state}")
    nobody(desk, answer, 403, "broken off")


def test_a_provider_that_is_away_is_said(service: Service, at: Provider) -> None:
    gone = OpenId("http://127.0.0.1:9", "barrelwise", "s", PAGES)
    desk = create_app(service, openid=gone).test_client()
    nobody(desk, desk.get("/sign-in/provider", base_url=PAGES), 503, "does not answer")


def test_without_a_provider_there_is_no_such_way(client: FlaskClient) -> None:
    assert "provider" not in client.get("/sign-in").text
    assert client.get("/sign-in/provider").status_code == 404


@pytest.mark.parametrize("target", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere"])
def test_it_leads_to_no_other_site(desk: FlaskClient, target: str) -> None:
    answer = come_back(desk, leave(desk, f"/sign-in/provider?next={target}"))
    assert 'content="0; url=/"' in answer.text


GIVEN = {
    "BARRELWISE_OPENID_ISSUER": "https://id.example.com/",
    "BARRELWISE_OPENID_CLIENT": "barrelwise",
    "BARRELWISE_OPENID_SECRET": "hidden",
    "BARRELWISE_URL": PAGES,
}


def test_the_settings_of_a_provider() -> None:
    openid = read_settings(GIVEN).server.openid
    assert openid == OpenId("https://id.example.com/", "barrelwise", "hidden", PAGES)
    assert "hidden" not in repr(openid)
    assert read_settings({}).server.openid is None


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"BARRELWISE_OPENID_ISSUER": "http://id.example.com"}, "begins with https://"),
        ({"BARRELWISE_OPENID_ISSUER": "id.example.com"}, "begins with https://"),
        ({"BARRELWISE_OPENID_SECRET": ""}, "BARRELWISE_OPENID_SECRET"),
        ({"BARRELWISE_URL": ""}, "BARRELWISE_URL is needed"),
    ],
)
def test_settings_that_cannot_be_are_named(changed: dict[str, str], words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_settings({**GIVEN, **changed})
