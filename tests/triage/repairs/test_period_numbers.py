"""The program's numbers: a small program counted by hand, and sums that agree whatever was recorded."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, select, text
from sqlalchemy.dialects import postgresql

from tests.triage.builders import policy
from tests.triage.payloads import billed, close_out, usd
from tests.triage.services import (
    AGENT,
    ALDER,
    FOGLINE,
    MACHINES,
    NOON,
    OPS,
    REPORT,
    TERN,
    WILLOW,
    Clock,
    rulebook_files,
    running_service,
)
from triage.records.bill import BilledLine
from triage.records.payloads import CheckDone, Decided, Dispatched, Payload, Reopened, Reported
from triage.repairs.day_sums import folded
from triage.repairs.overview import swaps_saved
from triage.repairs.period import (
    GROUPS,
    Closing,
    DayRows,
    OpenedTicket,
    Place,
    Sums,
    Swap,
    SwapSaid,
    read_period,
)
from triage.repairs.period_numbers import DEFINITIONS
from triage.schedule.contractors import Contractor
from triage.service import repairs, tickets
from triage.service.fleet.acting import to_act
from triage.service.numbers import numbers
from triage.service.service import Service
from triage.service.visits import record_visit
from triage.store import Store, open_store
from triage.store.migrate import alembic_config
from triage.store.tables.column_types import json_text
from triage.store.tables.models import EventRow
from triage.values.errors import InputError

LEAKING = {"machine": "LH30-2", "symptoms": ["leaking"], "answers": {}}
SAFE = {"made_safe": True, "note": "The cord is a new one."}
CORD = {"machine": "LH30-2", "symptoms": ["leaking", "not_freezing"], "answers": {"cord_damaged": True}}
LARGE = {"cause": "dirty_filter", "lines": [{"kind": "trip"}, {"kind": "labor", "hours": 4}]}

OVER = policy(
    "over",
    {"estimate_given": True, "over_limit": True},
    {"estimate_given": True, "over_limit": True},
    {"estimate_given": True, "over_limit": False},
    "hold",
    950,
    "It is above the limit.",
)
YES = {
    "answer": "yes",
    "authority": "ops_lead",
    "person": "Robin Vale",
    "why": "It is the only one on the quay.",
}


@pytest.fixture
def service(tmp_path: Path, store_url: str) -> Iterator[Service]:
    """Six tickets; 30 days after noon of 2 March it is the 31st, and the first lies before the period."""
    clock = Clock(NOON - timedelta(days=5))
    with running_service(tmp_path, clock, rulebook_files(**{"policy/over.yml": OVER}), store_url) as running:
        visit = {"state": "scheduled", "at": "2026-03-20T10:00:00-05:00"}
        certified = [Contractor(name, name.title(), certificate="R-1") for name in ("fogline", "tern")]
        with running.store.write() as work:
            work.machines.put_contractors(certified)

        # T-000001 on LH20-1, closed four days before the period.
        tickets.open_ticket(running, {**REPORT, "reported_at": clock.time.isoformat()}, AGENT)
        clock.move(days=1)
        repairs.close(
            running, "T-000001", {"cause": "low_fill", "cured_by": "repair", "hours": 1}, FOGLINE, None
        )

        # T-000002, a repeat of it: cured by the filter, nobody sent, closed after 2 hours.
        clock.move(days=4)
        tickets.open_ticket(running, REPORT, AGENT)
        tickets.record_check(running, "T-000002", "rinse-filter", "not_cured", AGENT)
        tickets.record_check(running, "T-000002", "rinse-filter", "cured", AGENT)
        clock.move(hours=2)
        repairs.close(running, "T-000002", {"cause": "dirty_filter", "cured_by": "rinse-filter"}, AGENT, None)

        # T-000003, a repeat of that: one visit, moved once; trip and an hour are 205.00; after 24 hours.
        clock.move(days=10)
        tickets.open_ticket(running, REPORT, AGENT)
        tickets.record_check(running, "T-000003", "rinse-filter", "not_cured", AGENT)
        tickets.record_check(running, "T-000003", "fill-hopper", "could_not_do", AGENT)
        record_visit(running, "T-000003", visit, OPS)
        record_visit(running, "T-000003", {**visit, "visit": 1, "at": "2026-03-21T10:00:00-05:00"}, OPS)
        clock.move(days=1)
        lines = [{"kind": "trip"}, {"kind": "labor", "hours": 1}]
        done = {"cause": "low_fill", "cured_by": "repair", "lines": lines}
        repairs.close(running, "T-000003", done, FOGLINE, None)

        # T-000004 on LH30-2, on hold since its estimate; an answer later it still is.
        tickets.open_ticket(running, LEAKING, AGENT)
        clock.move(hours=1)
        repairs.estimate(running, "T-000004", LARGE, TERN, None)
        clock.move(hours=5)
        tickets.answer(running, "T-000004", {"fill_level": 60}, AGENT)

        # T-000005 on LH30-2: a visit in the evening (260.00) that cures nothing; opened again, a second one
        # by day is approved for 95.00, then for 150.00, and costs 95.00.
        tickets.open_ticket(running, CORD, AGENT)
        record_visit(running, "T-000005", {"state": "scheduled", "at": clock.time.isoformat()}, OPS)
        for state in ("started", "done"):
            clock.move(hours=1)
            record_visit(running, "T-000005", {"state": state}, TERN)
        clock.move(hours=1)
        repairs.close(
            running,
            "T-000005",
            {**done, **SAFE, "cause": "no_fault_found", "cured_by": "nothing"},
            TERN,
            None,
        )
        clock.move(hours=3)
        repairs.reopen(running, "T-000005", "The cord sparks.", AGENT)
        record_visit(running, "T-000005", visit, OPS)
        repairs.estimate(
            running, "T-000005", {"cause": "seal_wrong", "lines": [{"kind": "trip"}]}, TERN, None
        )
        repairs.approve(running, "T-000005", {**YES, "estimate": 1}, OPS, None)
        lines = [{"kind": "trip"}, {"kind": "labor", "hours": Decimal("0.4")}]
        repairs.estimate(running, "T-000005", {"cause": "seal_wrong", "lines": lines}, TERN, None)
        repairs.approve(running, "T-000005", {**YES, "estimate": 2}, OPS, None)
        clock.move(hours=4)
        repairs.close(
            running,
            "T-000005",
            {
                **done,
                **SAFE,
                "cause": "seal_wrong",
                "lines": [{"kind": "trip"}],
                "authorization": "T-000005-A2",
            },
            TERN,
            None,
        )

        # T-000006 without a machine stays open and is not decided otherwise later.
        tickets.open_ticket(running, {"machine": None, "symptoms": ["leaking"], "answers": {}}, AGENT)
        clock.time = NOON + timedelta(days=29)
        yield running


def test_a_small_service_comes_out_as_counted_by_hand(service: Service) -> None:
    found = numbers(service, None, None, "contractor")
    checks, contractors, questions = found.pop("checks"), found.pop("groups"), found.pop("questions")
    told = [(row["rule"], row["of"], row["says"]) for row in found.pop("rules")]
    assert told == [("filter-overdue", 2, "too_few"), ("fill", 2, "too_few")]
    assert questions == []
    assert found.pop("scores")["of"] == 3
    shares = "cured_in_store", "first_visit_fix", "repeats", "no_fault_found", "first_ranked", "over_limit"
    for name in shares:
        found[name] = counts(found[name])
    assert found == {
        "since": "2026-03-02",
        "until": "2026-03-31",
        "currency": "USD",
        "days_to_sum": 0,
        "opened": 5,
        "by_first_outcome": {"fix_in_store": 4, "dispatch": 1},
        "by_last_outcome": {"fix_in_store": 2, "approve": 1, "dispatch": 1, "hold": 1},
        "by_symptom": {"leaking": 3, "not_freezing": 3},
        "closed": 3,
        "reopened": 1,
        "cured_in_store": (1, 3, 0.3333),
        "visits_sent": 3,
        "swaps": 0,
        "swaps_saved": {
            "of": 0,
            **dict.fromkeys(("cost", "repair", "keep_year", "swap_year"), "0.00 USD"),
            **{"low": None, "high": None, "too_few": True},
        },
        "first_visit_fix": (1, 2, 0.5),
        "mean_hours_to_close": 12.0,
        "hours_to_close": {"median": 10.0, "p90": 21.2},  # of 2, 10 and 24: 10 + 0.8 * 14
        "holds": {"open": 1, "median_hours": 429.0},  # 29 days less 11 days and 3 hours
        "spend_approved": "150.00 USD",
        "spend_closed": "560.00 USD",  # 205 + 260 + 95
        "outside_agreement": "0.00 USD",
        "over_limit": (0, 3, 0.0),
        "repeats": (2, 4, 0.5),
        "causes": [
            {"cause": "dirty_filter", "title": "Dirty filter", "tickets": 1},
            {"cause": "low_fill", "title": "Low fill", "tickets": 1},
            {"cause": "seal_wrong", "title": "Seal wrong", "tickets": 1},
        ],
        "no_fault_found": (0, 3, 0.0),
        "first_ranked": (1, 3, 0.3333),  # a seal alone does not make both
    }
    assert [(row["check"], row["done"], row["cured"], row["could_not_do"]) for row in checks] == [
        ("rinse-filter", 2, 1, 0),
        ("fill-hopper", 0, 0, 1),
    ]
    # The filter was cured by rinsing (0.85 in the rulebook); the low fill is nothing that rinsing cures (0).
    assert counts(checks[0]["cure_share"]) == counts(checks[0]["confirmed_cure_share"]) == (1, 2, 0.5)
    assert checks[0]["rulebook"] == 0.425
    assert checks[1]["cure_share"]["share"] is checks[1]["rulebook"] is None
    shown = ("key", "opened", "visits_sent", "spend_closed", "outside_agreement")
    assert [(*(row[name] for name in shown), row["repeats"]["count"]) for row in contractors] == [
        ("fogline", 2, 1, "205.00 USD", "0.00 USD", 2),
        ("tern", 2, 2, "355.00 USD", "0.00 USD", 0),
        ("not_known", 1, 0, "0.00 USD", "0.00 USD", 0),
    ]


def counts(part: dict[str, Any]) -> tuple[int, int, float | None]:
    """Of a share; its interval is checked against the published cases."""
    assert part["too_few"] is (part["of"] < 10)
    return part["count"], part["of"], part["share"]


def test_a_period_counts_its_first_and_last_day_and_nothing_else(service: Service) -> None:
    day = numbers(service, "2026-03-02", "2026-03-02")
    assert (day["opened"], day["closed"], day["repeats"]["count"]) == (1, 1, 1)
    before = numbers(service, "2026-02-25", "2026-03-01")
    assert (before["opened"], before["closed"], before["spend_closed"]) == (1, 1, "0.00 USD")
    nothing = numbers(service, "2025-01-01", "2025-01-31")
    assert (nothing["opened"], nothing["cured_in_store"]["share"], nothing["hours_to_close"]["p90"]) == (
        0,
        None,
        None,
    )


def test_without_days_it_is_the_last_thirty() -> None:
    def days(since: str | None, until: str | None) -> tuple[str, str]:
        period = read_period(since, until, NOON)
        return period.first.isoformat(), period.last.isoformat()

    assert days(None, None) == ("2026-02-01", "2026-03-02")
    assert days("2026-01-05", None) == ("2026-01-05", "2026-03-02")
    assert days(None, "2026-01-30") == ("2026-01-01", "2026-01-30")
    assert days("2027-01-01", None) == ("2027-01-01", "2027-01-01")


@pytest.mark.parametrize(
    ("since", "until"),
    [("yesterday", None), ("2026-03-02", "2026-03-01"), ("0001-01-01", None), (None, "9999-12-31")],
)
def test_a_period_that_cannot_be_is_refused(since: str | None, until: str | None) -> None:
    with pytest.raises(InputError):
        read_period(since, until, NOON)


def test_postgresql_takes_a_value_out_of_a_document_by_its_path() -> None:
    query = select(json_text(EventRow.payload, ("decision", "causes", 0, "cause"), postgresql=True))
    assert "AS JSONB) #>> " in str(query.compile(dialect=postgresql.dialect()))


def test_calls_of_machines_and_their_days_are_those_of_the_tickets(service: Service) -> None:
    period = read_period("2026-03-02", "2026-03-31", service.now())
    with service.store.read() as work:
        machines = work.machine_months.calls(period)
        opened: dict[str, list[datetime]] = {}
        for one in work.desk.listed("all", service.now()):
            if one.machine is not None and period.since <= one.opened_at:
                opened.setdefault(one.machine, []).append(one.opened_at)
    found = {name: calls for name, (_, calls, _) in machines.items() if calls.count}
    since = {one.serial: one.commissioned_on or one.shipped_on for one in MACHINES}
    assert {name: day for name, (day, *_) in machines.items()} == since
    assert {name: one.count for name, one in found.items()} == {name: len(at) for name, at in opened.items()}
    for name, times in opened.items():
        days = sum((at - period.since) / timedelta(days=1) for at in times)
        assert found[name].days == pytest.approx(days, abs=1e-6)
    acting = to_act(service, "2026-03-02", "2026-03-31")
    assert acting.repeat_share == pytest.approx(2 / 4)
    assert {one.site: (one.reports, one.repeats) for one in acting.places}.keys() == {"halt-001", "halt-023"}


def test_whole_months_are_summed_once_and_again_after_a_change(service: Service) -> None:
    march = read_period("2026-03-01", "2026-03-31", service.now())
    longer = read_period("2026-02-20", "2026-04-02", service.now())
    from_days = numbers(service, "2026-02-20", "2026-03-30", "site")["groups"]  # no whole month
    with service.store.read() as work:
        assert work.day_sums.months_to_sum(march) == [march.first]
    assert numbers(service, "2026-02-20", "2026-04-02", "site")["groups"] == from_days
    with service.store.read() as work:
        assert work.day_sums.months_to_sum(longer) == []
        kept = work.day_sums.by_key(march, "contractor")
        assert kept == {
            name: one + Sums() for name in kept for one in [work.day_sums.total(march, "contractor", name)]
        }
    tickets.open_ticket(service, REPORT, AGENT)
    after = numbers(service, "2026-02-20", "2026-04-02", "site")["groups"]
    opened = [sum(one["opened"] for one in groups) for groups in (from_days, after)]
    assert opened[1] == opened[0] + 1


def test_every_number_of_the_answer_is_defined(service: Service) -> None:
    plain = {"since", "until", "currency", "mean_hours_to_close", "days_to_sum"}
    assert numbers(service, None, None).keys() - plain == DEFINITIONS.keys()


PLACES = st.builds(
    Place,
    site=st.sampled_from([None, "alder", "willow"]),
    contractor=st.sampled_from([None, "fogline", "tern"]),
    model=st.sampled_from([None, "LH20"]),
    cause=st.sampled_from(["not_known", "no_fault_found", "low_fill", "seal_wrong"]),
    symptoms=st.lists(st.sampled_from(["leaking", "not_freezing"]), min_size=1).map(tuple),
    outcome=st.sampled_from([None, "fix_in_store", "dispatch", "hold"]),
)
TIMES = st.integers(0, 20 * 24).map(lambda hours: NOON + timedelta(hours=hours))
AMOUNTS = st.decimals(0, 900, places=2)
CURES = st.sampled_from(["repair", "nothing", "rinse-filter", "fill-hopper"])
OPENED = st.builds(
    OpenedTicket,
    PLACES,
    TIMES,
    machine=st.sampled_from([None, "LH20-1"]),
    last_outcome=st.sampled_from([None, "dispatch", "hold"]),
    checks=st.dictionaries(
        st.sampled_from(["rinse-filter", "fill-hopper", "gone"]),
        st.sampled_from(["cured", "not_cured", "could_not_do"]),
    ).map(lambda done: tuple(done.items())),
    cured_by=st.one_of(st.none(), CURES),
    closed_at=st.one_of(st.none(), TIMES),
)
CLOSINGS = st.builds(
    Closing,
    PLACES,
    opened_at=st.just(NOON),
    at=TIMES,
    cause=st.sampled_from([None, "low_fill", "seal_wrong"]),
    cured_by=CURES,
    visited=st.booleans(),
    cost=AMOUNTS,
    outside=AMOUNTS,
    stands=st.booleans(),
    scheduled=st.integers(0, 2),
    visits=st.integers(0, 2),
    top_cause=st.sampled_from([None, "low_fill"]),
    nte=st.one_of(st.none(), AMOUNTS),
)
ROWS = st.builds(
    DayRows,
    opened=st.lists(OPENED, max_size=6).map(tuple),
    closings=st.lists(CLOSINGS, max_size=6).map(tuple),
    sent=st.lists(PLACES, max_size=4).map(tuple),
    approved=st.lists(st.tuples(PLACES, AMOUNTS), max_size=3).map(tuple),
)


@settings(deadline=None, derandomize=True)
@given(ROWS)
def test_every_grouping_of_a_day_adds_up_to_its_whole(rows: DayRows) -> None:
    day = folded(rows)
    whole = day.sums.get(("all", ""), Sums())
    for by in GROUPS:
        if by == "symptom":
            continue
        each = [one for (group, _), one in day.sums.items() if group == by]
        for measure in ("opened", "repeats", "closed", "visits_sent", "in_store", "spent", "approved"):
            assert sum(getattr(one, measure) for one in each) == getattr(whole, measure)
    symptoms = sum(one.opened for (by, _), one in day.sums.items() if by == "symptom")
    assert symptoms == sum(len(set(one.place.symptoms)) for one in rows.opened)
    assert whole.opened == len(rows.opened)
    assert whole.closed == sum(one.stands for one in rows.closings)
    assert whole.spent == sum(one.cost for one in rows.closings)
    assert whole.in_store + whole.came_to <= whole.closed
    assert whole.first_visit <= whole.came_to
    above = [one for one in rows.closings if one.nte is not None and one.cost > one.nte]
    assert whole.over_limit == len(above) <= whole.limited <= len(rows.closings)
    assert whole.first_ranked <= whole.confirmed <= whole.closed
    assert whole.repeats <= whole.on_machine
    waits = (one.count for (what, _), one in day.tallies.items() if what == "wait")
    assert sum(waits) == whole.opened


def decided(outcome: str, cause: str | None) -> Decided:
    factors = [{"rule": "fill", "factor": 2.0}]
    causes = [
        {"cause": cause or "other", "chance": 0.75, "share": 0.5, "factors": factors},
        {"cause": "leak", "chance": 0.25, "share": 0.5, "factors": [{"rule": "fill", "factor": 0.5}]},
    ]
    return Decided({"outcome": outcome, "causes": causes}, {})


def sent(visit: int, contractor: str | None) -> Dispatched:
    return Dispatched(visit, NOON, NOON.date(), 90, contractor, (), "dispatch", "general", 3, NOON, (), "")


def written(store: Store, tickets: list[tuple[datetime, list[list[Payload]]]]) -> None:
    with store.write() as work:
        work.machines.put_sites([ALDER, WILLOW])
        work.machines.put_contractors([Contractor(name, name.title()) for name in ("fogline", "tern")])
        work.machines.put_machines(MACHINES)
        for number, (at, steps) in enumerate(tickets):
            for hours, news in enumerate(steps):
                late = at + timedelta(hours=5 * hours)
                work.tickets.append(f"T-{number}", news, at=late, who="desk", rulebook="r")


def kept(store_url: str) -> dict[str, list[Any]]:
    """The closings and what numbers are counted by, as they stand in the database."""
    columns = "id, first_outcome, symptoms, checks, cause, cured_by"
    engine = create_engine(store_url)
    with engine.connect() as connection:
        rows = {
            "closings": connection.execute(text("SELECT * FROM closings ORDER BY ticket, seq")).all(),
            "tickets": connection.execute(text(f"SELECT {columns} FROM tickets ORDER BY id")).all(),
            "terms": connection.execute(text("SELECT * FROM ticket_terms ORDER BY term, ticket")).all(),
        }
    engine.dispose()
    return {name: [tuple(row) for row in found] for name, found in rows.items()}


def test_an_older_database_gets_the_same_rows_as_are_written_now(store_url: str) -> None:
    outside = billed(120, lines=(BilledLine("trip", "far", usd(120), usd(95), "cooling", "standard"),))
    last = close_out(None, 120, bill=outside, visited=False, cured_by="rinse-filter")
    told = {"symptoms": ["leaking", "not_freezing"], "caller": "Dana Quill", "phone": "555-0177"}
    steps: list[list[Payload]] = [
        [Reported(told, "LH20-1", None, "fogline")],
        [decided("fix_in_store", "seal_wrong")],
        [CheckDone("rinse-filter", "cured", ("fill-hopper",)), decided("dispatch", "low_fill")],
        [sent(1, "tern"), sent(1, "tern"), sent(2, "tern")],
        [close_out("low_fill", "312.45")],
        [Reopened("again"), CheckDone("rinse-filter", "not_cured"), decided("hold", "dirty_filter")],
        [last],
    ]
    with closing(open_store(store_url)) as store:
        written(store, [(NOON, steps), (NOON + timedelta(days=3), steps[:5]), (NOON, steps[:6])])
    now = kept(store_url)
    assert [len(now[name]) for name in ("closings", "tickets")] == [4, 3]
    with closing(open_store(store_url)) as store, store.read() as work:
        scores = work.numbers.of_day(read_period("2026-03-02", "2026-03-06", NOON)).closings
        assert sum(one.log_loss is not None and one.rules.keys() == {"fill"} for one in scores) == 3
        assert sum(one.cause is None and one.log_loss is None for one in scores) == 1
    assert ("dana", "T-0") in now["terms"]
    engine = create_engine(store_url)
    with engine.begin() as connection:
        config = alembic_config()
        config.attributes["connection"] = connection
        command.downgrade(config, "0022")
    engine.dispose()
    open_store(store_url).close()
    assert kept(store_url) == now


KEEP, SWAP = Decimal(1500), Decimal(1250)
SAID = SwapSaid(cost=Decimal(780), repair=Decimal(340), keep_year=KEEP, swap_year=SWAP)


def test_what_swaps_saved_is_a_range_and_of_few_nothing_is_said() -> None:
    place = Place("alder", "fogline", "LH20", "low_fill", ("leaking",), "swap")

    def told(*swaps: Swap) -> dict[str, Any]:
        day = folded(DayRows(swapped=swaps))
        assert day.sums["site", "alder"].swaps == len(swaps)
        found: dict[str, Any] = swaps_saved(
            {key: one for (what, key), one in day.tallies.items() if what == "swap"}, "USD"
        )
        return found

    few = told(*[Swap(place, SAID)] * 9, Swap(place, None))
    assert few == {
        "of": 9,
        "cost": "7020.00 USD",
        "repair": "3060.00 USD",
        "keep_year": "13500.00 USD",
        "swap_year": "11250.00 USD",
        "low": None,
        "high": None,
        "too_few": True,
    }
    enough = told(*[Swap(place, SAID)] * 10)
    assert (enough["low"], enough["high"]) == ("-500.00 USD", "5500.00 USD")  # 12,000 and 18,000 less 12,500
    assert enough["too_few"] is False
