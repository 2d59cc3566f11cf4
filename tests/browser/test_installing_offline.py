"""An installation on a bad line: what is written is kept on the phone, and stored once."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.call import next_page
from tests.browser.conftest import Api, SignedIn
from tests.browser.installing import PEOPLE, SERIAL, answer, new_machine, opened
from tests.browser.served import Served
from tests.installs import COUNTS, SET_UP, SURVEY

pytestmark = pytest.mark.browser
Shot = Callable[[Page, str], None]


def in_work(desk: Served, api: Api) -> str:
    """An installation at whose store the installer stands; where its page is."""
    new_machine(desk)
    made = api("agent", "/v1/installs", {"site": "halt-003", "machine": SERIAL, "contractor": "fogline"})
    path = f"/installs/{made['install']}"
    steps = (
        {"step": "survey", "answers": SURVEY},
        {"step": "date", "at": "2026-11-18T09:00:00-05:00"},
        {"step": "kit", "counts": COUNTS},
    )
    for step in steps:
        api("fogline", f"/v1{path}/steps", step)
    return path


def version(api: Api, path: str) -> int:
    return int(api("agent", f"/v1{path}")["version"])


def test_a_checklist_written_without_a_line_is_kept_and_stored_once(
    desk: Served, phone: SignedIn, api: Api, shot: Shot
) -> None:
    path = in_work(desk, api)
    before = version(api, path)
    with phone("van-3", "technician", "fogline") as van:
        van.goto(path)
        van.context.set_offline(True)
        answer(van, "set_up", SET_UP)
        button = van.locator("#set_up").get_by_role("button", name="Store it")
        button.click()
        expect(van.locator("#set_up [data-note]")).to_contain_text("No line. What you typed is kept")
        shot(van, "life-no-line")
        van.goto("about:blank")  # the phone is put away before it was sent
        van.context.set_offline(False)
        van.goto(path)
        section = opened(van, "set_up")
        assert section.locator('[name="points/bolt_kept_by"]').input_value() == SET_UP["points/bolt_kept_by"]
        assert section.locator('[name="shipping_bolt_removed"][value="yes"]').is_checked()
        assert version(api, path) == before

        van.context.set_offline(True)
        button.click()
        expect(van.locator("#set_up [data-note]")).to_contain_text("No line.")
        button.click()  # impatient
        with next_page(van):
            van.context.set_offline(False)
        assert version(api, path) == before + 1
        assert api("agent", f"/v1{path}")["answers"].items() >= SET_UP.items()


def test_a_step_whose_answer_was_lost_is_stored_once(desk: Served, phone: SignedIn, api: Api) -> None:
    path, lost = in_work(desk, api), []
    before = version(api, path)

    def lose_the_answer(route: Route) -> None:
        if lost:
            route.continue_()
            return
        route.fetch(max_redirects=0)
        lost.append(version(api, path))
        route.abort()

    with phone("van-3", "technician", "fogline") as van:
        van.goto(path)
        van.route(f"**{path}/training", lose_the_answer)
        answer(van, "training", {"people": PEOPLE, "signed": "Dana"})
        van.locator("[name=watched]").check()
        van.locator("#training").get_by_role("button", name="Store it").click()
        expect(van.locator("#training [data-note]")).to_contain_text("No line.")
        with next_page(van):
            van.evaluate("dispatchEvent(new Event('online'))")
        expect(van.locator("#training")).to_contain_text("Dana, Ray: Mixing and filling")
        assert (lost, version(api, path)) == ([before + 1], before + 1)
