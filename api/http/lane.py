"""Heavy requests take turns in a process, so that short ones never wait behind them.

What-ifs, checks of a rulebook and sums over all tickets cost seconds of one interpreter. One runs at a time,
some wait for it, and more are told to come back.
"""

import threading

from flask import Flask, Response, current_app, g, request

from api.http.problems import problem

HEAVY = frozenset(
    {
        "what_if.WhatIf",
        "what_if_page.page",
        "what_if_page.edited",
        "rulebook.Check",
        "rulebook_files.CheckFile",
        "rulebook_changes.check",
        "pages_rulebook.check",
        "numbers.Numbers",
        "numbers_page.numbers",
        "simulate_page.years",
    }
)
"""Endpoints whose requests take turns."""
MOST_WAITING = 3
RETRY_SECONDS = 5


class Lane:
    """Room for one that runs and a few that wait."""

    def __init__(self, most_waiting: int = MOST_WAITING) -> None:
        self._room = threading.BoundedSemaphore(1 + most_waiting)
        self._turn = threading.Lock()

    def enter(self) -> bool:
        """Waits for its turn; False where too many wait already."""
        if not self._room.acquire(blocking=False):
            return False
        self._turn.acquire()
        return True

    def leave(self) -> None:
        self._turn.release()
        self._room.release()


def init_lane(app: Flask) -> None:
    app.extensions["barrelwise_lane"] = Lane()
    app.before_request(_enter)
    app.teardown_request(_leave)


def _enter() -> Response | None:
    if request.endpoint not in HEAVY:
        return None
    lane: Lane = current_app.extensions["barrelwise_lane"]
    if lane.enter():
        g.lane = lane
        return None
    busy = problem(503, f"Other heavy questions run; ask again in {RETRY_SECONDS} seconds.")
    busy.headers["Retry-After"] = str(RETRY_SECONDS)
    return busy


def _leave(_error: BaseException | None) -> None:
    lane: Lane | None = g.pop("lane", None)
    if lane is not None:
        lane.leave()
