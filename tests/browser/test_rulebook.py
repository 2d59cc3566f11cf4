"""The ops lead edits a rule in a browser: checked while typing, saved, and never written over by surprise."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from api.http.work_folder import CHECKS
from tests import ROOT
from tests.api.rule_folder import PATIENCE_SECONDS, make_whole, rule_folder
from tests.browser.served import NOW, Served
from tests.browser.test_desk import violations
from triage.rulebook_care.editing.check_process import CheckProcess

pytestmark = pytest.mark.browser
Shot = Callable[[Page, str], None]
Open = Callable[..., Page]
FILE = "evidence/filter-overdue.yml"
PAGE = f"/rulebook/files/{FILE}"
WRONG = "no_such_cause: 0.5"
PATIENCE = PATIENCE_SECONDS * 1000


@pytest.fixture(scope="module", autouse=True)
def built() -> None:
    """The editor, bundled as set-up does."""
    script = f'BIN="{Path(sys.executable).parent}"; . ./demo/setup.sh; build_editor'
    subprocess.run(["sh", "-c", script], cwd=ROOT, check=True)
    assert (ROOT / "api/static/built/editor.js").is_file()


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, CheckProcess]]:
    with rule_folder(tmp_path_factory.mktemp("edited")) as made:
        yield made


@pytest.fixture
def folder(desk: Served, checked: tuple[Path, CheckProcess]) -> Iterator[Path]:
    kept = desk.app.extensions
    kept["barrelwise_folder"], kept[CHECKS] = checked
    yield checked[0]
    make_whole(checked[0])


@pytest.fixture
def lead(browser: Browser, desk: Served, folder: Path) -> Iterator[Open]:
    """`lead(path, **context options)`: a page as the ops lead sees it."""
    contexts = []

    def opened(path: str, **options: object) -> Page:
        with desk.running.store.write() as work:
            token = work.tokens.add(f"lead{len(contexts)}", "ops", None, NOW)
        context = browser.new_context(base_url=desk.url, **options)  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE)
        page.goto(f"/sign-in?next={path}")
        page.get_by_label("Your token").fill(token)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(f"**{path}")
        return page

    yield opened
    for context in contexts:
        context.close()


def status(page: Page, said: str) -> None:
    expect(page.locator("#status")).to_have_text(said, timeout=PATIENCE)


def typed(page: Page) -> str:
    """The text as it would be sent."""
    return page.locator("#text").input_value()


def fill(page: Page, text: str) -> None:
    page.locator(".cm-content").press("Control+a")
    page.keyboard.insert_text(text)
    assert typed(page) == text


def type_at_top(page: Page, text: str) -> None:
    page.locator(".cm-content").press("Control+Home")
    page.keyboard.insert_text(text)


def type_wrong(page: Page) -> int:
    """Puts a cause that is not there under `seen_with`; the line it stands on."""
    before = typed(page)
    fill(page, before.replace("  seen_with:", f"  {WRONG}\n  seen_with:"))
    return before.split("  seen_with:")[0].count("\n") + 1


def test_a_mistake_is_marked_at_its_line_while_one_types_and_unmarked_when_fixed(
    lead: Open, shot: Shot
) -> None:
    page = lead(PAGE, viewport={"width": 1280, "height": 900}, bypass_csp=True)
    status(page, "no errors")
    assert violations(page) == ""
    line = type_wrong(page)
    status(page, "1 error")
    expect(page.locator(".cm-lint-marker-error")).to_have_count(1)
    problem = page.locator("#findings li")
    assert "no_such_cause" in problem.inner_text()
    assert violations(page) == ""
    shot(page, "rulebook-mistake")
    page.locator("h1").click()
    problem.get_by_role("link", name=f"line {line}").press("Enter")
    page.keyboard.type("#")
    assert typed(page).splitlines()[line - 1].strip() == f"#{WRONG}"
    status(page, "no errors")
    expect(page.locator(".cm-lint-marker-error")).to_have_count(0)
    assert not page.get_by_role("button", name="Save anyway").is_visible()
    assert page.locator("#findings li").count() == 0


def test_keys_are_completed_by_the_schema_of_the_file(lead: Open, shot: Shot) -> None:
    page = lead(PAGE, viewport={"width": 1280, "height": 900})
    refused: list[str] = []
    page.on("console", lambda said: refused.append(said.text) if said.type == "error" else None)
    status(page, "no errors")
    page.locator(".cm-content").press("Control+End")
    page.keyboard.type("valid")
    option = page.locator(".cm-tooltip-autocomplete li", has_text="valid_from")
    option.wait_for()
    assert refused == [], "the page's policy of contents takes the component as it is"
    shot(page, "rulebook-completion")
    option.click()
    assert typed(page).splitlines()[-1].startswith("valid_from:")


def test_a_finding_of_the_lint_is_a_warning_at_its_line(lead: Open, shot: Shot) -> None:
    page = lead(PAGE, color_scheme="dark", bypass_csp=True)
    status(page, "no errors")
    fill(page, typed(page).replace("(15..30]", "(15..29]"))
    status(page, "no errors, 1 warning")
    line = typed(page).split("(15..29]")[0].count("\n") + 1
    expect(page.locator(".cm-lint-marker-warning")).to_have_count(1)
    assert page.get_by_role("link", name=f"line {line}").is_visible()
    assert violations(page) == ""
    shot(page, "rulebook-warning-dark")


def test_a_text_is_saved_byte_for_byte_by_the_keyboard(lead: Open, folder: Path) -> None:
    page = lead(PAGE)
    status(page, "no errors")
    type_at_top(page, "# a remark – kept\n")
    page.locator("#unsaved").wait_for()
    before = (folder / FILE).read_bytes()
    with page.expect_navigation():
        page.keyboard.press("Control+s")
    page.get_by_text("Saved.").wait_for()
    assert (folder / FILE).read_bytes() == "# a remark – kept\n".encode() + before
    assert not page.locator("#unsaved").is_visible()


def test_what_was_changed_on_disk_meanwhile_is_shown_beside_what_was_typed(
    lead: Open, folder: Path, shot: Shot
) -> None:
    page = lead(PAGE, viewport={"width": 1280, "height": 900}, bypass_csp=True)
    theirs = "# theirs\n" + (folder / FILE).read_text()
    (folder / FILE).write_text(theirs)
    type_at_top(page, "# mine\n")
    with page.expect_navigation():
        page.get_by_role("button", name="Save", exact=True).click()
    assert page.get_by_label("The file on disk").inner_text() == theirs
    assert typed(page).startswith("# mine\n")
    assert (folder / FILE).read_text() == theirs
    status(page, "no errors")
    assert violations(page) == ""
    shot(page, "rulebook-conflict")


def test_a_link_to_a_line_leads_there(lead: Open) -> None:
    page = lead(PAGE)
    page.goto(f"{PAGE}#line-3")
    page.reload()
    status(page, "no errors")
    page.keyboard.type("#")
    assert typed(page).splitlines()[2].startswith("#")


def test_leaving_with_an_unsaved_text_asks(lead: Open) -> None:
    page = lead(PAGE)
    type_at_top(page, "# x")
    asked = []

    def stay(dialog) -> None:  # type: ignore[no-untyped-def]
        asked.append(dialog.type)
        dialog.accept()

    page.on("dialog", stay)
    page.get_by_role("link", name="All files").click()
    page.wait_for_url("**/rulebook/files")
    assert asked == ["beforeunload"]


def test_a_text_is_checked_and_saved_without_scripts(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead(PAGE, java_script_enabled=False)
    box = page.locator("#text")
    good = box.input_value()
    box.fill(good.replace("  seen_with:", f"  {WRONG}\n  seen_with:"))
    page.get_by_role("button", name="Save", exact=True).click()
    assert "Nothing was saved" in page.locator(".problems").inner_text()
    assert "no_such_cause" in page.locator("#findings").inner_text()
    shot(page, "rulebook-no-scripts")
    page.locator("#text").fill("# plain\n" + good)
    page.get_by_role("button", name="Save", exact=True).click()
    assert page.get_by_text("Saved.").is_visible()
    assert (folder / FILE).read_text() == "# plain\n" + good


def test_cases_files_a_new_one_and_deleting_are_there_for_everyone(lead: Open, shot: Shot) -> None:
    page = lead("/rulebook/files", viewport={"width": 1280, "height": 900}, bypass_csp=True)
    page.get_by_role("button", name="Run all cases").click()
    page.get_by_text("None failed").wait_for()
    assert violations(page) == ""
    shot(page, "rulebook-files")
    page.get_by_label("any words").fill("16 to 30 days filter")
    page.get_by_role("button", name="Find").click()
    shot(page, "rulebook-found")
    page.get_by_role("link", name="filter-overdue.yml", exact=True).click()
    page.wait_for_url(f"**/rulebook/forms/{FILE}")
    assert violations(page) == ""
    page.goto(PAGE)
    fill(page, typed(page).replace("16}, fires: true", "16}, fires: false"))
    page.get_by_role("button", name="Run the cases").click()
    failed = page.locator("#cases li")
    assert "should stay silent" in failed.inner_text()
    status(page, "no errors")
    assert violations(page) == ""
    shot(page, "rulebook-cases")
    failed.get_by_role("link", name="line 16, column 5").click()
    page.keyboard.type("#")
    assert typed(page).splitlines()[15].startswith("  - #")
    page.once("dialog", lambda dialog: dialog.accept())
    page.get_by_role("link", name="Delete this file").click()
    page.get_by_role("button", name="Delete it").wait_for()
    assert violations(page) == ""
    shot(page, "rulebook-delete")
    page.goto("/rulebook/new")
    assert violations(page) == ""
    page.get_by_label("Kind").select_option("policy")
    page.get_by_label("Id").fill("hold-on-hail")
    shot(page, "rulebook-new")
    page.get_by_role("button", name="Open a draft").click()
    page.wait_for_function("document.querySelector('#status').textContent.startsWith('no errors')")
    assert violations(page) == ""
    shot(page, "rulebook-draft")


def test_the_pages_of_the_rulebook_fit_a_narrow_screen(lead: Open, shot: Shot) -> None:
    page = lead(PAGE, viewport={"width": 360, "height": 740})
    for path in (PAGE, "/rulebook/files", "/rulebook/new", f"/rulebook/delete/{FILE}"):
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360, path
    page.goto(PAGE)
    status(page, "no errors")
    shot(page, "rulebook-phone")
