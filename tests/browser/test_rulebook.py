"""The ops lead edits a rule in a browser: checked while typing, saved, and never written over by surprise."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from api.http.work_folder import CHECKS
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


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, CheckProcess]]:
    with rule_folder(tmp_path_factory.mktemp("edited")) as made:
        yield made


@pytest.fixture
def folder(desk: Served, checked: tuple[Path, CheckProcess]) -> Iterator[Path]:
    kept = desk.server.app.extensions  # type: ignore[attr-defined]
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


def type_wrong(page: Page) -> int:
    """Puts a cause that is not there under `seen_with`; the line it stands on."""
    box = page.locator("#text")
    before = box.input_value()
    at = before.index("  seen_with:")
    box.evaluate("(box, at) => { box.focus(); box.setSelectionRange(at, at); }", at)
    page.keyboard.insert_text("  " + WRONG + "\n")
    return before[:at].count("\n") + 1


def test_a_mistake_is_marked_at_its_line_while_one_types_and_unmarked_when_fixed(
    lead: Open, shot: Shot
) -> None:
    page = lead(PAGE, viewport={"width": 1280, "height": 900}, bypass_csp=True)
    status(page, "no errors")
    assert violations(page) == ""
    line = type_wrong(page)
    status(page, "1 error")
    assert page.locator("#lines .error").inner_text() == str(line)
    problem = page.locator("#found li")
    assert "no_such_cause" in problem.inner_text()
    assert violations(page) == ""
    shot(page, "rulebook-mistake")
    page.locator("h1").click()
    problem.get_by_role("button", name=f"Line {line}").press("Enter")
    page.keyboard.type("#")
    assert page.locator("#text").input_value().splitlines()[line - 1].strip() == f"#{WRONG}"
    status(page, "no errors")
    assert page.locator("#lines .error").count() == 0
    assert not page.get_by_role("button", name="Save anyway").is_visible()
    assert page.locator("#found li").count() == 0


def test_a_finding_of_the_lint_is_a_warning_at_its_line(lead: Open, shot: Shot) -> None:
    page = lead(PAGE, color_scheme="dark", bypass_csp=True)
    status(page, "no errors")
    box = page.locator("#text")
    box.fill(box.input_value().replace("(15..30]", "(15..29]"))
    status(page, "no errors, 1 warning")
    line = box.input_value().split("(15..29]")[0].count("\n") + 1
    assert page.locator("#lines .warning").inner_text() == str(line)
    assert page.get_by_role("button", name=f"Line {line}").is_visible()
    assert violations(page) == ""
    shot(page, "rulebook-warning-dark")


def test_a_text_is_saved_byte_for_byte_by_the_keyboard(lead: Open, folder: Path) -> None:
    page = lead(PAGE)
    status(page, "no errors")
    page.locator("#text").press("Control+Home")
    page.keyboard.insert_text("# a remark – kept\n")
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
    page.locator("#text").press("Control+Home")
    page.keyboard.insert_text("# mine\n")
    with page.expect_navigation():
        page.get_by_role("button", name="Save", exact=True).click()
    assert page.get_by_label("The file on disk").inner_text() == theirs
    assert page.locator("#text").input_value().startswith("# mine\n")
    assert (folder / FILE).read_text() == theirs
    status(page, "no errors")
    assert violations(page) == ""
    shot(page, "rulebook-conflict")


def test_a_link_to_a_line_leads_there(lead: Open) -> None:
    page = lead(PAGE)
    page.goto(f"{PAGE}#line-3")
    page.reload()
    status(page, "no errors")
    box = page.locator("#text")
    expect(box).to_be_focused()
    assert box.evaluate("box => box.value.slice(0, box.selectionStart).split('\\n').length") == 3


def test_leaving_with_an_unsaved_text_asks(lead: Open) -> None:
    page = lead(PAGE)
    page.locator("#text").press("Control+Home")
    page.keyboard.type("# x")
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
    assert "no_such_cause" in page.locator("#found").inner_text()
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
    box = page.locator("#text")
    box.fill(box.input_value().replace("16}, fires: true", "16}, fires: false"))
    page.get_by_role("button", name="Run the cases").click()
    failed = page.locator("#cases li")
    assert "should stay silent" in failed.inner_text()
    status(page, "no errors")
    assert violations(page) == ""
    shot(page, "rulebook-cases")
    failed.get_by_role("button", name="Line 17, column 5").click()
    caret = box.evaluate("box => box.value.slice(0, box.selectionStart).split('\\n').length")
    assert caret == 17
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
