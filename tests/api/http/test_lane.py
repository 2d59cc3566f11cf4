"""Heavy requests take turns, a few wait, more are told to come back; short ones pass them by."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
from flask import Flask
from flask.testing import FlaskClient

from api.http.lane import HEAVY, MOST_WAITING, Lane, init_lane


def test_each_heavy_endpoint_is_a_route(client: FlaskClient) -> None:
    assert set(client.application.view_functions) >= HEAVY


class Room(threading.BoundedSemaphore):
    """Says when another has come in."""

    def __init__(self, value: int) -> None:
        super().__init__(value)
        self.entered = threading.Semaphore(0)

    def acquire(self, blocking: bool = True, timeout: float | None = None) -> bool:
        found = super().acquire(blocking, timeout)
        self.entered.release()
        return found


@pytest.fixture
def one_at_work() -> Iterator[tuple[Flask, Room, threading.Event]]:
    """An app whose what-if waits for an event."""
    app, go = Flask("tried"), threading.Event()
    init_lane(app)

    def work() -> str:
        assert go.wait(60)
        return "done"

    app.add_url_rule("/what-if", "what_if.WhatIf", work)
    app.add_url_rule("/limits", "limits", lambda: "at once")
    lane: Lane = app.extensions["barrelwise_lane"]
    room = lane._room = Room(1 + MOST_WAITING)
    yield app, room, go
    go.set()


def test_some_wait_more_are_told_to_come_back_and_short_ones_pass(
    one_at_work: tuple[Flask, Room, threading.Event],
) -> None:
    app, room, go = one_at_work
    with ThreadPoolExecutor(1 + MOST_WAITING) as pool:
        asked = [pool.submit(lambda: app.test_client().get("/what-if").text) for _ in range(1 + MOST_WAITING)]
        for _ in asked:
            assert room.entered.acquire(timeout=60)
        refused = app.test_client().get("/what-if")
        assert (refused.status_code, refused.headers["Retry-After"]) == (503, "5")
        assert refused.json is not None
        assert refused.json["title"] == "It cannot be answered now"
        assert app.test_client().get("/limits").text == "at once"
        go.set()
        assert [each.result(60) for each in asked] == ["done"] * len(asked)
    assert app.test_client().get("/what-if").text == "done"
