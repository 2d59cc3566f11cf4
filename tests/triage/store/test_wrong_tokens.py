"""Wrong tokens of one address count for five minutes, for every process on the database."""

from contextlib import closing
from datetime import timedelta

from tests.triage.services import NOON
from triage.store import open_store
from triage.store.wrong_tokens import MOST, WITHIN

SECOND = timedelta(seconds=1)


def test_the_wait_ends_when_the_tenth_last_is_five_minutes_old(store_url: str) -> None:
    with closing(open_store(store_url)) as store, closing(open_store(store_url)) as another:
        for number in range(MOST):
            with another.read() as work:
                assert work.wrong_tokens.wait("192.0.2.1", NOON + number * SECOND) == timedelta()
            with store.write() as work:
                work.wrong_tokens.add("192.0.2.1", NOON + number * SECOND)
        last = NOON + (MOST - 1) * SECOND
        with another.read() as work:
            assert work.wrong_tokens.wait("192.0.2.1", last) == WITHIN - (MOST - 1) * SECOND
            assert work.wrong_tokens.wait("192.0.2.1", NOON + WITHIN + SECOND) == timedelta()
            assert work.wrong_tokens.wait("192.0.2.2", last) == timedelta()
            assert work.wrong_tokens.wait("192.0.2.1", NOON - SECOND) == timedelta()  # the clock went back


def test_what_counts_no_longer_is_kept_no_longer(store_url: str) -> None:
    with closing(open_store(store_url)) as store:
        for _ in range(MOST):
            with store.write() as work:
                work.wrong_tokens.add("192.0.2.1", NOON)
        with store.write() as work:
            work.wrong_tokens.add("x" * 1000, NOON + WITHIN + SECOND)
            assert work.wrong_tokens.wait("192.0.2.1", NOON) == timedelta()
