"""What the demo's fleet went through beside its tickets: installations, care and training."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import timedelta

import pytest

from demo import lives
from demo.history import DAYS, SHOWN, History
from tests.triage.simulation.test_demo_history import UNTIL
from tests.triage.simulation.test_demo_history import history as history
from triage.service.fleet import care
from triage.service.installs import training, view
from triage.service.service import Service


@pytest.fixture
def played(history: History) -> Iterator[Service]:
    service = history.service
    lives.play(service, lambda at: setattr(history, "at", at), UNTIL - timedelta(days=DAYS), UNTIL)
    lives.keep_up(service, UNTIL, SHOWN)
    history.at = UNTIL
    yield service


def test_most_of_the_fleet_is_in_order_and_some_is_not(played: Service) -> None:
    found = care.page(played, "overdue", {}, 0, 500)
    assert 5 <= found.counts["overdue"] <= 25
    assert found.counts["all"] > 110
    standing = Counter(one.standing for one in training.stores(played, lives.DESK, "all", {}))
    assert 2 <= standing["due"] <= 8
    assert standing["kept"] > 4 * standing["due"]


def test_installations_ended_in_all_ways_that_there_are(played: Service) -> None:
    seen = view.listed(played, lives.DESK)
    states = Counter(one.install.state for one in seen)
    assert states["live"] >= 5
    assert (states["planned"], states["in_work"], states["call_back"]) == (1, 1, 1)
    live = [one for one in seen if one.install.state == "live"]
    assert any(len(one.install.visits) == 2 and one.install.visits[1].free for one in live)
    assert any(one.items for one in live)
    assert not any(one.blocking for one in live)
    assert {one.photos for one in live} == {3}
    with played.store.read() as work:
        for one in live:
            begun = [event.at for event in work.care.history(str(one.install.machine)).care]
            assert (
                UNTIL - timedelta(days=DAYS)
                <= one.install.planned_at
                < (one.install.live_at or UNTIL)
                < UNTIL
            )
            assert max(begun) < UNTIL
