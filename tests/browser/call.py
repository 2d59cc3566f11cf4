"""An agent's hands on the keyboard: nothing here touches a mouse."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from playwright.sync_api import Page


@contextmanager
def next_page(page: Page) -> Iterator[None]:
    """Waits until another page stands here, whether it was loaded or took this one's place."""
    page.evaluate("document.querySelector('main').dataset.before = ''")
    yield
    page.wait_for_function(
        "() => document.readyState === 'complete'"
        " && document.querySelector('main:not([data-before], [aria-busy])')"
    )


def press(page: Page, key: str) -> None:
    """A key that leads to another page."""
    with next_page(page):
        page.keyboard.press(key)


def focused(page: Page, element: str) -> None:
    """Waits until the page has put the focus where it says."""
    page.wait_for_function("id => document.activeElement.id === id", arg=element)


def take_report(page: Page, serial: str, words: str, symptoms: tuple[str, ...]) -> None:
    """From the start page to a decided ticket; symptoms the words do not bring are ticked with Space."""
    page.goto("/")
    focused(page, "q")
    page.keyboard.type(serial)
    press(page, "Enter")
    focused(page, "trouble")
    page.keyboard.type(words)  # letters go to the field of the caller's words
    press(page, "Enter")
    ticked = page.eval_on_selector_all("input[name=symptom]:checked", "all => all.map(one => one.value)")
    for wrong in set(ticked) - set(symptoms):
        page.locator(f"input[name=symptom][value={wrong}]").focus()
        page.keyboard.press("Space")
    for missing in set(symptoms) - set(ticked):
        box = page.locator(f"input[name=symptom][value={missing}]")
        if not box.is_visible():
            page.get_by_text("Other symptoms").focus()
            page.keyboard.press("Enter")
        box.focus()
        page.keyboard.press("Space")
    page.get_by_role("button", name="Start the call").focus()
    press(page, "Enter")


def asked(page: Page) -> str | None:
    """The fact on top; None when no question is worth asking."""
    field = page.locator(".ask input[name=fact]").first
    return field.get_attribute("value") if field.count() else None


def answer(page: Page, value: object) -> None:
    """Answers the question on top, where the focus stands."""
    if page.locator(".ask input[name=value]").count():
        focused(page, "value")
        page.keyboard.type("?" if value is None else str(value))
        press(page, "Enter")
        return
    wanted = "?" if value is None else {True: "yes", False: "no"}.get(value, value)  # type: ignore[call-overload]
    key = page.locator(f'.ask button[value="{wanted}"]').get_attribute("data-key")
    assert key is not None
    page.locator("#ask").focus()
    press(page, key)


def open_question(page: Page, fact: str) -> None:
    """Opens a question out of turn by the list of all questions."""
    page.get_by_text("Ask something else").focus()
    page.keyboard.press("Enter")
    box = page.locator("select#fact")
    title = box.locator(f'option[value="{fact}"]').inner_text()
    box.focus()
    page.keyboard.type(title)
    page.keyboard.press("Tab")
    press(page, "Enter")


def tell(page: Page, known: Mapping[str, object], most: int = 14) -> None:
    """Answers from `known`, says no to dangers, does not know the rest, then opens what was never asked."""
    left = dict(known)
    for _ in range(most):
        read_out(page)
        fact = asked(page)
        if fact is None or not left:
            break
        answer(page, left.pop(fact, False if is_safety(page) else None))
    for fact, value in left.items():
        read_out(page)
        open_question(page, fact)
        answer(page, value)
    read_out(page)


def is_safety(page: Page) -> bool:
    """Whether the question on top is about a danger that one says yes or no to."""
    return bool(page.locator(".ask .tag").count() and page.locator('.ask button[value="no"]').count())


def read_out(page: Page) -> None:
    """Says that a stop-use caution was read out when one has the screen, by its key."""
    if page.locator("main.stop").count():
        for sentence in page.locator("[data-sentence]").all():
            sentence.scroll_into_view_if_needed()
        page.locator("form[data-ready=true]").wait_for()
        page.locator("[data-stop] .now").focus()
        press(page, "r")


def read_back(page: Page) -> None:
    """Turns to the end of the call, where it is not there already."""
    if not page.locator(".aloud").count():
        page.keyboard.press("Escape")  # out of a field, where letters are typed
        press(page, "x")


def outcome(page: Page) -> str:
    return page.locator(".outcome").inner_text()


def check_done(page: Page, check: str, result: str) -> None:
    """Opens a check of the plan and enters its result by number; one outside the plan by the list of all."""
    if not page.locator(f'.results input[name=check][value="{check}"]').count():
        stop = page.locator(f'ol.plan a[href$="check={check}"]')
        if not stop.count():
            tried_before(page, check, result)
            return
        if not stop.is_visible():
            page.locator("details:has(ol.plan) > summary").press("Enter")
        with next_page(page):
            stop.press("Enter")
    key = page.locator(f'.results button[value="{result}"]').get_attribute("data-key")
    assert key is not None
    page.locator("#ask").focus()
    press(page, key)


def tried_before(page: Page, check: str, result: str) -> None:
    page.get_by_text("Enter another check").focus()
    page.keyboard.press("Enter")
    box = page.locator("select#tried")
    title = box.locator(f'option[value="{check}"]').inner_text()
    box.focus()
    page.keyboard.type(title)
    page.locator("#tried ~ p button").filter(has_text={"not_cured": "Not fixed"}.get(result, "Could")).focus()
    press(page, "Enter")
