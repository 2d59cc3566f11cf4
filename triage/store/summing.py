"""What is kept of days brought up to date: a few days in the request that reads them, many in a thread."""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import Random

from triage.repairs.day_sums import folded
from triage.repairs.period import Period
from triage.store.engine import Store

TRIES = 5
AT_ONCE = 10
"""So many days a request folds by itself; for more it does not wait."""

log = logging.getLogger(__name__)


def sum_days(store: Store, period: Period) -> int:
    """Folds the days of the period that a ticket of theirs changed; says how many are left to be folded.

    They are left where they are many and a thread folds beside (`summing`): after a migration, or a load.
    """
    for tries in range(TRIES):
        with store.read() as work:
            marked = sorted(work.day_sums.marked(period))
        if store.to_sum is not None and len(marked) > AT_ONCE:
            store.to_sum.set()
            return len(marked)
        for day in marked:
            _fold(store, Period(day, day), last_try=tries == TRIES - 1)
        if not marked:
            break
    with store.read() as work:
        months = work.day_sums.months_to_sum(period)
    if months:
        with store.write() as work:
            for month in work.day_sums.months_to_sum(period):
                work.day_sums.sum_month(month)
    return 0


def _fold(store: Store, day: Period, last_try: bool) -> None:
    """Outside the write lock as far as it can; a day that goes on changing is at last folded in the write."""
    with store.read() as work:
        mark = work.day_sums.marked(day).get(day.first)
        folds = None if last_try or mark is None else folded(work.numbers.of_day(day))
    if mark is None:  # another process was quicker
        return
    with store.write() as work:
        if folds is None:
            mark = work.day_sums.marked(day).get(day.first, 0)
            folds = folded(work.numbers.of_day(day))
        work.day_sums.put(day.first, mark, folds)


@contextmanager
def summing(store: Store, besides: Callable[[], Iterator[object]]) -> Iterator[None]:
    """Folds all that is marked when the block begins, and again when a request found many days, in a thread.

    `besides` gives the steps of other work of the kind, done after each time. Several processes do this at
    once; each takes the days in an order of its own. Not for a database that is one connection's own.
    """
    if not store.can_be_shared:
        yield
        return
    ended, store.to_sum = threading.Event(), threading.Event()
    store.to_sum.set()

    def go_on(to_sum: threading.Event) -> None:
        while to_sum.wait() and not ended.is_set():
            to_sum.clear()
            try:
                with store.read() as work:
                    days = sorted(work.day_sums.marked())
                Random().shuffle(days)
                for day in days:
                    if ended.is_set():
                        break
                    _fold(store, Period(day, day), last_try=False)
                for _ in besides():
                    if ended.is_set():
                        break
            except Exception:
                log.exception("days were not summed; the next request for numbers tries again")

    thread = threading.Thread(target=go_on, args=(store.to_sum,), name="summing", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        store.to_sum.set()
        thread.join()
        store.to_sum = None
