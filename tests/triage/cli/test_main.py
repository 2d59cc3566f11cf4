"""The command line: exit status 0, 1, 2; JSON alone on standard output; never a traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from tests.triage.services import AGENT, REPORT, rulebook_files
from triage.cli import main as command_line
from triage.cli.shown.opened import opened_service
from triage.config import SETTINGS, default_rulebook, read_settings
from triage.rulebook.reading.reader import read_with_files, rulebook_from_data
from triage.service import requests, tickets
from triage.values.errors import InputError

AT = "2026-03-02T12:00:00-05:00"
MACHINE = {
    "serial": "LH20-1",
    "model": "LH-20",
    "shipped_on": "2025-01-05",
    "commissioned_on": "2025-02-01",
    "site": {"id": "halt-001", "name": "Alder Quay", "town": "Alder", "timezone": "America/New_York"},
    "care": [{"kind": "filter_cleaned", "at": "2026-01-20T10:00:00-05:00", "by": "store", "details": {}}],
}
SITES = "id,name,town,timezone\nhalt-001,Alder Quay,Alder,America/New_York\n"
CONTRACTORS = "id,name\nfogline,Fogline Refrigeration\n"
MACHINES = "serial,model,shipped_on,site,contractor\nLH20-1,LH-20,2025-01-05,halt-001,fogline\n"

Run = Callable[..., tuple[int, str, str]]


def write_rulebook(folder: Path, files: dict[str, object]) -> Path:
    """JSON is YAML, so the files can be written without a YAML library."""
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(data, indent=1))
    return folder


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with a rulebook in `rules`, a report, a machine file and records."""
    write_rulebook(tmp_path / "rules", rulebook_files())
    (tmp_path / "report.json").write_text(json.dumps(REPORT))
    (tmp_path / "machine.json").write_text(json.dumps(MACHINE))
    records = tmp_path / "records"
    records.mkdir()
    (records / "sites.csv").write_text(SITES)
    (records / "contractors.csv").write_text(CONTRACTORS)
    (records / "machines.csv").write_text(MACHINES)
    monkeypatch.chdir(tmp_path)
    for name, _, _ in SETTINGS:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("BARRELWISE_ENGINE", "plain")
    return tmp_path


@pytest.fixture
def run(here: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a command: exit status, standard output, standard error."""

    def run_command(*arguments: str) -> tuple[int, str, str]:
        status = command_line.run(arguments)
        shown = capsys.readouterr()
        assert "Traceback" not in shown.out + shown.err
        return status, shown.out, shown.err

    return run_command


def change(path: Path, **members: Any) -> None:
    path.write_text(json.dumps({**json.loads(path.read_text()), **members}))


def test_a_report_is_decided_readably(run: Run) -> None:
    status, out, err = run("triage", "report.json", "--machine-file", "machine.json", "--at", AT)
    assert (status, err) == (0, "")
    for said in (
        "Fix in store",
        "Rinse filter",
        "Dirty filter",
        "Unplug the machine first",
        "350.00 USD",
    ):
        assert said in out


def test_json_is_the_decision_alone(run: Run) -> None:
    status, out, err = run("triage", "report.json", "--machine-file", "machine.json", "--at", AT, "--json")
    decision = json.loads(out)
    assert (status, err) == (0, "")
    assert decision["outcome"] == "fix_in_store"
    assert decision["facts"]["filter_days"] == {"value": 41, "from": "record"}
    assert decision["ticket"] is None


def test_without_a_record_the_report_is_decided_and_that_is_said(run: Run) -> None:
    status, out, err = run("triage", "report.json", "--at", AT, "--json")
    assert status == 0
    assert "filter_days" not in json.loads(out)["facts"]
    assert "LH20-1" in err


def test_no_database_is_made_by_triage(run: Run, here: Path) -> None:
    run("triage", "report.json", "--at", AT)
    assert not list(here.glob("*.db*"))


def test_another_rulebook_can_be_named(run: Run, here: Path) -> None:
    (here / "rules").rename(here / "other")
    assert run("triage", "report.json", "--at", AT, "--rulebook", "other")[0] == 0


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("{", "report.json:1:2: this is not JSON"),
        ('{"symptoms": [NaN]}', "NaN is not a number"),
        ('{"symptoms": [], "symptoms": []}', '"symptoms" stands twice'),
        ("[]", "report.json"),
        ('{"symptoms": []}', "report.json: /symptoms: a report names at least one symptom"),
        ('{"symptoms": ["not_frezing"]}', 'did you mean "not_freezing"'),
        ('{"symptoms": ["leaking"], "answers": {"fill_level": 900}}', "/answers/fill_level"),
        ('{"symptoms": ["leaking"], "answers": {"fill_level": 1e999999}}', "report.json"),
        ("[" * 100_000, "nested too deeply"),
        ('"' + "x" * 300_000 + '"', "larger than 256 KiB"),
    ],
)
def test_a_wrong_report_is_named_with_its_fix(run: Run, here: Path, content: str, says: str) -> None:
    (here / "report.json").write_text(content)
    status, out, err = run("triage", "report.json", "--at", AT)
    assert (status, out) == (2, "")
    assert says in err


def test_a_report_that_is_not_text_is_refused(run: Run, here: Path) -> None:
    (here / "report.json").write_bytes(b"\xff\xfe\x00")
    assert run("triage", "report.json")[0] == 2


@pytest.mark.parametrize(
    ("members", "says"),
    [
        ({"serial": "LH20-9"}, 'about "LH20-1"'),
        ({"shipped_on": "soon"}, "machine.json: /shipped_on"),
        ({"price": "10.00 EUR"}, "machine.json: /price"),
        ({"shipped_on": "2026-03-03", "commissioned_on": None}, "report.json: /reported_at"),
    ],
)
def test_a_wrong_machine_file_is_named_with_its_fix(
    run: Run, here: Path, members: dict[str, Any], says: str
) -> None:
    change(here / "machine.json", **members)
    status, out, err = run("triage", "report.json", "--machine-file", "machine.json", "--at", AT)
    assert (status, out) == (2, "")
    assert says in err


@pytest.mark.parametrize("at", ["noon", "2026-03-02", "2026-03-02T12:00:00"])
def test_a_time_has_its_offset(run: Run, at: str) -> None:
    status, _, err = run("triage", "report.json", "--at", at)
    assert status == 2
    assert "2026-01-31T09:30:00-05:00" in err


@pytest.mark.parametrize(
    "arguments", [["triage"], ["triage", "none.json"], ["nonsense"], ["triage", "--nonsense"]]
)
def test_wrong_arguments_are_wrong_input(run: Run, arguments: list[str]) -> None:
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert err


def test_a_broken_rulebook_is_named_with_file_line_and_column(run: Run, here: Path) -> None:
    (here / "rules/facts/fill_level.yml").write_text(
        "id: fill_level\ntitle: Fill\ntype: nubmer\nasked_of: clerk\n"
    )
    for arguments in (["triage", "report.json"], ["rulebook", "check"], ["load", "records"]):
        status, out, err = run(*arguments)
        assert (status, out) == (2, "")
        assert "facts/fill_level.yml:3:7: " in err


def test_a_missing_rulebook_is_wrong_input(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BARRELWISE_RULEBOOK", "nowhere")
    status, _, err = run("rulebook", "check")
    assert status == 2
    assert "nowhere" in err


def test_a_good_rulebook_passes_its_check(run: Run) -> None:
    status, out, err = run("rulebook", "check")
    assert (status, err) == (0, "")
    assert "2 symptoms, 5 causes" in out
    status, out, _ = run("rulebook", "check", "rules", "--json")
    assert status == 0
    assert json.loads(out)["ok"] is True


@pytest.mark.parametrize("command", ["check", "cases"])
def test_a_failing_case_is_a_no(run: Run, here: Path, command: str) -> None:
    change(here / "rules/evidence/filter-overdue.yml", when={"filter_neglected": False})
    status, out, err = run("rulebook", command, "--json")
    assert status == 1
    assert "evidence/filter-overdue.yml: filter-overdue: case 1 should fire" in err
    assert json.loads(out)["failures"]


def test_a_whole_report_that_comes_out_otherwise_is_a_no(run: Run, here: Path) -> None:
    change(here / "rules/cases/overdue-filter.yml", expect={"outcome": "swap"})
    status, out, err = run("rulebook", "cases")
    assert (status, out) == (1, "14 cases of rules, 0 of words, 1 whole reports, 1 failure\n")
    assert err == (
        "cases/overdue-filter.yml:1: overdue-filter: the outcome is fix_in_store, not swap; "
        "if that is meant, change the case's `expect`\n"
    )


def test_an_unreadable_rulebook_is_json_too_when_asked(run: Run, here: Path) -> None:
    (here / "rules/rates.yml").write_text("default: [\n")
    status, out, _ = run("rulebook", "check", "--json")
    assert status == 2
    (problem,) = json.loads(out)["problems"]
    assert (problem["file"], problem["line"]) == ("rates.yml", 2)


def test_schemas_are_printed_or_written(run: Run, here: Path) -> None:
    status, out, _ = run("rulebook", "schema")
    assert status == 0
    schemas = json.loads(out)
    assert schemas["facts"]["properties"]["type"]
    assert run("rulebook", "schema", "--out", "schemas")[0] == 0
    written = {path.name.removesuffix(".schema.json") for path in (here / "schemas").iterdir()}
    assert written == {name.removesuffix(".yml") for name in schemas}


def test_records_are_loaded_once(run: Run) -> None:
    status, out, err = run("load", "records")
    assert status == 0
    assert out.splitlines() == [
        f"{kind:<12}1 new, 0 changed, 0 same, 0 rejected" for kind in ("sites", "contractors", "machines")
    ]
    assert "machines" in err
    assert json.loads(run("load", "records", "--json")[1])["counts"]["machines"]["same"] == 1


def test_wrong_records_are_named_with_their_place(run: Run, here: Path) -> None:
    (here / "records/machines.csv").write_text(MACHINES.replace("fogline", "foglime"))
    status, out, err = run("load", "records")
    assert (status, out) == (2, "")
    assert "machines.csv:2:34: contractor: no contractor" in err


def test_a_wrong_database_url_is_wrong_input(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BARRELWISE_DATABASE", "nodb://x")
    status, _, err = run("load", "records")
    assert status == 2
    assert "sqlite:///" in err


def test_a_token_is_shown_once_listed_and_revoked(run: Run) -> None:
    run("load", "records")
    status, token, err = run("token", "add", "van-3", "--role", "technician", "--contractor", "fogline")
    assert status == 0
    assert token.startswith("bw_")
    assert "shown once" in err
    with opened_service() as service:
        caller = requests.caller_for(service, token.strip())
        assert caller is not None
        assert (caller.role, caller.contractor) == ("technician", "fogline")
    status, listed, _ = run("token", "list")
    assert "van-3" in listed
    assert token.strip() not in listed
    assert run("token", "revoke", "van-3")[0] == 0
    (record,) = json.loads(run("token", "list", "--json")[1])
    assert record["revoked_at"] is not None


@pytest.mark.parametrize(
    "arguments",
    [
        ["add", "x", "--role", "king"],
        ["add", "x", "--role", "technician"],
        ["add", "x", "--role", "technician", "--contractor", "nobody"],
        ["add", "x"],
        ["revoke", "nobody"],
    ],
)
def test_a_wrong_token_command_is_wrong_input(run: Run, arguments: list[str]) -> None:
    status, out, err = run("token", *arguments)
    assert (status, out) == (2, "")
    assert err


def test_a_ticket_is_explained_number_by_number(run: Run) -> None:
    run("load", "records")
    with opened_service() as service:
        ticket = tickets.open_ticket(service, REPORT, AGENT)
    status, out, err = run("explain", ticket.id.lower())
    assert (status, err) == (0, "")
    for said in ("identical", "base share", "fill_level", "caller", "Rules that fired"):
        assert said in out
    status, out, _ = run("explain", ticket.id, "--json")
    explained = json.loads(out)
    assert (status, explained["identical"], explained["differs"]) == (0, True, [])
    assert explained["recorded"]["outcome"] == explained["again"]["outcome"] == ticket.outcome


def test_a_decision_that_comes_out_otherwise_is_a_no(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run("load", "records")
    with opened_service() as service:
        ticket = tickets.open_ticket(service, REPORT, AGENT)
    files = rulebook_files()
    files["rates.yml"]["default"]["trip"] = 999  # type: ignore[index]
    monkeypatch.setattr("triage.what_if.redecide.rulebook_from_data", lambda *_: rulebook_from_data(files))
    status, out, _ = run("explain", ticket.id)
    assert status == 1
    assert "NOT" in out
    assert "/expected_cost/dispatch_now" in out


def test_an_unknown_ticket_is_wrong_input(run: Run) -> None:
    status, _, err = run("explain", "T-NEVER1")
    assert status == 2
    assert "T-NEVER1" in err


def test_a_fault_of_the_program_is_no_traceback(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("triage.cli.commands.triage.decide_inputs", lambda *_: 1 / 0)
    status, out, err = run("triage", "report.json", "--at", AT)
    assert (status, out) == (70, "")
    assert "Internal error, not your input: ZeroDivisionError" in err


def served(run: Run, monkeypatch: pytest.MonkeyPatch, *arguments: str) -> tuple[list[Any], str]:
    """What `serve` asks the server to do, and what it says."""
    calls: list[Any] = []

    def run_server(opened: object, host: str, port: int, *more: Any) -> None:
        calls.append((host, port))
        more[-1]()  # it listens

    monkeypatch.setattr("api.serve.run", run_server)
    status, out, err = run("serve", *arguments)
    assert (status, out) == (0, "")
    return calls, err


def test_without_a_token_serve_stays_on_loopback_and_says_so(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls, err = served(run, monkeypatch, "--host", "0.0.0.0", "--port", "9001")
    assert calls == [("127.0.0.1", 9001)]
    assert "no token yet, so it listens on 127.0.0.1 only, not on 0.0.0.0" in err


def test_with_a_token_serve_listens_where_it_is_told(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run("token", "add", "desk", "--role", "agent")
    monkeypatch.setenv("BARRELWISE_HOST", "0.0.0.0")
    calls, err = served(run, monkeypatch)
    assert calls == [("0.0.0.0", 8000)]
    assert "http://0.0.0.0:8000" in err


def test_an_address_that_is_taken_is_wrong_input(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def taken(*_: object) -> None:
        raise OSError(98, "Address already in use")

    monkeypatch.setattr("api.serve.run", taken)
    status, _, err = run("serve")
    assert status == 2
    assert "cannot listen on 127.0.0.1 port 8000: Address already in use" in err


@pytest.mark.parametrize(
    ("database", "arguments", "wanted"),
    [
        ("sqlite:///barrelwise.db", ("--workers", "3"), 3),
        ("sqlite:///barrelwise.db", (), 2),
        ("sqlite://", ("--workers", "3"), 1),
    ],
)
def test_several_processes_serve_a_database_that_they_can_share(
    run: Run, monkeypatch: pytest.MonkeyPatch, database: str, arguments: tuple[str, ...], wanted: int
) -> None:
    monkeypatch.setenv("BARRELWISE_DATABASE", database)
    monkeypatch.setenv("BARRELWISE_WORKERS", "2")
    asked: list[int] = []
    monkeypatch.setattr("api.serve.run", lambda *asked_for: asked.append(asked_for[4]))
    status, _, _ = run("serve", *arguments)
    assert (status, asked) == (0, [wanted])


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("BARRELWISE_PORT", "0"),
        ("BARRELWISE_PORT", "x"),
        ("BARRELWISE_ENGINE", "steam"),
        ("BARRELWISE_WORKERS", "0"),
        ("BARRELWISE_WORKERS", "65"),
        ("BARRELWISE_WORKERS", "two"),
    ],
)
def test_a_wrong_setting_is_named(name: str, value: str) -> None:
    with pytest.raises(InputError, match=name):
        read_settings({name: value})


def test_every_setting_has_its_default(here: Path) -> None:
    settings = read_settings({})
    assert settings.database == "sqlite:///barrelwise.db"
    assert (settings.engine, settings.host, settings.port) == ("checked", "127.0.0.1", 8000)
    assert 1 <= settings.workers <= 4
    assert settings.rulebook == Path("rules")


def test_away_from_a_rulebook_the_one_beside_the_program_serves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert default_rulebook() == Path(command_line.__file__).resolve().parents[2] / "rules"


def test_the_files_kept_with_a_rulebook_make_the_same_one(here: Path) -> None:
    (here / "rules/README.md").write_text("Not a rule.")
    rulebook, files = read_with_files(here / "rules")
    assert rulebook_from_data(files).version == rulebook.version


def test_it_runs_as_a_module_in_a_process_of_its_own(here: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(Path(command_line.__file__).parents[2])}
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "triage", "triage", "report.json", "--at", AT, "--json"],
        cwd=here,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["outcome"] == "fix_in_store"


def every_command(group: click.Group, *path: str) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from every_command(command, *path, name)
        else:
            yield (*path, name), command


def test_every_command_answers_and_refuses_as_json(run: Run) -> None:
    found = dict(every_command(command_line.barrelwise))
    assert len(found) > 30
    options = {path: [name for each in one.params for name in each.opts] for path, one in found.items()}
    without = [" ".join(path) for path, names in options.items() if "--json" not in names]
    assert without == ["serve"], "which logs JSON and answers nothing"
    for path in found:
        status, out, err = run(*path, "--no-such-option", "--json")
        assert status == 2
        assert "no-such-option" in json.dumps(json.loads(out or err))
