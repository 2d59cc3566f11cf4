"""Changes that an ops lead makes on the pages, by choosing and typing, without a file being opened."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.test_rulebook import PATIENCE, Open, Shot, checked, folder, lead
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook.rule_cases import run_rule_cases

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
    expect(page.locator(".notice", has_text="Saved.")).to_be_visible(timeout=PATIENCE)


def test_the_filter_is_cleaned_more_often(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/forms/rulebook.yml")
    fill(page, **{"care/filter_days": "10"})
    save(page, shot, "change-filter-days")
    assert read_rulebook(folder).care.filter_days == 10
    expect(page.locator("#findings")).to_contain_text("10")  # the bands that no longer fit it


def test_changes_made_while_a_check_runs_are_checked_once_together(lead: Open) -> None:
    page = lead("/rulebook/forms/rulebook.yml")
    page.wait_for_load_state("networkidle")
    asked: list[Route] = []

    def hold_the_first(route: Route) -> None:
        asked.append(route)
        if len(asked) > 1:
            route.continue_()

    page.route("**/rulebook/forms/rulebook.yml", hold_the_first)
    for days in ("10", "11", "12"):
        fill(page, **{"care/filter_days": days})
        page.locator('[name="/care/filter_days"]').dispatch_event("change")
    assert len(asked) == 1
    newest = 'name="/care/filter_days"\r\n\r\n12\r\n'
    with page.expect_response(lambda answer: newest in (answer.request.post_data or ""), timeout=PATIENCE):
        asked[0].continue_()
    assert len(asked) == 2


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
    begin(page, "checks", "both-sides-off-and-on")
    fill(page, title="Switch both sides off and on", title_es="Apague y encienda los dos lados", minutes="2")
    fill(page, steps="Switch both sides off.\nSwitch both sides on.", look_for="The display is lit.")
    fill(page, steps_es="Apague los dos lados.\nEncienda los dos lados.", look_for_es="Se ve la pantalla.")
    fill(page, why="Boards hang after a power dip.", status="live")
    choose(page, "/when|0|", "symptom", "one_of", ["display_dark"])
    page.locator('[name="/resolves/*|0|0"]').fill("switched_off")
    page.locator('[name="/resolves/*|0|1"]').fill("0.8")
    save(page, shot, "change-symptom-check")
    begin(page, "facts", "shows_when_tapped")
    fill(page, title="It shows something when tapped", title_es="Muestra algo al tocarla", status="live")
    fill(page, ask="Does it show anything when tapped?", ask_es="¿Muestra algo cuando la toca?")
    fill(page, help="Tap the display.", help_es="Toque la pantalla.")
    save(page, shot, "change-symptom-fact")
    begin(page, "evidence", "shows-when-tapped")
    fill(page, title="Shows something when tapped", owner="program desk", why="The ribbon.", status="live")
    fill(page, known_misfires="None known.")
    choose(page, "/when|0|", "shows_when_tapped", "is", ["yes"])
    page.get_by_role("columnheader", name="Shows when tapped").wait_for()
    for number, text in enumerate(("yes", "no")):
        page.locator(f'[name="/cases/*|{number}|0"]').fill(text)
    page.locator('[name="/then/seen_with/*|0|0"]').fill("display_failed")
    page.locator('[name="/then/seen_with/*|0|1"]').fill("0.3")
    page.locator('[name="/then/seen_with/*|1|1"]').fill("0.03")
    save(page, shot, "change-symptom-evidence")
    rulebook = read_rulebook(folder)
    assert rulebook.symptoms["display_dark"].shares.keys() == {"display_failed", "switched_off", "other"}
    assert rulebook.checks["both-sides-off-and-on"].resolves == {"switched_off": 0.8}
    assert rulebook.evidence["shows-when-tapped"].seen_with == {"display_failed": 0.3}
    assert run_rule_cases(rulebook) == []


def test_more_may_be_spent_on_compressors_from_a_day_on(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/forms/limits/nte.yml")
    fill(page, inputs="contractor\nafter_hours\ncomponent")
    page.get_by_role("button", name="Check").click()
    page.get_by_role("columnheader", name="Component").wait_for()
    add_row(page, "/rows/*", "", "", "compressor", "", "900", "2027-01-01")
    page.get_by_label("Place of row 9").fill("1")
    fill(page, hit_policy="FIRST")
    save(page, shot, "change-compressor-limit")
    table = read_rulebook(folder).limits["nte"]
    assert len(table.rows) == 9
    assert table.rows[0].valid.first == date(2027, 1, 1)
    assert table.rows[0].then == {"amount": 900}


def test_nobody_is_sent_late_unless_it_leaks(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/new")
    begin(page, "policy", "no-dispatch-late")
    fill(page, title="Nobody is sent late", owner="program desk", why="Night rates.", known_misfires="None.")
    fill(page, **{"then/outcome": "hold", "then/priority": "615", "then/text": "It waits until morning."})
    fill(page, **{"then/text_es": "Espera hasta la mañana."})
    choose(page, "/when|0|", "hour", ">=", "20")
    page.get_by_text("Add a group: none of these").click()
    choose(page, "/when/none_of/0|0|", "symptom", "one_of", ["leaking", "leaking_tap"])
    page.get_by_role("columnheader", name="Symptom").wait_for()
    for number, cells in enumerate((("21", "noisy"), ("21", "leaking"))):
        for column, text in enumerate((*cells, "")):
            page.locator(f'[name="/cases/*|{number}|{column}"]').fill(text)
    fill(page, status="live")
    page.get_by_role("button", name="Run the cases").click()
    expect(page.locator("#cases")).to_contain_text("None failed", timeout=PATIENCE)
    save(page, shot, "change-no-dispatch-late")
    rulebook = read_rulebook(folder)
    assert run_rule_cases(rulebook) == []
    assert "no-dispatch-late" in rulebook.policy


def choose(page: Page, line: str, fact: str, asked: str, values: str | list[str]) -> None:
    """A line of a condition: the fact, what is asked of it and the values, each once it is there."""
    page.locator(f'[name="{line}fact"]').select_option(fact)
    test = page.locator(f'[name="{line}asked"]')
    expect(test.locator(f'option[value="{asked}"]')).to_have_count(1, timeout=PATIENCE)
    test.select_option(asked)
    control = page.locator(f'[name="{line}values"]')
    if isinstance(values, str):
        control.fill(values)
        control.press("Tab")
    else:
        control.select_option(values)


def test_a_fact_is_asked_in_both_languages(lead: Open, folder: Path, shot: Shot) -> None:
    page = lead("/rulebook/new")
    begin(page, "facts", "lid_cracked")
    fill(page, title="The lid is cracked", title_es="La tapa está agrietada", status="live")
    fill(page, ask="Is the lid of the hopper cracked?", ask_es="¿Está agrietada la tapa de la tolva?")
    fill(page, help="Look only.", help_es="Solo mire.")
    save(page, shot, "change-fact")
    rulebook = read_rulebook(folder)
    fact = rulebook.facts["lid_cracked"]
    assert (fact.ask, fact.status) == ("Is the lid of the hopper cracked?", "live")
    assert rulebook.spanish[fact.ask] == "¿Está agrietada la tapa de la tolva?"
