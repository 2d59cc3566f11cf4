"""The ops lead in a browser: a replay started and watched to its end, a candidate published, and back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from api.http.work_folder import LAUNCHER
from tests.browser.served import NOW, ROOT, Served
from tests.browser.test_desk import violations
from triage.records.caller import Caller
from triage.rulebook.reading.reader import rulebook_files_data
from triage.rulebook_care.release.background import AtOnce
from triage.rulebook_care.release.publishing import check_candidate
from triage.service import tickets
from triage.store.tables.replay_runs import ReplayRun
from triage.store.tables.rulebooks import Publication

pytestmark = pytest.mark.browser
Shot = Callable[[Page, str], None]
MIRA = Caller("mira", "agent")


def candidate(desk: Served) -> str:
    """A checked candidate: a cause is called otherwise, a caution is less urgent. The default one is live."""
    files = dict(rulebook_files_data(ROOT / "rules"))
    store = desk.running.store
    with store.write() as work:
        work.rulebooks.keep(desk.running.rulebook.version, files)
        work.rulebooks.publish(Publication(desk.running.rulebook.version, NOW, "system", "the first"))
    cause = {**files["causes/dirty_filter.yml"], "title": "Air filter clogged"}  # type: ignore[dict-item]
    caution: dict[str, Any] = {**files["cautions/about-to-tip.yml"]}  # type: ignore[dict-item]
    caution["then"] = {**caution["then"], "visit_priority": 2}
    changed = {"causes/dirty_filter.yml": cause, "cautions/about-to-tip.yml": caution}
    return check_candidate(store, {**files, **changed}, "lead", NOW)


def test_a_replay_is_watched_to_its_end_and_the_candidate_published_and_rolled_back(
    browser: Browser, desk: Served, shot: Shot
) -> None:
    for days in (3, 20, 40):
        report = {"machine": "LH20-10001", "symptoms": ["not_freezing"], "answers": {"filter_days": days}}
        tickets.open_ticket(desk.running, report, MIRA)
    version = candidate(desk)
    waiting: list[ReplayRun] = []

    class Later:
        def launch(self, run: ReplayRun) -> None:
            waiting.append(run)

    desk.app.extensions[LAUNCHER] = Later()
    with desk.running.store.write() as work:
        token = work.tokens.add("lead", "ops", None, NOW)
    context = browser.new_context(base_url=desk.url, viewport={"width": 1280, "height": 900}, bypass_csp=True)
    page = context.new_page()
    page.goto("/sign-in")
    page.get_by_label("Your token").fill(token)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    page.goto(f"/rulebook/candidates/{version}")
    page.get_by_role("button", name="Start the replay").click()
    page.get_by_role("button", name="Stop the replay").wait_for()
    assert violations(page) == ""
    shot(page, "replay-running")
    AtOnce(desk.running.store, desk.clock).launch(waiting[0])
    page.get_by_role("heading", name="Safety outcomes lost: 0").wait_for()  # the script saw the end
    assert violations(page) == ""
    shot(page, "replay-done")
    page.get_by_label("Why", exact=True).fill("Say it as the callers do.")
    page.get_by_role("button", name="Publish it").click()
    page.get_by_text("1 safety loss is not accepted").wait_for()
    assert violations(page) == ""
    page.get_by_label("Accepted because:").fill("The stand is bolted down.")
    page.get_by_role("button", name="Publish it").click()
    page.wait_for_url("**/rulebook/log")
    assert "Accepted because: The stand is bolted down." in page.locator("main").inner_text()
    assert violations(page) == ""
    shot(page, "rulebook-log")
    page.get_by_label("Why").fill("Not yet.")
    page.get_by_role("button", name="Publish it again").click()
    page.get_by_role("cell", name="rolled back").wait_for()
    assert "rolled back: Not yet." in page.locator("main").inner_text()
    context.close()
