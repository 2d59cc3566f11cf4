"""The ops lead reads the rulebook in a browser, finds a rule, changes its file, and makes it a candidate."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.served import NOW, ROOT, Served
from tests.browser.test_desk import violations
from triage.rulebook.reading.reader import rulebook_files_data
from triage.store.tables.rulebooks import Publication

pytestmark = pytest.mark.browser
Shot = Callable[[Page, str], None]
Open = Callable[..., Page]
FILE = "evidence/filter-overdue.yml"
ENTRY = "/rulebook/entries/evidence/filter-overdue"
WIDE = {"width": 1280, "height": 900}
NARROW = {"width": 390, "height": 844}


@pytest.fixture
def folder(desk: Served, tmp_path: Path) -> Path:
    """A copy of the default rulebook's folder, which is live."""
    copied = Path(shutil.copytree(ROOT / "rules", tmp_path / "rules"))
    desk.app.extensions["barrelwise_folder"] = copied
    version = desk.running.rulebook.version
    with desk.running.store.write() as work:
        work.rulebooks.keep(version, rulebook_files_data(copied))
        work.rulebooks.publish(Publication(version, NOW, "mira", "The first of all."))
    return copied


@pytest.fixture
def lead(browser: Browser, desk: Served, folder: Path) -> Iterator[Open]:
    """`lead(path, **context options)`: a page as the ops lead sees it."""
    contexts = []

    def opened(path: str, **options: object) -> Page:
        with desk.running.store.write() as work:
            token = work.tokens.add(f"lead{len(contexts)}", "ops", None, NOW)
        options = {"viewport": WIDE, "bypass_csp": True, **options}
        context = browser.new_context(base_url=desk.url, **options)  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(60_000)
        page.goto(f"/sign-in?next={path}")
        page.get_by_label("Your token").fill(token)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(f"**{path}")
        return page

    yield opened
    for context in contexts:
        context.close()


def change(folder: Path) -> None:
    text = (folder / FILE).read_text()
    assert "dirty_filter: 0.27" in text
    (folder / FILE).write_text(text.replace("dirty_filter: 0.27", "dirty_filter: 0.31"))


def test_a_rule_is_found_followed_changed_and_taken_as_a_candidate(
    lead: Open, folder: Path, shot: Shot
) -> None:
    page = lead("/")
    page.get_by_role("link", name="Rulebook").click()
    expect(page.get_by_text("The folder says the same.")).to_be_visible()
    shot(page, "book-contents")
    page.get_by_label("Ids, titles, words").fill("filter 16 to 30")
    page.get_by_role("button", name="Find", exact=True).click()
    shot(page, "book-search")
    page.get_by_role("link", name="Filter cleaned 16 to 30 days ago").click()
    page.wait_for_url(f"**{ENTRY}")
    shot(page, "book-entry")
    page.get_by_role("link", name="Dirty air filter").first.click()
    page.wait_for_url("**/rulebook/entries/causes/dirty_filter")
    page.get_by_role("link", name="Filter cleaned 16 to 30 days ago").last.click()
    page.wait_for_url(f"**{ENTRY}")
    change(folder)
    page.reload()
    page.get_by_role("link", name="changed since the live version").click()
    expect(page.get_by_text("seen with dirty air filter: 0.27 → 0.31")).to_be_visible()
    expect(page.locator("ins")).to_have_text("+     dirty_filter: 0.31")
    assert violations(page) == ""
    shot(page, "book-changes")
    page.get_by_role("button", name="Check these files as a candidate").click()
    page.wait_for_url("**/rulebook/candidates/**", timeout=120_000)
    expect(page.get_by_text("seen with dirty air filter: 0.27 → 0.31")).to_be_visible()
    expect(page.get_by_role("rowheader", name="checked")).to_be_visible()


@pytest.mark.parametrize("viewport", [WIDE, NARROW], ids=["wide", "narrow"])
def test_every_page_of_the_book_passes_the_accessibility_rules_and_fits_its_width(
    lead: Open, folder: Path, shot: Shot, viewport: dict[str, int]
) -> None:
    change(folder)
    page = lead("/rulebook", viewport=viewport)
    size = viewport["width"]
    for name, path in (
        ("contents", "/rulebook"),
        ("search", "/rulebook?q=dirty+air+filter"),
        ("kind", "/rulebook?kind=cautions"),
        ("entry", ENTRY),
        ("caution", "/rulebook/entries/cautions/tingling-reported"),
        ("rates", "/rulebook/entries/program/rates"),
        ("limits", "/rulebook/entries/limits/nte"),
        ("case", "/rulebook/entries/cases/against-the-wall"),
        ("live", f"{ENTRY}?of=force"),
        ("changes", "/rulebook/changes"),
    ):
        answer = page.goto(path)
        assert answer is not None
        assert answer.ok, path
        shot(page, f"book-{name}-{size}")
        assert violations(page) == "", path
        assert page.evaluate("document.documentElement.scrollWidth") <= size, path


def test_the_dark_book_passes_the_accessibility_rules(lead: Open, folder: Path) -> None:
    change(folder)
    page = lead("/rulebook", color_scheme="dark")
    for path in ("/rulebook", "/rulebook?kind=evidence", ENTRY, "/rulebook/changes"):
        page.goto(path)
        assert violations(page) == "", path
