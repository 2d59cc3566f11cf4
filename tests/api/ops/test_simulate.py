"""Years of a made-up fleet, played on a page."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import signed_in
from triage.service.numbers import played_years
from triage.service.service import Service
from triage.values.errors import InputError

YEARS = "/numbers/simulation/years?machines=4&years=2&seed=3&world=as_written"


def test_the_same_address_gives_the_same_years(client: FlaskClient, tokens: dict[str, str]) -> None:
    ops = signed_in(client, tokens["ops"])
    assert 'href="/numbers/simulation"' in ops.get("/numbers").text
    assert "<h2" not in ops.get("/numbers/simulation").text
    first, again = ops.get(YEARS), ops.get(YEARS)
    assert first.status_code == 200
    rows = re.findall(r"<tr>.*?</tr>", first.text)
    assert rows == re.findall(r"<tr>.*?</tr>", again.text)
    assert len(rows) == 10
    assert "Always send somebody, difference" in first.text


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("machines=many&years=2&seed=3&world=as_written", "write a whole number"),
        ("machines=500&years=10&seed=3&world=as_written", "at most 200 years of a machine"),
        ("machines=4&years=1&seed=3&world=as_written", "play 2 to 20 years"),
        ("machines=4&years=2&seed=3&world=flat", "the worlds are as_written"),
        ("machines=4&years=2&seed=3&world=as_written&candidate=none", "no rulebook none is kept"),
    ],
)
def test_what_cannot_be_played_is_said_with_the_form_kept(
    client: FlaskClient, tokens: dict[str, str], told: str, said: str
) -> None:
    refused = signed_in(client, tokens["ops"]).get(f"/numbers/simulation/years?{told}")
    assert refused.status_code == 422
    assert said in refused.text
    assert 'value="3"' in refused.text


def test_the_candidate_meets_the_same_calls(service: Service) -> None:
    own = service.rulebook.version
    found = played_years(service, 4, 2, 3, "as_written", own)
    assert found["rulebook"]["year"] == found["candidate"]["year"]
    assert found["candidate"]["against_first"]["spend"].mean == 0
    with pytest.raises(InputError):
        played_years(service, 4, 2, 3, "as_written", "sha256:0")


def test_it_is_for_ops_only(client: FlaskClient, tokens: dict[str, str]) -> None:
    agent = signed_in(client, tokens["agent"])
    assert agent.get("/numbers/simulation").status_code == 403
    assert agent.get(YEARS).status_code == 403
