"""One Chromium for the run, one desk and one signed-in page for each test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests.browser.served import ROOT, Served, make_records, serving

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SCREENSHOTS = ROOT / "var" / "screenshots"
SignIn = Callable[..., Page]


def chromium() -> str:
    named = os.environ.get("BARRELWISE_CHROMIUM", "")
    found = named or shutil.which("chromium") or shutil.which("chromium-browser")
    if not found:
        pytest.fail(
            "no Chromium was found: install Debian's package `chromium` (sh tests/run does, as root), or "
            "name one in BARRELWISE_CHROMIUM; `-m 'not browser'` leaves these tests out",
            pytrace=False,
        )
    return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = chromium()
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield started
        started.close()


@pytest.fixture(scope="session")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("records") / "records.db"
    make_records(path)
    return path


@pytest.fixture
def desk(records: Path, tmp_path: Path) -> Iterator[Served]:
    with serving(records, tmp_path) as served:
        yield served


@pytest.fixture
def sign_in(browser: Browser, desk: Served) -> Iterator[SignIn]:
    """`sign_in(name="mira", **context options)`: a page of a new browser context, signed in."""
    contexts: list[BrowserContext] = []

    def signed_in(name: str = "mira", **options: object) -> Page:
        context = browser.new_context(base_url=desk.url, **options)  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.goto("/sign-in")
        page.get_by_label("Your token").fill(desk.token(name))
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/")
        return page

    yield signed_in
    for context in contexts:
        context.close()


@pytest.fixture
def page(sign_in: SignIn) -> Page:
    return sign_in(viewport={"width": 1280, "height": 900})


@pytest.fixture
def shot() -> Callable[[Page, str], None]:
    """Keeps a picture of the whole page in var/screenshots."""

    def keep(page: Page, name: str) -> None:
        SCREENSHOTS.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=str(SCREENSHOTS / f"{name}.png"), full_page=True)

    return keep
