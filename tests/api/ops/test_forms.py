"""The rulebook's files as forms on the ops lead's pages: tables, conditions, spreadsheets in and out."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from openpyxl import Workbook, load_workbook

from tests.api.conftest import signed_in
from tests.api.ops.sent_form import Sent, sent_form
from triage.rulebook.reading.reader import rulebook_files_data
from triage.service.service import Service
from triage.store.tables.rulebooks import Publication

NTE = "limits/nte.yml"


@pytest.fixture
def ops(editing: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    return signed_in(editing, tokens["ops"])


def opened(ops: FlaskClient, path: str) -> Sent:
    page = ops.get(f"/rulebook/forms/{path}")
    assert page.status_code == 200
    return sent_form(page.text)


def send(ops: FlaskClient, path: str, sent: Sent, action: str, **more: object) -> tuple[int, str]:
    data = {**sent, "action": action, **more}
    page = ops.post(f"/rulebook/forms/{path}", data=data, content_type="multipart/form-data")
    return page.status_code, page.text


def last(sent: Sent, table: str) -> int:
    """The number of a table's empty row."""
    return max(
        int(name.split("|")[1]) for name in sent if name.startswith(f"{table}|") and name.endswith("|from")
    )


def test_a_cell_is_changed_and_the_rest_of_the_file_stays_to_the_letter(
    ops: FlaskClient, folder: Path
) -> None:
    before = (folder / NTE).read_text()
    sent = opened(ops, NTE)
    assert sent["/rows/*|0|3"] == ["400.00"]
    sent["/rows/*|0|3"] = ["425.50"]
    status, _ = send(ops, NTE, sent, "save")
    assert status == 303
    assert (folder / NTE).read_text() == before.replace("amount: 400.00}}", "amount: 425.50}}", 1)


def test_what_is_wrong_is_said_in_its_cell_and_nothing_is_saved(ops: FlaskClient, folder: Path) -> None:
    sent = opened(ops, NTE)
    sent["/rows/*|4|3"] = ["400,00"]
    status, page = send(ops, NTE, sent, "save")
    assert status == 422
    cell = page.split('name="/rows/*|4|3"')[1].split("</td>")[0]
    assert "write 400.00" in cell
    assert "<strong>Nothing was saved.</strong>" in page
    assert 'value="400,00"' in page
    assert "400,00" not in (folder / NTE).read_text()


def test_rows_are_added_and_taken_out(ops: FlaskClient, folder: Path) -> None:
    sent = opened(ops, "parts.yml")
    new = last(sent, "/parts/*")
    sent |= {f"/parts/*|{new}|0": ["ZZZ-001"], f"/parts/*|{new}|1": ["Drip guard"]}
    sent |= {f"/parts/*|{new}|2": [""], f"/parts/*|{new}|3": ["12.50"], f"/parts/*|{new}|4": ["0.3"]}
    assert send(ops, "parts.yml", sent, "save")[0] == 303
    text = (folder / "parts.yml").read_text()
    assert "ZZZ-001: {title: Drip guard, price: 12.50, kg: 0.3}" in text
    sent = opened(ops, "parts.yml")
    assert send(ops, "parts.yml", {**sent, f"/parts/*|{new}|drop": ["on"]}, "save")[0] == 303
    assert "ZZZ-001" not in (folder / "parts.yml").read_text()
    sent = opened(ops, "parts.yml")
    status, page = send(ops, "parts.yml", {**sent, "/parts/*|1|0": sent["/parts/*|0|0"]}, "save")
    assert status == 422
    assert "stands in two rows; make it one" in page


def test_rows_are_pasted_and_loaded_from_sheets(ops: FlaskClient, folder: Path) -> None:
    sent = opened(ops, "parts.yml")
    line = "QQQ-100\tPump\tBomba\t1,5\t2"
    status, page = send(ops, "parts.yml", {**sent, "paste|/parts/*": [line]}, "check")
    assert status == 200
    assert "QQQ-100" in page
    assert "write 1.5" in page
    out = ops.get("/rulebook/tables/parts.yml?at=/parts/*&as=xlsx")
    book = load_workbook(BytesIO(out.data))
    sheet = book.active
    assert isinstance(sheet, type(Workbook().active))
    assert [cell.value for cell in sheet[1]] == ["Part", "Title", "Title (Spanish)", "Price [USD]", "Kg [kg]"]
    assert sheet["D2"].value == 14.5
    sheet["D2"] = 15.75
    changed = BytesIO()
    book.save(changed)
    before = (folder / "parts.yml").read_text()
    file = (BytesIO(changed.getvalue()), "parts.xlsx")
    assert send(ops, "parts.yml", sent, "save", **{"sheet|/parts/*": file})[0] == 303
    assert (folder / "parts.yml").read_text() == before.replace("14.50", "15.75", 1)
    wrong = (BytesIO(b"no workbook"), "parts.xlsx")
    status, page = send(ops, "parts.yml", opened(ops, "parts.yml"), "save", **{"sheet|/parts/*": wrong})
    assert status == 422
    assert "no XLSX workbook" in page


def test_a_condition_is_built_by_choosing(ops: FlaskClient, folder: Path) -> None:
    path = "evidence/filter-overdue.yml"
    sent = opened(ops, path)
    assert sent["/when|0|asked"] == ["(]"]
    assert sent["/when|0|values"] == ["15..30"]
    sent |= {"/when|0|values": ["10..30"], "/when|1|fact": ["symptom"], "/when|1|asked": ["one_of"]}
    sent |= {"/when|1|values": ["not_freezing", "leaking"], "/when/any_of/0|0|fact": ["sparks_seen"]}
    new = last(sent, "/cases/*")
    sent |= {f"/cases/*|{new}|0": ["12"], f"/cases/*|{new}|2": ["yes"], f"/cases/*|{new}|place": ["1"]}
    sent["/cases/*|1|place"] = ["4"]
    _, page = send(ops, path, sent, "check")
    text = sent_form(page)["text"][0]
    assert "filter_days: '(10..30]'" in text
    assert "any_of" in text.split("then:")[0]
    assert "sparks_seen: true" in text
    days = [row.split("}")[0] for row in text.split("filter_days: ")[2:]]
    assert days == ["12", "16", "15", "31", "30"], "each row at the place that was written there"
    status, page = send(ops, path, {**sent, "/cases/*|0|place": ["first"]}, "save")
    assert status == 422
    assert "its place is &#34;first&#34;; write a number such as 1" in page
    assert """symptom: '"not_freezing","leaking"'""" in text
    assert "case 3" not in text
    assert "known_misfires" in text


def test_texts_in_both_languages_stand_side_by_side_and_a_new_file_has_a_form(
    ops: FlaskClient, folder: Path
) -> None:
    begun = ops.post("/rulebook/new", data={"kind": "facts", "id": "display_dark", "as": "form"})
    sent = sent_form(begun.text)
    sent |= {"/title": ["The display is dark"], "/ask": ["Is the display dark?"]}
    sent |= {"/title_es": ["La pantalla está apagada"], "/ask_es": ["¿Está apagada la pantalla?"]}
    sent |= {"/help": ["Look at the display."], "/help_es": ["Mire la pantalla."]}
    assert send(ops, "facts/display_dark.yml", sent, "save")[0] == 303
    assert "ask_es: ¿Está apagada la pantalla?" in (folder / "facts/display_dark.yml").read_text()


def test_what_would_change_is_said_of_an_edit_that_is_not_saved(
    ops: FlaskClient, folder: Path, service: Service, tokens: dict[str, str]
) -> None:
    version = service.rulebook.version
    with service.store.write() as work:
        work.rulebooks.keep(version, rulebook_files_data(folder))
        work.rulebooks.publish(Publication(version, service.now(), "mira", "The first."))
    sent = opened(ops, NTE)
    page = ops.post(f"/rulebook/would/{NTE}?part=1", data=sent)
    assert "No ticket was decided yet" in page.text
    sent["/rows/*|0|3"] = ["x"]
    page = ops.post(f"/rulebook/would/{NTE}", data=sent)
    assert page.status_code == 200
    assert "an amount is a number, as" in page.text


def test_a_text_that_is_no_yaml_is_edited_as_text(ops: FlaskClient, folder: Path) -> None:
    (folder / NTE).write_text("rows: [\n")
    page = ops.get(f"/rulebook/forms/{NTE}")
    assert page.status_code == 200
    assert "cannot be shown as a form" in page.text
    assert ops.get("/rulebook/forms/../secret").status_code == 404
    assert ops.get("/rulebook/tables/rates.yml?at=/nowhere").status_code == 404
