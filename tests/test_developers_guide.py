"""The contributors' guide names places that are there."""

from __future__ import annotations

import re

import pytest

from tests import ROOT
from tests.test_architecture import ORDER

GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
NAMED = sorted(set(re.findall(r"`((?:triage|api|rules|demo|tests)/[\w./-]*)`", GUIDE)))


def test_the_guide_names_many_places() -> None:
    assert len(NAMED) > 40


@pytest.mark.parametrize("path", NAMED)
def test_a_place_that_the_guide_names_is_there(path: str) -> None:
    assert (ROOT / path).exists()


def test_the_guide_has_a_line_for_every_package() -> None:
    rooms = {package.split(".")[1] for package in ORDER if package.startswith("triage.")}
    assert {room for room in rooms if f"`triage/{room}/`" not in GUIDE} == set()
