"""One report decided from plain data, and its inputs as plain data: what every door does."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from triage.decide.pipeline import decide
from triage.inputs.report import check_dates, check_history, read_machine, read_report
from triage.logic.engine import Engine
from triage.records.danger import CALM, DangerState, state_from_data
from triage.records.decision import Decision
from triage.records.report import History, Machine, Report
from triage.rulebook.model import Rulebook
from triage.values.dataclass_json import as_data
from triage.values.errors import InputError, Problem
from triage.values.money import Money, money_text, parse_money


def machine_as_data(machine: Machine, history: History) -> dict[str, Any]:
    """What `report_input.read_machine` reads back to the same values; numbers stay Decimal."""
    care = [as_data(event) for event in history.care]
    return as_data(machine) | {"care": care, "repairs": [as_data(repair) for repair in history.repairs]}


Data = Mapping[str, Any]
FindMachine = Callable[[str], tuple[Machine, History] | None]


@dataclass(frozen=True, slots=True)
class Inputs:
    """Everything a decision depends on besides its rulebook."""

    report: Report
    report_data: Data
    machine: Machine | None
    history: History
    at: datetime
    state: DangerState = CALM


def read_inputs(
    data: object,
    rulebook: Rulebook,
    at: datetime,
    find_machine: FindMachine,
    machine_data: Data | None = None,
) -> Inputs:
    """Reads REPORT.json; a missing `reported_at` is `at`. A machine file, `machine_data`, beats the records.

    Raises InputError when the report is wrong, its machine is in no record, or its date is impossible.
    """
    if isinstance(data, Mapping) and data.get("reported_at") is None:
        data = {**data, "reported_at": at.isoformat()}
    report = read_report(data, rulebook)
    assert isinstance(data, Mapping)
    machine, history = None, History()
    if machine_data is not None:
        machine, history = read_machine(machine_data, rulebook)
        if report.machine not in (None, machine.serial):
            message = f'the report is about "{report.machine}", the machine record about "{machine.serial}"'
            raise InputError([Problem(message, "/machine")])
    elif report.machine is not None:
        found = find_machine(report.machine)
        if found is None:
            message = (
                f'no machine with the serial "{report.machine}" is in the records; check its rating plate'
            )
            raise InputError([Problem(message, "/machine")])
        machine, history = found
    check_dates(report, machine, at)
    if machine is not None and machine_data is not None:
        check_history(machine, history)
    return Inputs(report, data, machine, history, at)


def decide_inputs(rulebook: Rulebook, engine: Engine, inputs: Inputs, ask: bool = True) -> Decision:
    """Without `ask` the decision comes without questions, and a good deal faster."""
    return decide(
        rulebook, engine, inputs.report, inputs.machine, inputs.history, inputs.at, ask, inputs.state
    )


def with_spent(inputs: Inputs, spent: Money | None) -> Inputs:
    """The inputs, with what the ticket has cost already."""
    return replace(inputs, history=replace(inputs.history, spent_on_ticket=spent))


def inputs_as_data(inputs: Inputs) -> dict[str, Any]:
    """The inputs as JSON data, kept beside the decision."""
    spent = inputs.history.spent_on_ticket
    data: dict[str, Any] = {
        "report": inputs.report_data,
        "machine": None if inputs.machine is None else machine_as_data(inputs.machine, inputs.history),
        "spent_on_ticket": None if spent is None else money_text(spent),
        "at": inputs.at.isoformat(),
    }
    if inputs.history.promised is not None:
        data["promised"] = money_text(inputs.history.promised)
    state = inputs.state.as_data()
    return {**data, "dangers": state} if state else data


def inputs_from_data(data: Data, rulebook: Rulebook) -> Inputs:
    """The inputs again, as they were."""
    machine, history = None, History()
    if data["machine"] is not None:
        machine, history = read_machine(data["machine"], rulebook)

    def amount(name: str) -> Money | None:
        return None if data.get(name) is None else parse_money(data[name], rulebook.currency)

    history = replace(history, spent_on_ticket=amount("spent_on_ticket"), promised=amount("promised"))
    report = read_report(data["report"], rulebook)
    state = state_from_data(data.get("dangers", {}))
    return Inputs(report, data["report"], machine, history, datetime.fromisoformat(data["at"]), state)
