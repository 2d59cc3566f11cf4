"""Care of the fleet: lists, letters, calendar, the e-mail to a store, its link, and how care was kept."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import astuple, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from icalendar import Calendar
from PIL import Image

from tests.api.conftest import signed_in
from tests.triage.services import AGENT, ALDER, OPS, REPORT, Clock
from triage.config import Outgoing
from triage.records.danger import Danger
from triage.records.report import CareEvent
from triage.service import calls, machines, tickets
from triage.service.fleet import care
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError, NotFoundError


@pytest.fixture
def fleet(service: Service) -> Service:
    """LH20-1: filter due 4 February, left side 27 March, right 7 March. LH30-2: all done on 28 February."""
    with service.store.write() as work:
        work.machines.put_sites([replace(ALDER, email="alder@example.com")])
        for day, details in ((25, {"side": "left"}), (5, {"side": "right"})):
            done = datetime(2026, 2, day, 15, tzinfo=UTC)
            work.care.add_care("LH20-1", [CareEvent("fully_cleaned", done, "store", details)])
        done = datetime(2026, 2, 28, 15, tzinfo=UTC)
        work.care.add_care("LH30-2", [CareEvent("fully_cleaned", done, "store")])
    service.outgoing = Outgoing("https://desk.example.com", "file:///tmp/none", "desk@example.com")
    return service


def _said(rows: list[care.Due]) -> list[tuple[str, str, str, str, int]]:
    return [(one.row.serial, one.row.task, one.row.side, str(one.due_on), one.days_overdue) for one in rows]


def _photo() -> io.BytesIO:
    held = io.BytesIO()
    Image.new("RGB", (30, 20), "red").save(held, "PNG")
    held.seek(0)
    return held


def test_each_side_is_due_on_its_own_day(fleet: Service) -> None:
    assert _said(care.every(fleet, "overdue", {})) == [("LH20-1", "filter", "", "2026-02-04", 26)]
    assert _said(care.every(fleet, "due", {})) == [
        ("LH20-1", "filter", "", "2026-02-04", 26),
        ("LH20-1", "full_clean", "right", "2026-03-07", 0),
    ]
    assert ("LH30-2", "full_clean", "", "2026-03-30", 0) in _said(care.every(fleet, "all", {}))


def test_the_list_says_the_same_days_as_the_machine(fleet: Service) -> None:
    view = machines.machine(fleet, "LH20-1", OPS).care
    assert view.filter is not None
    assert view.full_clean is not None
    assert view.filter.due.days_overdue == 26
    assert str(view.full_clean.due.due_on) == "2026-03-07"  # of the side that is due first


def test_overdue_begins_the_day_after_the_due_day_on_the_stores_calendar(fleet: Service) -> None:
    clock = fleet.now
    assert isinstance(clock, Clock)
    clock.time = datetime(2026, 3, 8, 4, 59, tzinfo=UTC)  # 11:59 pm of 7 March in New York
    right = ("LH20-1", "full_clean", "right", "2026-03-07", 0)
    assert right not in _said(care.every(fleet, "overdue", {}))
    clock.time += timedelta(minutes=1)
    assert (*right[:4], 1) in _said(care.every(fleet, "overdue", {}))


def test_counts_and_contractors_are_those_of_the_rows(fleet: Service) -> None:
    page = care.page(fleet, "due", {}, 0, 50)
    assert page.counts == {"overdue": 1, "due": 1, "all": 2}
    assert page.by_contractor == (("fogline", 1),)
    assert care.page(fleet, "due", {"contractor": "tern"}, 0, 50).rows == []


def test_a_letter_lists_what_a_store_has_to_do(
    client: FlaskClient, tokens: dict[str, str], fleet: Service
) -> None:
    shown = signed_in(client, tokens["agent"]).get("/care/letters").text
    assert shown.count("<article") == 1
    assert "Lanternway Alder Quay" in shown
    assert "26 days overdue" in shown
    client.post("/language", data={"pages": "es"})
    assert "26 días de retraso" in client.get("/care/letters").text


def test_the_spreadsheet_and_the_calendar_hold_the_tasks(
    client: FlaskClient, tokens: dict[str, str], fleet: Service
) -> None:
    signed_in(client, tokens["ops"])
    (row,) = csv.DictReader(io.StringIO(client.get("/care.csv").text))
    assert (row["serial"], row["task"], row["days_overdue"]) == ("LH20-1", "filter", "26")
    events = Calendar.from_ical(client.get("/care.ics?site=halt-001").data).walk("VEVENT")
    assert [str(event["dtstart"].dt) for event in events] == ["2026-02-04", "2026-03-07", "2026-03-27"]
    assert len({str(event["uid"]) for event in events}) == 3


def _link(service: Service) -> str:
    care.remind(service, ALDER.id, AGENT)
    with service.store.write() as work:
        (telling,) = work.outbox.take(service.now(), 5)
    assert telling.mail is not None
    assert telling.mail["to"] == "alder@example.com"
    assert "LH20-1: Rinse the air filter, due 2026-02-04" in telling.mail["text"]
    found = re.search(r"https://desk.example.com(/care/store/\S+)", telling.mail["text"])
    assert found is not None
    return found[1]


def test_a_clerk_ticks_off_the_filter_with_name_and_photo(
    client: FlaskClient, tokens: dict[str, str], fleet: Service
) -> None:
    path = _link(fleet)
    assert "26 days overdue" in client.get(path).text
    form = {"machine": "LH20-1", "task": "filter", "name": "Ana Reyes"}
    assert client.post(path, data={**form, "photo": (_photo(), "a.png")}).status_code == 303
    last = machines.machine(fleet, "LH20-1", OPS).history.care[-1]
    assert (last.kind, last.by, last.details["signed"]) == ("filter_cleaned", "Ana Reyes", "Ana Reyes")
    assert care.every(fleet, "overdue", {}) == []
    log = signed_in(client, tokens["ops"]).get("/machines/LH20-1/care").text
    assert "Ana Reyes" in log
    assert client.get(f"/care/photos/{last.details['photo']}.jpg").data[:2] == b"\xff\xd8"


def test_a_link_is_for_its_store_and_ends(client: FlaskClient, fleet: Service) -> None:
    path = _link(fleet)
    refused = client.post(path, data={"machine": "LH30-2", "task": "filter", "name": "Ana"})
    assert refused.status_code == 422
    assert "No machine" in refused.text
    clock = fleet.now
    assert isinstance(clock, Clock)
    clock.move(days=31)
    assert client.get(path).status_code == 404
    with pytest.raises(NotFoundError):
        care.of_link(fleet, "x" * 43)


def test_a_new_link_ends_the_one_before(client: FlaskClient, fleet: Service) -> None:
    first = _link(fleet)
    care.remind(fleet, ALDER.id, AGENT)
    assert client.get(first).status_code == 404


def test_nobody_is_sent_to_a_machine_on_which_a_danger_is_open(client: FlaskClient, fleet: Service) -> None:
    ticket = tickets.open_ticket(fleet, REPORT, AGENT)
    with fleet.store.write() as work:
        danger = Danger("do-not-touch", "caller", fleet.now(), None, None)
        work.dangers.put(ticket.id, "LH20-1", [danger])
    care.remind(fleet, ALDER.id, AGENT)
    with fleet.store.write() as work:
        mail = work.outbox.take(fleet.now(), 5)[0].mail
    assert mail is not None
    assert "a danger is open. Do not clean it" in mail["text"]
    assert "Rinse" not in mail["text"]
    path = mail["text"].split("https://desk.example.com")[1].split()[0]
    assert "Leave it alone" in client.get(path).text
    assert '<input type="hidden" name="machine"' not in client.get(path).text
    with pytest.raises(ConflictError):
        care.done_by_link(fleet, path.rpartition("/")[2], "LH20-1", "filter", "", "Ana", b"")


@pytest.mark.parametrize(
    ("form", "why"),
    [
        ({"task": "filter", "name": " "}, "Write your name"),
        ({"task": "polish", "name": "Ana"}, "Choose what was done"),
        ({"task": "filter:left", "name": "Ana"}, "Choose what was done"),
    ],
)
def test_what_cannot_be_noted_is_said(
    client: FlaskClient, fleet: Service, form: dict[str, str], why: str
) -> None:
    path = _link(fleet)
    refused = client.post(path, data={"machine": "LH20-1", **form})
    assert refused.status_code == 422
    assert why in refused.text


def test_by_setting_the_photo_of_care_lies_in_the_folder(
    client: FlaskClient, fleet: Service, tokens: dict[str, str], tmp_path: Path
) -> None:
    fleet.photos = tmp_path / "photos"
    form = {"machine": "LH20-1", "task": "filter", "name": "Ana", "photo": (_photo(), "a.png")}
    assert client.post(_link(fleet), data=form).status_code == 303
    (path,) = fleet.photos.rglob("*.jpg")
    with fleet.store.read() as work:
        assert work.care_photos.image(path.stem) is None
    signed_in(client, tokens["ops"])
    assert client.get(f"/care/photos/{path.stem}.jpg").data == path.read_bytes()
    assert client.get(f"/care/photos/{'0' * 64}.jpg").status_code == 404


def test_a_bad_photo_stores_nothing(client: FlaskClient, fleet: Service) -> None:
    path, before = _link(fleet), len(machines.machine(fleet, "LH20-1", OPS).history.care)
    form = {"machine": "LH20-1", "task": "filter", "name": "Ana", "photo": (io.BytesIO(b"no"), "a.jpg")}
    assert client.post(path, data=form).status_code == 422
    assert len(machines.machine(fleet, "LH20-1", OPS).history.care) == before


def test_a_store_without_an_address_is_said(
    client: FlaskClient, tokens: dict[str, str], fleet: Service
) -> None:
    refused = signed_in(client, tokens["agent"]).post("/care/remind", data={"site": "halt-023"})
    assert refused.status_code == 422
    assert "No e-mail address" in refused.text
    with pytest.raises(InputError, match="nothing is due"):
        with fleet.store.write() as work:
            work.care.add_care("LH20-1", [CareEvent("fully_cleaned", fleet.now(), "store")])
        care.remind(fleet, ALDER.id, AGENT)


def test_how_care_was_kept_stands_beside_the_reports(
    client: FlaskClient, tokens: dict[str, str], fleet: Service
) -> None:
    clock = fleet.now
    assert isinstance(clock, Clock)
    clock.time = datetime(2026, 3, 20, 12, tzinfo=UTC)
    tickets.open_ticket(fleet, {**REPORT, "reported_at": "2026-03-20T08:00:00-04:00"}, AGENT)
    clock.time = datetime(2026, 4, 2, 12, tzinfo=UTC)
    months = care.kept_by_month(fleet)
    assert len(months) == care.MONTHS
    march = months[-1]
    assert str(march.first) == "2026-03-01"
    # LH30-2 was cleaned on 28 February; the filter of LH20-1 was rinsed in January last.
    assert (march.found.kept, march.found.overdue) == (1, 1)
    assert (march.found.reports_kept, march.found.reports_overdue) == (0, 1)
    assert "2026-03" in signed_in(client, tokens["ops"]).get("/care/kept").text


def test_a_month_that_is_kept_hears_of_what_is_written_down_later(
    client: FlaskClient, tokens: dict[str, str], fleet: Service
) -> None:
    clock = fleet.now
    assert isinstance(clock, Clock)
    unknown = {name: told for name, told in REPORT.items() if name != "machine"}
    opened = tickets.open_ticket(fleet, unknown, AGENT)
    clock.time = datetime(2026, 4, 2, 12, tzinfo=UTC)

    def march() -> tuple[int, int, int, int]:
        return astuple(care.kept_by_month(fleet)[-1].found)

    assert march() == (1, 1, 0, 0)
    calls.add_details(fleet, opened.id, {"machine": "LH20-1"}, AGENT, None)
    assert march() == (1, 1, 0, 1)
    with fleet.store.write() as work:
        work.care.add_care("LH20-1", [CareEvent("fully_cleaned", datetime(2026, 2, 27, tzinfo=UTC), "store")])
    assert march() == (2, 0, 1, 0)


@pytest.mark.parametrize("page", ["/care", "/care.csv", "/care.ics", "/care/letters", "/fleet", "/fleet.csv"])
@pytest.mark.parametrize("asked", ["site=halt-01", "contractor=foglin"])
def test_a_filter_that_there_is_not_is_named(
    client: FlaskClient, tokens: dict[str, str], page: str, asked: str
) -> None:
    refused = signed_in(client, tokens["ops"]).get(f"{page}?{asked}")
    assert refused.status_code == 422
    assert refused.json["errors"][0]["pointer"] == f"query:{asked.partition('=')[0]}"
    assert "there is" in refused.json["detail"]


def test_a_form_that_is_sent_twice_is_noted_once(client: FlaskClient, fleet: Service) -> None:
    path, form = _link(fleet), {"machine": "LH20-1", "task": "full_clean:left", "name": "Ana"}
    before = len(machines.machine(fleet, "LH20-1", OPS).history.care)
    assert client.post(path, data=form).status_code == 303
    again = client.post(path, data=form)
    assert (again.status_code, "noted a moment ago" in again.text) == (422, True)
    clock = fleet.now
    assert isinstance(clock, Clock)
    clock.move(minutes=1)
    assert client.post(path, data={**form, "task": "full_clean:right"}).status_code == 303
    assert len(machines.machine(fleet, "LH20-1", OPS).history.care) == before + 2
    clock.move(hours=1)
    assert client.post(path, data=form).status_code == 303


def test_a_view_that_there_is_not_is_named(client: FlaskClient, tokens: dict[str, str]) -> None:
    refused = signed_in(client, tokens["agent"]).get("/care?view=overdu", headers={"Accept": "text/html"})
    assert (refused.status_code, "overdu" in refused.text, "overdue, due, all" in refused.text) == (
        422,
        True,
        True,
    )
