"""Two tickets of one machine, worked on by API and by page in any order, and their dangers."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import unescape
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from flask.testing import FlaskClient
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from werkzeug.test import TestResponse

from api.app import create_app
from tests.api.conftest import add_tokens
from tests.triage.builders import fact, head
from tests.triage.danger_rulebook import CALM, CALM_REPORT, HEARD_REPORT, SHOCK_REPORT, danger_files
from tests.triage.services import running_service

SERIAL = "LH20-1"
HEARD = "no idea, but it gave me a shock"
FIGURE = "Only a way of speaking"
MENDED = "Mended and tested by Fogline."
BEHIND = {"shock": "shock_felt", "liquid": "liquid_in_base", "mold": "mold_seen", "sour": "sour_seen"}
CAUTIONS, FACTS = sorted(BEHIND), sorted((*BEHIND.values(), "fill_level"))
CAUTION_OF = {name: caution for caution, name in BEHIND.items()}
READERS = ["page", "agent", "fogline"]
"""An agent on the page, and by API an agent and a technician."""
STOP = 'role="alertdialog"'
FORBIDS: dict[str, set[str]] = {"mold": {"fill-hopper"}, "sour": set()}
"""What a caution forbids by name; the others stop use and forbid every check."""
CLEANS = "rinse-filter"
"""The check that comes first while the product is sour, and that lifts it."""
NEAR = ("fill_level", "filter_days", "mold_seen", "seal_style", "sour_seen")

WHICH = st.integers(0, 1)

Raised = tuple[str, str]
"""The ticket on which a danger was raised, and its caution."""


def files() -> dict[str, object]:
    """The two dangers that stop use, of which one is told from afar, mold, which forbids one check, and sour
    product, which forbids none and is cleaned away.
    """
    sour = {"text": "Throw it away and clean.", "first": [CLEANS]}
    mold = {"text": "Do not fill it up: mold.", "forbids": ["fill-hopper"]}
    found = {"mold_seen": True}
    return {
        **danger_files(),
        "facts/shock_felt.yml": fact("shock_felt", "flag", danger=True, near=False),
        "facts/mold_seen.yml": fact("mold_seen", "flag", danger=True),
        "facts/sour_seen.yml": fact("sour_seen", "flag", danger=True),
        "cautions/sour.yml": head(
            "sour", {"sour_seen": True}, {"sour_seen": True}, {"sour_seen": False}, then=sour
        ),
        "cautions/mold.yml": head("mold", found, found, {"mold_seen": False}, then=mold),
    }


def listed(page: str, own: str | None = None) -> set[Raised]:
    """The dangers in a page's lists; those that name no ticket were raised on the ticket `own`."""
    rows = [row for part in re.findall(r'<ul class="dangers">.*?</ul>', page, re.S) for row in items(part)]
    found = set()
    for row in rows:
        title = re.search(r"<strong>(\w+)</strong>", row)
        ticket = re.search(r'<a href="/tickets/([^"/]+)">', row)
        assert title is not None
        raised_on = own if ticket is None else ticket[1]
        assert raised_on is not None, "a list beside no ticket names each"
        found.add((raised_on, title[1].lower()))
    return found


def items(text: str) -> list[str]:
    return re.split(r"<li>(?=<strong>)", text)[1:]


def pairs(found: Any) -> set[Raised]:
    return {(each["ticket"], each["caution"]) for each in found["dangers"]}


def value_of(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="(\w+)"', page)
    assert found is not None, name
    return found[1]


def led_to(page: str) -> set[str]:
    """The facts that a call page asks for or leads to."""
    forms = re.findall(r'name="fact" value="(\w+)"', page)
    links = re.findall(r'[?&]fact=(\w+)"', unescape(page))
    return {*forms, *links, *re.findall(r'<option value="(\w+)"', page)}


def forbidden(dangers: Iterable[Raised], checks: set[str]) -> set[str]:
    return set().union(*(FORBIDS.get(caution, checks) for _, caution in dangers))


class BothDoors(RuleBasedStateMachine):
    """Holds what was raised and not lifted since, and compares it with what every reader is shown."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = TemporaryDirectory()
        self._running = running_service(Path(self._folder.name), files=files())
        service = self._running.__enter__()
        self.tokens = add_tokens(service)
        app = create_app(service)
        self.api: FlaskClient = app.test_client()
        self.pages: dict[str, FlaskClient] = {name: app.test_client() for name in ("agent", "ops")}
        for name, client in self.pages.items():
            client.post("/sign-in", data={"token": self.tokens[name]})
        self.ids: list[str] = []
        self.raised: set[Raised] = set()
        self.lifted: set[Raised] = set()
        self.closings = 0

    def teardown(self) -> None:
        self._running.__exit__(None, None, None)
        self._folder.cleanup()

    def send(self, method: str, path: str, body: Any = None, by: str = "agent") -> TestResponse:
        headers = {"Authorization": f"Bearer {self.tokens[by]}"}
        return self.api.open(path, method=method, json=body, headers=headers)

    def submit(self, ticket: str, what: str, by: str = "agent", **form: str) -> int:
        """Sends a form of the call page on the ticket's version of now; the status of the answer."""
        version = str(self.read(ticket)["version"])
        return self.pages[by].post(f"/tickets/{ticket}/{what}", data={"version": version, **form}).status_code

    def read(self, ticket: str) -> Any:
        return self.send("GET", f"/v1/tickets/{ticket}").json

    def call_page(self, ticket: str, by: str = "agent") -> str:
        return self.pages[by].get(f"/tickets/{ticket}", follow_redirects=True).text

    def ticket(self, which: int) -> str:
        return self.ids[which % len(self.ids)]

    @initialize(by_page=st.booleans())
    def first(self, by_page: bool) -> None:
        self.open(by_page, CALM_REPORT, "")
        assert self.submit(self.ids[0], "answers", fact="fill_level", value="?") == 303

    @precondition(lambda self: len(self.ids) < 2)
    @rule(
        by_page=st.booleans(),
        report=st.sampled_from([CALM_REPORT, SHOCK_REPORT, HEARD_REPORT]),
        misread=st.sampled_from(["", FIGURE]),
    )
    def open(self, by_page: bool, report: dict[str, Any], misread: str) -> None:
        note = report.get("note", "")
        if by_page:
            form = {"machine": SERIAL, "symptom": "not_freezing", "second": "1", "note": note}
            heard = {"heard.shock": misread} if note else {}
            sent = self.pages["agent"].post("/report", data={**form, **heard})
            assert sent.status_code == 303
            ticket = sent.headers["Location"].rsplit("/", 1)[1]
            dangerous = bool(note) and not misread
        else:
            calm = {**CALM, "mold_seen": False, "sour_seen": False, **report["answers"]}
            ticket = self.send("POST", "/v1/reports", {**report, "answers": calm}).json["ticket"]  # type: ignore[index]
            dangerous = report is not CALM_REPORT
        self.ids.append(ticket)
        if dangerous:
            self.raised.add((ticket, "shock"))

    @rule(which=WHICH, name=st.sampled_from(FACTS), yes=st.booleans(), by=st.sampled_from(READERS))
    def answer(self, which: int, name: str, yes: bool, by: str) -> None:
        ticket = self.ticket(which)
        if by == "page":
            value = ("yes" if yes else "no") if name != "fill_level" else "about half full"
            status = self.submit(ticket, "answers", fact=name, value=value)
            assert status in (303, 422) if name == "fill_level" else status == 303
        else:
            path = f"/v1/tickets/{ticket}/answers"
            told = {name: yes if name != "fill_level" else 60}
            assert self.send("POST", path, {"answers": told}, by).status_code == 200
        if yes and name != "fill_level":
            self.raised.add((ticket, CAUTION_OF[name]))
        if by == "page":
            self.read_to_the_clerk(ticket, tick=True)

    @rule(which=WHICH, name=st.sampled_from(FACTS), by=st.sampled_from(READERS))
    def does_not_know(self, which: int, name: str, by: str) -> None:
        ticket = self.ticket(which)
        if by == "page":
            assert self.submit(ticket, "answers", fact=name, value="?") == 303
        else:
            path = f"/v1/tickets/{ticket}/answers"
            assert self.send("POST", path, {"unknown": [name]}, by).status_code == 200

    @rule(which=WHICH, name=st.sampled_from(["fill_level", "filter_days"]), words=st.booleans())
    def words_instead_of_a_number(self, which: int, name: str, words: bool) -> None:
        ticket = self.ticket(which)
        status = self.submit(ticket, "answers", fact=name, value=HEARD if words else "no shock, hard to say")
        if words:
            assert status == 303
            self.raised.add((ticket, "shock"))

    @rule(which=WHICH)
    def undo(self, which: int) -> None:
        assert self.submit(self.ticket(which), "undo") in (303, 404)

    @rule(
        which=WHICH,
        name=st.sampled_from(["fill-hopper", CLEANS]),
        result=st.sampled_from(["cured", "not_cured", "could_not_do"]),
        by_page=st.booleans(),
    )
    def done(self, which: int, name: str, result: str, by_page: bool) -> None:
        ticket = self.ticket(which)
        if by_page:
            assert self.submit(ticket, "checks", check=name, result=result) == 303
        else:
            body = {"check": name, "result": result}
            assert self.send("POST", f"/v1/tickets/{ticket}/checks", body).status_code == 200
        if name == CLEANS and result != "could_not_do":
            self.lifted |= {each for each in self.raised if each[1] == "sour"}

    @rule(which=WHICH, by=st.sampled_from(["agent", "fogline"]))
    def words_at_a_closing(self, which: int, by: str) -> None:
        ticket = self.ticket(which)
        self.closings += 1
        note = f"It gave me a shock, {self.closings} times."
        body = {"cause": "no_fault_found", "cured_by": "nothing", "note": note}
        assert self.send("POST", f"/v1/tickets/{ticket}/close", body, by).status_code == 409
        self.raised.add((ticket, "shock"))

    @rule(tick=st.booleans())
    def read_out(self, tick: bool) -> None:
        for ticket in self.ids:
            self.read_to_the_clerk(ticket, tick)

    def read_to_the_clerk(self, ticket: str, tick: bool) -> None:
        page = self.call_page(ticket)
        if STOP in page:
            sent = {"said": "1"} if tick else {}
            status = self.submit(ticket, "read-out", shown=value_of(page, "shown"), **sent)
            assert (status, STOP in self.call_page(ticket)) == ((303, False) if tick else (422, True))

    @rule(which=WHICH, caution=st.sampled_from(CAUTIONS), by=st.sampled_from(READERS))
    def misread(self, which: int, caution: str, by: str) -> None:
        ticket = self.ticket(which)
        done = self.lift(ticket, caution, "misread", FIGURE, by, "agent" if by == "page" else by)
        assert not (done and (by == "fogline" or (ticket, caution) not in self.raised))
        if done:
            self.lifted.add((ticket, caution))

    @rule(
        which=WHICH,
        caution=st.sampled_from(CAUTIONS),
        door=st.sampled_from(["api", "page"]),
        may=st.booleans(),
    )
    def made_safe(self, which: int, caution: str, door: str, may: bool) -> None:
        ticket = self.ticket(which)
        who = "agent" if not may else "ops" if door == "page" else "fogline"
        stands = {each for each in self.raised if each[1] == caution}
        done = self.lift(ticket, caution, "safe", MENDED, door, who)
        assert done == bool((may or caution == "sour") and stands)
        if done:
            self.lifted |= stands

    def lift(self, ticket: str, caution: str, how: str, why: str, door: str, who: str) -> bool:
        """Whether the lifting was done; else it was refused."""
        if door == "page":
            status = self.submit(ticket, f"dangers/{caution}/lift", who, how=how, why=why)
        else:
            path = f"/v1/tickets/{ticket}/dangers/{caution}/clear"
            status = self.send("POST", path, {"how": how, "why": why}, who).status_code
        assert status in (200, 303, 403, 409)
        return status in (200, 303)

    @invariant()
    def a_danger_goes_by_a_lifting_only(self) -> None:
        self.raised -= self.lifted
        seen = pairs(self.send("GET", f"/v1/machines/{SERIAL}").json)
        assert self.raised <= seen
        assert not (self.lifted & seen), "a lifting that was done lifts"
        self.raised, self.lifted = seen, set()  # an answer taken back may bring an older one, and its danger

    @invariant()
    def both_doors_tell_the_same(self) -> None:
        open_now = sorted({caution for _, caution in self.raised})
        assert listed(self.pages["agent"].get(f"/machines/{SERIAL}").text) == self.raised
        rows = self.send("GET", "/v1/tickets?danger=true").json["items"]  # type: ignore[index]
        assert {row["ticket"]: sorted(row["dangers"]) for row in rows} == (
            dict.fromkeys(self.ids, open_now) if open_now else {}
        )
        table = self.pages["agent"].get("/?view=unfinished").text
        queue = self.pages["agent"].get("/").text
        for ticket in self.ids:
            assert pairs(self.read(ticket)) == self.raised
            row = re.search(rf'<tr><th scope="row"><a href="/tickets/{ticket}">.*?</tr>', table, re.S)
            line = re.search(
                rf'<li class="dep[^>]*>(?:(?!</li>).)*/tickets/{ticket}["/].*?</li>', queue, re.S
            )
            for shown in (row, line):
                assert shown is not None
                told = shown[0].partition("Danger open:")[2].lower()
                assert sorted(re.findall("shock|liquid|mold|sour", told)) == open_now
            assert (line[0] in queue.partition("Danger: act now")[2].partition("</section>")[0]) == bool(
                open_now
            )
            for reader in self.pages:
                assert listed(self.call_page(ticket, reader), ticket) == self.raised

    @invariant()
    def nothing_is_done_that_an_open_danger_forbids(self) -> None:
        for ticket in self.ids:
            found = self.read(ticket)
            plan = {step["check"] for step in found["decision"]["plan"]}
            page = self.call_page(ticket)
            offered = set(re.findall(r'type="hidden" name="check" value="([\w-]+)"', page))
            assert offered <= plan
            cautions = {caution for _, caution in self.raised}
            if cautions:
                assert not found["decision"]["solved"]
                assert not plan & forbidden(self.raised, plan)
            if cautions - {"sour"}:
                assert found["outcome"] != "fix_in_store"
            if "sour" in cautions and plan:
                assert found["decision"]["plan"][0]["check"] == CLEANS

    @invariant()
    def after_a_stop_nothing_asked_leads_near(self) -> None:
        if not {caution for _, caution in self.raised} - FORBIDS.keys():
            return
        for ticket in self.ids:
            page = self.call_page(ticket)
            assert not led_to(page) & set(NEAR)
            opened = self.pages["agent"].get(f"/tickets/{ticket}?fact={NEAR[0]}").text
            assert f'name="fact" value="{NEAR[0]}"' not in opened


TestBothDoors = BothDoors.TestCase
TestBothDoors.settings = settings(
    max_examples=12, stateful_step_count=12, deadline=None, derandomize=True, database=None
)
