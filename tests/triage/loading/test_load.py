"""Loading a folder of records: strict, whole or not at all, and the same a second time."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from moneyed import Money

from tests.triage.builders import minimal_rulebook
from triage.loading.load import Loaded, load
from triage.loading.rows import read_rows
from triage.records.custody import CustodyEvent, DepotUnit, exchange
from triage.records.report import CareEvent, PastRepair, Site
from triage.rulebook.model import Rulebook
from triage.store import Store, open_store
from triage.values.errors import InputError, Problem

SITES = """\
id,name,town,timezone,phone,distance_km,open_around_the_clock
halt-001,"Lanternway Alder Quay, north",Alder,America/New_York,555-0101,42,true
halt-002,Birch Landing,Birch,America/Chicago,,,
"""
CONTRACTORS = "id,name,phone\nfogline,Fogline Refrigeration,555-0162\n"
MACHINES = """\
serial,model,shipped_on,commissioned_on,site,contractor,asset_tag,price,fact.filter_days
LH20-1,LH-20,2025-01-05,2025-02-01,halt-001,fogline,LW-0001,3150.00 USD,12
LH20-2,LH-20,2025-01-05,,,,,,
"""
CARE = """\
serial,kind,at,by
LH20-1,filter_cleaned,2026-01-05T09:00:00-05:00,store
LH20-1,fully_cleaned,2026-01-20T09:00:00-05:00,store
"""
REPAIRS = """\
serial,at,ticket,cause,cost
LH20-1,2025-10-22T22:08:00+00:00,OLD-1,,254.14 USD
"""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path / 'x.db'}")
    yield opened
    opened.close()


@pytest.fixture
def rulebook() -> Rulebook:
    return minimal_rulebook()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "records"
    made.mkdir()
    for name, text in {
        "sites": SITES,
        "contractors": CONTRACTORS,
        "machines": MACHINES,
        "care": CARE,
        "repairs": REPAIRS,
    }.items():
        (made / f"{name}.csv").write_text(text)
    return made


def counted(loaded: Loaded) -> dict[str, tuple[int, int, int]]:
    """New, changed and same records of each file; none was rejected."""
    assert (loaded.problems, {each.rejected for each in loaded.counts.values()}) == ((), {0})
    return {kind: (each.new, each.changed, each.same) for kind, each in loaded.counts.items()}


def problems(folder: Path, store: Store, rulebook: Rulebook) -> tuple[Problem, ...]:
    """What is wrong with the folder; asserts that nothing of it was stored."""
    with pytest.raises(InputError) as caught:
        load(folder, store, rulebook)
    with store.read() as work:
        assert work.machines.all() == ()
        assert work.machines.sites() == ()
    return caught.value.problems


def change(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / name
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_everything_in_the_folder_is_stored(folder: Path, store: Store, rulebook: Rulebook) -> None:
    assert counted(load(folder, store, rulebook)) == {
        "sites": (2, 0, 0),
        "contractors": (1, 0, 0),
        "machines": (2, 0, 0),
        "care": (2, 0, 0),
        "repairs": (1, 0, 0),
    }
    with store.read() as work:
        machine, history = work.machines.get("LH20-1"), work.care.history("LH20-1")
    assert machine.site == Site(
        "halt-001", "Lanternway Alder Quay, north", "Alder", "America/New_York", "555-0101", 42, True
    )
    assert machine.price == Money("3150.00", "USD")
    assert machine.facts == {"filter_days": Decimal(12)}
    assert (machine.shipped_on, machine.commissioned_on) == (date(2025, 1, 5), date(2025, 2, 1))
    assert history.care[0] == CareEvent("filter_cleaned", datetime(2026, 1, 5, 14, tzinfo=UTC), "store")
    at = datetime(2025, 10, 22, 22, 8, tzinfo=UTC)
    assert history.repairs == (PastRepair(at, "OLD-1", None, Money("254.14", "USD")),)


def test_what_may_be_left_out_is_left_out(folder: Path, store: Store, rulebook: Rulebook) -> None:
    load(folder, store, rulebook)
    with store.read() as work:
        machine, site = work.machines.get("LH20-2"), work.machines.site("halt-002")
    assert (machine.site, machine.contractor, machine.price, machine.commissioned_on) == (None,) * 4
    assert (site.phone, site.distance_km, site.open_around_the_clock) == ("", 0, False)


def test_loading_twice_changes_nothing(folder: Path, store: Store, rulebook: Rulebook) -> None:
    load(folder, store, rulebook)
    with store.read() as work:
        before = work.machines.all(), work.care.history("LH20-1")
    assert counted(load(folder, store, rulebook)) == {
        "sites": (0, 0, 2),
        "contractors": (0, 0, 1),
        "machines": (0, 0, 2),
        "care": (0, 0, 2),
        "repairs": (0, 0, 1),
    }
    with store.read() as work:
        assert (work.machines.all(), work.care.history("LH20-1")) == before


def test_a_later_folder_brings_the_record_up_to_date(folder: Path, store: Store, rulebook: Rulebook) -> None:
    load(folder, store, rulebook)
    change(folder, "machines.csv", "LW-0001", "LW-9999")
    load(folder, store, rulebook)
    with store.read() as work:
        assert work.machines.get("LH20-1").asset_tag == "LW-9999"


def test_a_folder_may_refer_to_what_is_stored_already(
    folder: Path, store: Store, rulebook: Rulebook, tmp_path: Path
) -> None:
    load(folder, store, rulebook)
    later = tmp_path / "later"
    later.mkdir()
    (later / "care.csv").write_text("serial,kind,at,by\nLH20-1,filter_cleaned,2026-02-05T09:00:00Z,store\n")
    assert counted(load(later, store, rulebook)) == {"care": (1, 0, 0)}


def test_json_gives_the_same_as_csv(folder: Path, store: Store, rulebook: Rulebook) -> None:
    (folder / "machines.csv").unlink()
    machine = {
        "serial": "LH20-1",
        "model": "LH-20",
        "shipped_on": "2025-01-05",
        "commissioned_on": None,
        "site": "halt-001",
        "price": "3150.00 USD",
        "facts": {"filter_days": 12},
    }
    (folder / "machines.json").write_text(json.dumps([machine], indent=1))
    load(folder, store, rulebook)
    with store.read() as work:
        found = work.machines.get("LH20-1")
    assert found.facts == {"filter_days": Decimal(12)}
    assert found.price == Money("3150.00", "USD")


@pytest.mark.parametrize(
    ("name", "old", "new", "where", "says"),
    [
        ("sites.csv", "America/Chicago", "Chicago", "sites.csv:3:30", "not a time zone"),
        ("sites.csv", ",42,true", ",far,true", "sites.csv:2:73", "whole number"),
        ("sites.csv", ",42,true", ",42,maybe", "sites.csv:2:76", "true or false"),
        ("sites.csv", "halt-002", "halt-001", "sites.csv:3:1", "already on line 2"),
        ("sites.csv", "halt-002,Birch", ",Birch", "sites.csv:3:1", "must be filled in"),
        ("machines.csv", "halt-001", "halt-0O1", "machines.csv:2:36", 'did you mean "halt-001"'),
        ("machines.csv", "fogline", "foglime", "machines.csv:2:45", 'did you mean "fogline"'),
        ("machines.csv", "2025-02-01", "2024-12-31", "machines.csv:2:25", "before the machine was shipped"),
        ("machines.csv", "2025-02-01", "2025-02-30", "machines.csv:2:25", "not a date"),
        ("machines.csv", "3150.00 USD", "3150.00 EUR", "machines.csv:2:61", "USD"),
        ("machines.csv", "3150.00 USD", "-1.00 USD", "machines.csv:2:61", "not negative"),
        ("machines.csv", "3150.00 USD", "NaN", "machines.csv:2:61", "amount"),
        ("machines.csv", ",12\n", ",many\n", "machines.csv:2:73", "number"),
        ("machines.csv", ",12\n", ",-4\n", "machines.csv:2:73", "range"),
        ("machines.csv", "fact.filter_days", "fact.filter_dayz", "machines.csv:2:73", "filter_days"),
        ("machines.csv", "asset_tag", "asset_tga", "machines.csv:2:53", 'did you mean "asset_tag"'),
        ("care.csv", "filter_cleaned", "filter_cleand", "care.csv:2:8", 'did you mean "filter_cleaned"'),
        ("care.csv", "2026-01-05T09:00:00-05:00", "2026-01-05T09:00:00", "care.csv:2:23", "offset"),
        ("care.csv", "2026-01-05T", "2024-01-05T", "care.csv:2:23", "before the machine was shipped"),
        ("care.csv", "LH20-1", "LH20-7", "care.csv:2:1", "no machine"),
        ("repairs.csv", "OLD-1,,", "OLD-1,dirty_filtre,", "repairs.csv:2:40", "dirty_filter"),
        ("repairs.csv", "254.14 USD", "", "repairs.csv:2:41", "must be filled in"),
        ("repairs.csv", "254.14 USD", "254.14 USD,5", "repairs.csv:2:1", "6 cells, the header 5"),
        ("repairs.csv", "serial,at", "serial,serial", "repairs.csv:1:8", "stands twice"),
        ("contractors.csv", "id,name,phone", "id,title,phone", "contractors.csv:2:9", "no such column"),
        ("sites.csv", "Birch Landing", '"12" door"', "sites.csv:3:13", "is written twice"),
        ("sites.csv", "Birch Landing", '"Birch\nLanding" 2', "sites.csv:4:8", "is written twice"),
        ("sites.csv", "Birch Landing", '"Birch', "sites.csv:3:1", "broken CSV"),
        ("sites.csv", "America/Chicago", "America", "sites.csv:3:30", "not a time zone"),
        ("sites.csv", "America/Chicago", "../../etc", "sites.csv:3:30", "not a time zone"),
        ("sites.csv", "America/Chicago", "x" * 300, "sites.csv:3:30", "not a time zone"),
        ("sites.csv", "America/Chicago", "x" * 300, "sites.csv:3:30", "at most 200"),
        ("sites.csv", "halt-002", "h" * 70, "sites.csv:3:1", "at most 64"),
        ("sites.csv", "Birch Landing", "b" * 500_000, "sites.csv:3:1", "field limit"),
        ("sites.csv", ",42,true", ",1_0,true", "sites.csv:2:73", "whole number"),
        ("sites.csv", ",42,true", f",{'4' * 400},true", "sites.csv:2:73", "whole number"),
        ("sites.csv", ",42,true", ",0E-300000000,true", "sites.csv:2:73", "whole number"),
        ("sites.csv", ",42,true", ",4.2,true", "sites.csv:2:73", "whole number"),
        ("sites.csv", "Birch Landing", "Birch\x07 Landing", "sites.csv:3:10", "U+0007"),
        ("sites.csv", "Birch Landing", "Birch\x00 Landing", "sites.csv:3:10", "U+0000"),
        ("sites.csv", "Birch Landing", "Birch\x7f Landing", "sites.csv:3:10", "U+007F"),
        ("sites.csv", "Birch Landing", "Birch \u202egnidnaL", "sites.csv:3:10", "U+202E"),
        ("sites.csv", "town", "to\x1bwn", "sites.csv:2:41", "U+001B"),
        ("contractors.csv", "555-0162", '"555\x0b0162"', "contractors.csv:2:31", "U+000B"),
        ("care.csv", "at,by\n", "at,by,details.x\n", "care.csv:2:1", "4 cells, the header 5"),
        ("care.csv", "2026-01-05T09:00:00-05:00", "0001-01-01T00:00:00+14:00", "care.csv:2:23", "a time"),
        ("machines.csv", "2025-02-01", "9999-12-31", "machines.csv:2:25", "not a date"),
        ("machines.csv", "3150.00 USD", "1E+300000000 USD", "machines.csv:2:61", "amount"),
        ("machines.csv", ",12\n", ",0E-300000000\n", "machines.csv:2:73", "number"),
    ],
)
def test_a_wrong_cell_is_named_with_its_place_and_its_fix(
    folder: Path, store: Store, rulebook: Rulebook, name: str, old: str, new: str, where: str, says: str
) -> None:
    change(folder, name, old, new)
    found = [problem for problem in problems(folder, store, rulebook) if problem.where == where]
    assert any(says in problem.message for problem in found), problems(folder, store, rulebook)


def test_inches_stand_in_a_cell_as_they_are(folder: Path, store: Store, rulebook: Rulebook) -> None:
    change(folder, "sites.csv", "Birch Landing,Birch", '12" door,"the 6"" one, left"')
    load(folder, store, rulebook)
    with store.read() as work:
        site = work.machines.site("halt-002")
    assert (site.name, site.town) == ('12" door', 'the 6" one, left')


@pytest.mark.parametrize(
    "sign", ["\x00", "\x07", "\x1b", "\x7f", "\x9b", "\u202e", "\u2066", "\ufffe", "a\rb"]
)
def test_control_characters_are_refused_in_json_too(tmp_path: Path, sign: str) -> None:
    path = tmp_path / "sites.json"
    path.write_text(json.dumps([{"id": "a", "name": "Birch"}, {"id": "b", "name": f"x{sign}y"}]))
    with pytest.raises(InputError, match="name: a control character"):
        read_rows(path)


def test_what_is_no_file_is_named(folder: Path, store: Store, rulebook: Rulebook) -> None:
    (folder / "depot.csv").mkdir()
    (folder / "repairs.csv").unlink()
    (folder / "repairs.csv").symlink_to(folder / "nowhere")
    assert [str(each) for each in problems(folder, store, rulebook)] == [
        "depot.csv: this is not a file; take it out of the folder",
        "repairs.csv: this is not a file; take it out of the folder",
    ]


def test_all_problems_of_all_files_are_listed(folder: Path, store: Store, rulebook: Rulebook) -> None:
    change(folder, "sites.csv", "America/Chicago", "Chicago")
    change(folder, "machines.csv", "LH20-2,LH-20,2025-01-05", "LH20-2,,soon")
    change(folder, "care.csv", "store\nLH20-1", "store\nLH20-9")
    assert [problem.where for problem in problems(folder, store, rulebook)] == [
        "care.csv:3:1",
        "machines.csv:3:8",
        "machines.csv:3:9",
        "sites.csv:3:30",
    ]


def test_a_cell_after_a_line_break_is_still_placed(folder: Path) -> None:
    (folder / "sites.csv").write_text('id,name\na,"two\nlines",\n')
    with pytest.raises(InputError) as caught:
        read_rows(folder / "sites.csv")
    assert [str(problem) for problem in caught.value.problems] == [
        "sites.csv:2:1: the row has 3 cells, the header 2; is a comma unquoted?"
    ]
    (folder / "sites.csv").write_text('id,name,town\na,"two\nlines",x\n')
    (row,) = read_rows(folder / "sites.csv")
    assert (row.cells["town"].line, row.cells["town"].column) == (3, 8)


@pytest.mark.parametrize(
    ("text", "where", "says"),
    [
        ("[{]", "machines.json:1:3", "broken JSON"),
        ("{}", "machines.json:1:1", "list of objects"),
        ("[1]", "machines.json:1:2", "an object"),
        ("[{}] x", "machines.json:1:5", "follows the end"),
        ("[{}\n{}]", "machines.json:2:1", "comma"),
        ('[\n{"serial": NaN}]', "machines.json:2:1", "NaN"),
        ('[\n{"serial": "a", "serial": "b"}]', "machines.json:2:1", "stands twice"),
        ('[\n{"serial": ["a"]}]', "machines.json:2:2", "plain value"),
        ("[" * 100_000, "machines.json:1:1", "too deeply"),
        ('[{"serial": "a", "model": "b",\n "shipped_on": "soon"}]', "machines.json:2:2", "not a date"),
    ],
)
def test_broken_json_is_placed_too(
    folder: Path, store: Store, rulebook: Rulebook, text: str, where: str, says: str
) -> None:
    (folder / "machines.csv").unlink()
    (folder / "care.csv").unlink()
    (folder / "repairs.csv").unlink()
    (folder / "machines.json").write_text(text)
    found = problems(folder, store, rulebook)
    assert any(says in problem.message and problem.where == where for problem in found), found


def test_a_file_that_is_not_text_is_refused(folder: Path, store: Store, rulebook: Rulebook) -> None:
    (folder / "sites.csv").write_bytes(b"id,name\nhalt,\xff\xfe\n")
    assert str(problems(folder, store, rulebook)[0]).startswith("sites.csv:2:1: the file is not UTF-8")


@pytest.mark.parametrize(
    ("name", "says"),
    [("machine.csv", 'did you mean "machines"'), ("machines.json", "both as machines.csv and")],
)
def test_a_file_that_does_not_belong_is_named(
    folder: Path, store: Store, rulebook: Rulebook, name: str, says: str
) -> None:
    (folder / name).write_text("[]")
    assert any(says in problem.message for problem in problems(folder, store, rulebook))


def test_no_folder_and_an_empty_one_are_refused(tmp_path: Path, store: Store, rulebook: Rulebook) -> None:
    assert "not a folder" in problems(tmp_path / "none", store, rulebook)[0].message
    (tmp_path / "empty").mkdir()
    assert "holds none of" in problems(tmp_path / "empty", store, rulebook)[0].message


def test_progress_reaches_the_end_of_every_file(folder: Path, store: Store, rulebook: Rulebook) -> None:
    seen: dict[str, tuple[int, int]] = {}
    load(folder, store, rulebook, lambda name, done, total: seen.update({name: (done, total)}))
    assert seen == {
        "sites": (2, 2),
        "contractors": (1, 1),
        "machines": (2, 2),
        "care": (2, 2),
        "repairs": (1, 1),
    }


CAN_COME = """\
id,name,phone,serves,skills,certificate,visits_a_day
fogline,Fogline Refrigeration,555-0162,America/New_York; halt-002,general;refrigeration,Universal,6
"""
LET_IN = """\
id,name,town,timezone,phone,distance_km,open_around_the_clock,access_from,access_until
halt-001,Lanternway Alder Quay,Alder,America/New_York,555-0101,42,true,,
halt-002,Birch Landing,Birch,America/Chicago,,,,06:00,22:30
"""


def test_who_can_come_and_when_a_store_lets_in_is_read_and_kept(
    folder: Path, store: Store, rulebook: Rulebook
) -> None:
    (folder / "contractors.csv").write_text(CAN_COME)
    (folder / "sites.csv").write_text(LET_IN)
    load(folder, store, rulebook)
    with store.read() as work:
        [fogline] = work.machines.contractors()
        north, birch = work.machines.sites()
    assert fogline.serves == {"America/New_York", "halt-002"}
    assert fogline.skills == {"general", "refrigeration"}
    assert (fogline.certificate, fogline.visits_a_day) == ("Universal", 6)
    assert (north.access_from, north.access_until) == ("", "")
    assert (birch.access_from, birch.access_until) == ("06:00", "22:30")


@pytest.mark.parametrize(
    ("name", "old", "new", "column"),
    [
        ("contractors.csv", "America/New_York", "America/New_Yorc", "serves"),
        ("contractors.csv", "general;", "general;plumbing;", "skills"),
        ("contractors.csv", "Universal,6", "Universal,0", "visits_a_day"),
        ("contractors.csv", "Universal,6", "Universal,many", "visits_a_day"),
        ("sites.csv", "06:00,22:30", "06:00,", "access_from"),
        ("sites.csv", "06:00,22:30", "06:00,25:30", "access_from"),
    ],
)
def test_a_wrong_cell_on_who_can_come_is_named(
    folder: Path, store: Store, rulebook: Rulebook, name: str, old: str, new: str, column: str
) -> None:
    (folder / "contractors.csv").write_text(CAN_COME)
    (folder / "sites.csv").write_text(LET_IN)
    change(folder, name, old, new)
    [problem] = problems(folder, store, rulebook)
    assert problem.file == name
    assert problem.message.startswith(f"{column}: ")


DEPOT = """\
serial,model,volts,amps,seal_style,ready_since,depot,shipped_on,commissioned_on,price
LH20-D1,LH-20,115,20,grooved,2026-01-10,Stores East,2025-12-01,,3150.00 USD
LH20-D2,LH-20,115,15,flat,2026-02-01,Stores East,2024-12-01,2025-01-05,
"""


def test_depot_units_wait_at_their_depot_and_come_twice_as_one(
    folder: Path, store: Store, rulebook: Rulebook
) -> None:
    (folder / "depot.csv").write_text(DEPOT)
    assert counted(load(folder, store, rulebook))["depot"] == (2, 0, 0)
    with store.read() as work:
        first, second = work.depot.at_depot()
        chains = work.depot.chains()
    assert first == DepotUnit(
        "LH20-D1",
        "LH-20",
        115,
        20,
        "grooved",
        date(2026, 1, 10),
        "Stores East",
        date(2025, 12, 1),
        None,
        Money("3150.00", "USD"),
    )
    assert (second.amps, second.commissioned_on, second.price) == (15, date(2025, 1, 5), None)
    at = datetime(2026, 1, 10, tzinfo=UTC)
    assert chains["LH20-D1"] == (CustodyEvent("LH20-D1", "at_depot", at, "depot list", place="Stores East"),)
    load(folder, store, rulebook)
    with store.read() as work:
        assert work.depot.chains() == chains


def test_what_was_exchanged_stays_where_the_exchange_put_it_until_a_newer_list(
    folder: Path, store: Store, rulebook: Rulebook
) -> None:
    (folder / "depot.csv").write_text(DEPOT)
    load(folder, store, rulebook)
    at = datetime(2026, 3, 2, 17, tzinfo=UTC)
    with store.write() as work:
        unit, old = work.depot.get("LH20-D1"), work.machines.get("LH20-1")
        work.depot.add(CustodyEvent("LH20-D1", "on_the_way", at, "desk"))
        done = exchange(old, unit, None, "refurbish", "", at, "van-3")
        work.machines.put_machines([done.installed, done.taken_out])
        for event in done.custody:
            work.depot.add(replace(event, ticket=None))
        chains = work.depot.chains()
    load(folder, store, rulebook)
    with store.read() as work:
        assert work.machines.get("LH20-1").site is None
        assert work.machines.get("LH20-D1").site == old.site
        assert [one.serial for one in work.depot.at_depot()] == ["LH20-D2"]
        assert work.depot.chains() == chains
    again = DEPOT + "LH20-1,LH-20,115,20,grooved,2026-04-01,Stores East,2025-01-05,2025-02-01,\n"
    (folder / "depot.csv").write_text(again)
    load(folder, store, rulebook)
    with store.read() as work:
        assert [one.serial for one in work.depot.at_depot()] == ["LH20-1", "LH20-D2"]
        assert [one.step for one in work.depot.chain("LH20-1")] == ["refurbished", "at_depot"]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("LH20-D1,LH-20", "LH20-D1,", "this must be filled in"),
        ("115,20", "mains,20", "a whole number from 90 to 480"),
        ("115,20", "115,0", "a whole number from 5 to 100"),
        ("115,20", "115,", "this must be filled in"),
        ("grooved", "grooved_", 'no style of seal "grooved_"; did you mean "grooved"?'),
        ("2026-01-10", "2025-11-30", "2025-11-30 lies before the unit was shipped, 2025-12-01"),
        ("2026-01-10", "soon", "is not a date such as"),
        ("3150.00 USD", "-1.00 USD", "an amount is not negative"),
        ("LH20-D2", "LH20-D1", "is already on line 2"),
        ("LH20-D1", "LH20-1", "stands at a site by its record; it is not in a depot"),
        ("volts", "volt", 'no such column; did you mean "volts"?'),
    ],
)
def test_a_depot_unit_that_is_wrong_is_named_and_nothing_is_stored(
    folder: Path, store: Store, rulebook: Rulebook, old: str, new: str, message: str
) -> None:
    (folder / "depot.csv").write_text(DEPOT.replace(old, new, 1))
    found = problems(folder, store, rulebook)
    assert any(one.file == "depot.csv" and message in one.message for one in found), found
    with store.read() as work:
        assert work.depot.chains() == {}
