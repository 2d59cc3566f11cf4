"""The fleet page: every machine's state and marks, by machine and by site, linked and as CSV."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from flask.testing import FlaskClient
from moneyed import Money

from tests.api.conftest import signed_in
from tests.triage.services import AGENT, ALDER, MACHINES, NOON, REPORT, WILLOW
from triage.records.custody import CustodyEvent, DepotUnit
from triage.records.installs.job import Canceled, Planned
from triage.records.report import CareEvent, PastRepair
from triage.service import tickets
from triage.service.fleet import overview
from triage.service.service import Service


@pytest.fixture
def fleet(service: Service) -> Service:
    """LH20-1 is down, LH30-2 not commissioned, LH20-3 clean, LH20-4 visited twice; LH20-5 has no care."""
    like, recent = MACHINES[0], datetime(2026, 3, 1, 12, tzinfo=UTC)
    with service.store.write() as work:
        work.machines.put_machines(
            replace(like, serial=f"LH20-{number}", site=site, commissioned_on=date(2023, 2, 1))
            for number, site in ((3, WILLOW), (4, WILLOW), (5, WILLOW))
        )
        for serial in ("LH20-3", "LH20-4"):
            work.care.add_care(serial, [CareEvent("fully_cleaned", recent, "store")])
        for day in (5, 20):
            repair = PastRepair(datetime(2026, 2, day, tzinfo=UTC), f"OLD-{day}", None, Money("90.00", "USD"))
            work.care.add_repairs("LH20-4", [repair])
    tickets.open_ticket(service, REPORT, AGENT)
    return service


def test_every_machine_is_in_one_state(fleet: Service) -> None:
    page = overview.page(fleet, {}, by_site=False, offset=0, limit=50)
    states = {one.machine.serial: one.machine.state for one in page.machines}
    assert states == {
        "LH20-1": "down", "LH30-2": "installing", "LH20-3": "live", "LH20-4": "live", "LH20-5": "live"
    }  # fmt: skip
    assert sum(page.counts[state] for state in overview.STATES) == page.counts["all"] == 5


def test_a_machine_is_being_installed_as_long_as_its_installation_goes_on(fleet: Service) -> None:
    def state() -> str:
        page = overview.page(fleet, {}, by_site=False, offset=0, limit=50)
        return next(one.machine.state for one in page.machines if one.machine.serial == "LH20-3")

    with fleet.store.write() as work:
        work.installs.append("I-1", [Planned(ALDER.id, "LH-20", machine="LH20-3")], at=NOON, who="ops")
    assert state() == "installing"
    with fleet.store.write() as work:
        work.installs.append("I-1", [Canceled("the store closes")], at=NOON, who="ops")
    assert state() == "live"


def test_marks_stand_beside_the_state(fleet: Service) -> None:
    found = overview.page(fleet, {}, by_site=False, offset=0, limit=50).machines
    marks = {one.machine.serial: set(one.machine.marks) for one in found}
    assert "care_overdue" in marks["LH20-1"]  # its filter was rinsed 41 days ago
    assert "care_overdue" not in marks["LH20-3"]
    assert "care_unknown" in marks["LH20-5"]
    assert "repeat" in marks["LH20-4"]
    assert "repeat" not in marks["LH20-3"]


def test_what_of_the_warranty_ends_is_said(fleet: Service) -> None:
    with fleet.store.write() as work:
        work.machines.put_machines(
            [
                replace(
                    MACHINES[0],
                    serial="LH20-6",
                    shipped_on=date(2025, 3, 1),
                    commissioned_on=date(2025, 3, 20),
                )
            ]
        )
    (one,) = overview.page(fleet, {"show": "warranty_ending"}, by_site=False, offset=0, limit=50).machines
    assert one.machine.serial == "LH20-6"
    assert one.ends == {"default parts": date(2026, 3, 20), "default labor": date(2026, 3, 20)}


def test_a_filter_cuts_the_list_as_its_count_says(fleet: Service) -> None:
    whole = overview.page(fleet, {}, by_site=False, offset=0, limit=50)
    for name in (*overview.STATES, *overview.MARKS):
        found = overview.page(fleet, {"show": name}, by_site=False, offset=0, limit=50).machines
        assert len(found) == whole.counts[name], name
    by_words = overview.page(fleet, {"words": "willow 20-3"}, by_site=False, offset=0, limit=50).machines
    assert [one.machine.serial for one in by_words] == ["LH20-3"]


def test_sites_add_up_their_machines(fleet: Service) -> None:
    sites = overview.page(fleet, {}, by_site=True, offset=0, limit=50).sites
    assert [(one.site, one.machines, one.counts["live"]) for one in sites] == [
        (ALDER.id, 1, 0),
        (WILLOW.id, 4, 3),
    ]
    assert sites[0].counts["down"] == 1


def test_a_page_goes_on_where_the_last_one_ended(fleet: Service) -> None:
    every = [
        one.machine.serial for one in overview.page(fleet, {}, by_site=False, offset=0, limit=50).machines
    ]
    pages = [overview.page(fleet, {}, by_site=False, offset=n, limit=2).machines for n in (0, 2, 4)]
    assert [one.machine.serial for page in pages for one in page] == every


def test_the_page_links_its_filters(client: FlaskClient, tokens: dict[str, str], fleet: Service) -> None:
    shown = signed_in(client, tokens["ops"]).get("/fleet?site=halt-023").text
    assert "LH30-2" in shown
    assert "LH20-1" not in shown
    assert "/fleet?site=halt-023&amp;show=live" in shown
    by_site = client.get("/fleet?by=site").text
    assert "/fleet?site=halt-001&amp;show=down" in by_site


def test_the_spreadsheet_holds_what_the_filters_pick(
    client: FlaskClient, tokens: dict[str, str], fleet: Service
) -> None:
    answer = signed_in(client, tokens["reporter"]).get("/fleet.csv?show=down")
    assert answer.content_type.startswith("text/csv")
    (row,) = csv.DictReader(io.StringIO(answer.text))
    assert (row["serial"], row["state"], row["care_overdue"]) == ("LH20-1", "down", "True")


def test_odd_filters_find_nothing_and_fail_nowhere(
    client: FlaskClient, tokens: dict[str, str], fleet: Service
) -> None:
    signed_in(client, tokens["agent"])
    assert "None." in client.get("/fleet?words='%3B--").text
    for odd in ("from=99999999999", "from=-1", "by=x", "show=depot"):
        assert client.get(f"/fleet?{odd}").status_code == 200


def test_a_technician_does_not_see_the_fleet(client: FlaskClient, tokens: dict[str, str]) -> None:
    assert signed_in(client, tokens["fogline"]).get("/fleet").status_code == 403


def test_a_unit_on_its_way_stands_with_the_depot(fleet: Service) -> None:
    with fleet.store.write() as work:
        unit = DepotUnit("LH20-9", "LH-20", 120, 20, "flat", date(2026, 1, 1), "East", date(2025, 1, 1))
        work.depot.put_units([unit])
        work.depot.add(CustodyEvent("LH20-9", "at_depot", datetime(2026, 1, 2, tzinfo=UTC), "depot"))
    page = overview.page(fleet, {"show": "depot"}, by_site=False, offset=0, limit=50)
    assert [(one.last.serial, one.model, one.last.step) for one in page.units] == [
        ("LH20-9", "LH-20", "at_depot")
    ]
    assert page.counts["depot"] == 1


def test_a_state_that_there_is_not_is_named_and_nothing_else_is_shown(
    fleet: Service, client: FlaskClient, tokens: dict[str, str]
) -> None:
    desk = signed_in(client, tokens["agent"])
    for path in ("/fleet?show=donw", "/fleet.csv?show=donw"):
        refused = desk.get(path, headers={"Accept": "text/html"})
        assert refused.status_code == 422
        assert "donw" in refused.text
        assert "down" in refused.text
        assert "LH20-1" not in refused.text
