"""One Chromium for the run, one desk and one signed-in page for each test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

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
PHONE = {"width": 390, "height": 844}
SignIn = Callable[..., Page]
Api = Callable[..., Any]
SignedIn = Callable[[str, str, str | None], AbstractContextManager[Page]]


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


@pytest.fixture
def token(desk: Served) -> Callable[..., str]:
    def made(name: str, role: str, contractor: str | None = None) -> str:
        with desk.running.store.write() as work:
            who = "area_manager" if role == "authority" else None
            return work.tokens.add(name, role, contractor, desk.clock(), who)  # type: ignore[arg-type]

    return made


@pytest.fixture
def api(desk: Served, token: Callable[..., str]) -> Api:
    """`api(role or contractor, path, body)`: what the API answers, to a POST where there is a body."""
    held: dict[str, str] = {}

    def asked(who: str, path: str, body: Any = None) -> Any:
        if who not in held:
            role = who if who in ("agent", "ops", "authority") else "technician"
            held[who] = token(f"{who} by API", role, None if role == who else who)
        client = desk.app.test_client()
        said = {"Authorization": f"Bearer {held[who]}"}
        answer = client.post(path, json=body, headers=said) if body else client.get(path, headers=said)
        assert answer.status_code < 300, answer.text
        return answer.json

    return asked


@pytest.fixture
def phone(browser: Browser, desk: Served, token: Callable[..., str]) -> SignedIn:
    """`phone(name, role, contractor)`: a phone's browser, signed in."""

    @contextmanager
    def signed_in(name: str, role: str, contractor: str | None) -> Iterator[Page]:
        context = browser.new_context(base_url=desk.url, viewport=PHONE)  # type: ignore[arg-type]
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.goto("/sign-in")
        page.get_by_label("Your token").fill(token(name, role, contractor))
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(lambda url: "/sign-in" not in url)
        yield page
        context.close()

    return signed_in
