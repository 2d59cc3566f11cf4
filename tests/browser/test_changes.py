"""Changes that an ops lead makes on the pages, by choosing and typing, without a file being opened."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_rulebook import PATIENCE, Open, Shot, checked, folder, lead
from triage.rulebook.reading.reader import read_rulebook

__all__ = ["checked", "folder", "lead"]  # fixtures
pytestmark = pytest.mark.browser


def fill(page: Page, **texts: str) -> None:
    """Fields by their name's last parts: `then_text` is `/then/text`."""
    for name, text in texts.items():
        control = page.locator(f'#parts [name="/{name}"]')
        if control.evaluate("it => it.tagName") == "SELECT":
            control.select_option(text)
        else:
            control.fill(text)


def add_row(page: Page, table: str, *cells: str) -> None:
    """Types into the empty row of a table."""
    row = page.locator(f'[data-grid="{table}"] tbody tr').last
    for index, text in enumerate(cells):
        cell = row.locator("td").nth(index).locator("input:not([type=checkbox]), select, textarea")
        if text and cell.evaluate("it => it.tagName") == "SELECT":
            cell.select_option(text)
        elif text:
            cell.fill(text)


def save(page: Page, shot: Shot, name: str) -> None:
    shot(page, name)
    page.locator("#form [value=save]").click()
    expect(page.get_by_text("Saved.")).to_be_visible(timeout=PATIENCE)


def test_the_filter_is_cleaned_more_often(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/forms/rulebook.yml")
    fill(page, **{"care/filter_days": "10"})
    save(page, shot, "change-filter-days")
    assert read_rulebook(folder).care.filter_days == 10
    expect(page.locator("#findings")).to_contain_text("10")  # the bands that no longer fit it


def test_a_caution_is_said_beside_a_check(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/forms/checks/empty-tray.yml")
    before = page.locator('[name="/cautions"]').input_value()
    fill(page, cautions=f"{before}\nslippery-floor".strip())
    save(page, shot, "change-caution")
    assert "slippery-floor" in read_rulebook(folder).checks["empty-tray"].cautions


def test_a_cause_is_retired(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/forms/causes/cup_spring_weak.yml")
    page.get_by_role("link", name="Retire it").click()
    shot(page, "change-retire")
    page.get_by_role("button", name="Retire it and change").click()
    page.get_by_role("heading", name="Retired:").wait_for()
    rulebook = read_rulebook(folder)
    assert rulebook.causes["cup_spring_weak"].status == "retired"
    assert all("cup_spring_weak" not in symptom.shares for symptom in rulebook.symptoms.values())


def test_a_model_has_another_warranty_from_a_day_on(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/new")
    begin(page, "warranty", "maker_from_2027")
    fill(page, title="Maker's warranty from 2027 on", valid_from="2027-01-01", source="For a test.")
    fill(page, models="LH-30", status="live")
    save(page, shot, "change-warranty")
    terms = read_rulebook(folder).warranty["maker_from_2027"]
    assert terms.models == frozenset({"LH-30"})
    assert terms.valid.first == date(2027, 1, 1)


def begin(page: Page, kind: str, name: str) -> None:
    page.goto("/rulebook/new")
    page.get_by_label("Kind").select_option(kind)
    page.get_by_label("Id").fill(name)
    page.locator("button[value=form]").click()
    page.locator("#parts").wait_for()


def test_a_symptom_comes_with_its_causes_check_and_evidence(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/new")
    begin(page, "symptoms", "display_dark")
    fill(
        page,
        title="Display dark",
        title_es="Pantalla apagada",
        status="live",
        callers_say="the screen is black",
    )
    rows = page.locator('[data-grid="/shares/*"] tbody tr')
    rows.nth(0).locator("input:not([type=checkbox])").nth(1).fill("display_failed")
    rows.nth(0).locator("input:not([type=checkbox])").nth(2).fill("60")
    add_row(page, "/shares/*", "switched_off", "30")
    save(page, shot, "change-symptom")
    assert set(read_rulebook(folder).symptoms["display_dark"].shares) == {
        "display_failed",
        "switched_off",
        "other",
    }
