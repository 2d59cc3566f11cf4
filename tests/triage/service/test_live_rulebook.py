"""A new version serves new requests in seconds, running ones keep the old, a bad one never serves."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.triage.builders import minimal_rulebook
from tests.triage.services import AGENT, REPORT, Clock, rulebook_files, running_service
from triage.decide.causes.inference import compile_rulebook
from triage.rulebook.reading.reader import version_of
from triage.service import tickets, what_if
from triage.service.live_rulebook import POLL_SECONDS, LiveRulebook, Serving
from triage.store.tables.rulebooks import Publication

BASE = minimal_rulebook()
ENGINE = compile_rulebook(BASE, "plain")


def serving(version: str) -> Serving:
    return Serving(replace(BASE, version=version), ENGINE)


class World:
    """A timer and a live version that tests move, and what was loaded."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self.published: str | None = "one"
        self.loaded: list[str] = []
        self.load: Callable[[str], Serving] = serving
        self.live = LiveRulebook(serving("one"), self.newest, self.loading, lambda: self.seconds)

    def newest(self) -> str | None:
        return self.published

    def loading(self, version: str) -> Serving:
        self.loaded.append(version)
        return self.load(version)

    def request(self) -> str:
        with self.live.one_version() as now:
            return now.rulebook.version


def test_the_promise_of_five_seconds_leaves_time_to_load() -> None:
    assert POLL_SECONDS <= 2.5


def test_a_request_after_the_poll_gets_the_live_version() -> None:
    world = World()
    world.published = "two"
    world.seconds = POLL_SECONDS - 0.1
    assert world.request() == "one"
    world.seconds = POLL_SECONDS
    assert world.request() == "two"
    world.seconds = 2 * POLL_SECONDS
    assert world.request() == "two"
    assert world.loaded == ["two"]


def test_a_running_request_keeps_the_version_it_started_with() -> None:
    world = World()
    with world.live.one_version():
        world.published = "two"
        world.seconds = 10.0
        world.live.refresh()
        with world.live.one_version() as inner:
            assert inner.rulebook.version == "one"
        assert world.live.current().rulebook.version == "one"
    assert world.live.current().rulebook.version == "two"


def test_other_requests_go_on_with_the_old_version_while_one_loads() -> None:
    world = World()
    begun, finish = threading.Event(), threading.Event()

    def slowly(version: str) -> Serving:
        begun.set()
        assert finish.wait(30)
        return serving(version)

    world.load, world.published, world.seconds = slowly, "two", POLL_SECONDS
    answers: list[str] = []
    loader = threading.Thread(target=lambda: answers.append(world.request()))
    loader.start()
    assert begun.wait(30)
    world.seconds = 2 * POLL_SECONDS
    assert world.request() == "one"
    finish.set()
    loader.join(30)
    assert answers == ["two"]
    assert world.request() == "two"


def test_a_version_that_cannot_be_loaded_never_serves_and_is_tried_once(
    caplog: pytest.LogCaptureFixture,
) -> None:
    world = World()

    def broken(version: str) -> Serving:
        raise RuntimeError("the compiler gave up")

    world.load, world.published = broken, "bad"
    with caplog.at_level(logging.ERROR):
        for poll in range(1, 4):
            world.seconds = poll * POLL_SECONDS
            assert world.request() == "one"
    assert world.loaded == ["bad"]
    assert [record.getMessage() for record in caplog.records] == [
        "the live rulebook cannot be loaded; one goes on serving"
    ]
    world.load, world.published, world.seconds = serving, "good", 100.0
    assert world.request() == "good"


def test_a_database_that_does_not_answer_does_not_stop_the_service(
    caplog: pytest.LogCaptureFixture,
) -> None:
    world = World()
    world.published = None
    world.seconds = POLL_SECONDS
    assert world.request() == "one"

    def unreachable() -> str | None:
        raise OSError("gone")

    live = LiveRulebook(serving("one"), unreachable, serving, lambda: world.seconds)
    world.seconds *= 2
    with live.one_version() as now:
        assert now.rulebook.version == "one"
    assert "cannot be loaded" in caplog.text


def test_every_process_serves_what_another_published_and_a_ticket_shows_its_own_version(
    tmp_path: Path,
) -> None:
    clock = Clock()
    renamed = rulebook_files(**{"rulebook.yml": {"title": "Renamed", "currency": "USD"}})
    with running_service(tmp_path, clock) as service:
        first = tickets.open_ticket(service, REPORT, AGENT)
        with service.store.write() as work:
            work.rulebooks.keep(version_of(renamed), renamed)
            work.rulebooks.publish(Publication(version_of(renamed), clock(), "lead", "A new title."))
        service.refresh()
        second = tickets.open_ticket(service, REPORT, AGENT)
        assert (first.rulebook, second.rulebook) == (version_of(rulebook_files()), version_of(renamed))
        for ticket in (first, second):
            found = what_if.explain(service, ticket.id)
            assert found.identical
            assert found.rulebook.version == ticket.rulebook
    with running_service(tmp_path, clock) as restarted:  # with the old files
        assert restarted.rulebook.version == version_of(renamed)
        assert restarted.given == version_of(rulebook_files())
