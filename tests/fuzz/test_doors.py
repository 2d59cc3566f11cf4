"""A few odd inputs at every door, and every finding there was: each is let in or refused."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz.door import CORPUS, MOST_BYTES, Door, Opened, Verdict
from tests.fuzz.doors import DOORS
from tests.fuzz.mutation import mutated


@pytest.fixture(params=DOORS, scope="module")
def door(request: pytest.FixtureRequest) -> Door:
    return DOORS[request.param]


@pytest.fixture(scope="module")
def opened(door: Door) -> Iterator[Opened]:
    with door.open() as found:
        yield found


def test_what_is_good_is_let_in(opened: Opened) -> None:
    seeds = opened.seeds[:: max(1, len(opened.seeds) // 40)]
    assert [seed for seed in seeds if opened.judge(seed) is not Verdict.ACCEPTED] == []


def test_what_is_odd_is_let_in_or_refused(door: Door, opened: Opened) -> None:
    verdicts = set()

    @settings(deadline=None, derandomize=True, database=None, max_examples=door.everyday)
    @given(st.sampled_from(opened.seeds), st.integers(0, 2**32), st.none() | st.binary(max_size=200))
    def try_one(seed: bytes, number: int, whole: bytes | None) -> None:
        data = whole
        if data is None:
            data = mutated(seed, Random(number), opened.words, MOST_BYTES, opened.still)
        verdicts.add(opened.judge(data))

    try_one()
    assert verdicts == set(Verdict), "a door that lets everything or nothing in is not tried"


def test_what_was_found_is_let_in_or_refused_now(door: Door, opened: Opened) -> None:
    for path in door.kept():
        assert isinstance(opened.judge(path.read_bytes()), Verdict), path.name


def test_every_finding_kept_belongs_to_a_door() -> None:
    assert {path.parent.name for path in CORPUS.glob("*/*")} <= DOORS.keys()
