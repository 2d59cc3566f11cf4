"""A machine's record and history as JSON data of a machine file: so a decision keeps its inputs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from triage.records.report import History, Machine
from triage.values.money import money_text


def machine_as_data(machine: Machine, history: History) -> dict[str, Any]:
    """What `report_input.read_machine` reads back to the same values; numbers stay Decimal."""
    return {
        "serial": machine.serial,
        "model": machine.model,
        "shipped_on": machine.shipped_on.isoformat(),
        "commissioned_on": None if machine.commissioned_on is None else machine.commissioned_on.isoformat(),
        "site": None if machine.site is None else asdict(machine.site),
        "contractor": machine.contractor,
        "asset_tag": machine.asset_tag,
        "price": None if machine.price is None else money_text(machine.price),
        "facts": dict(machine.facts),
        "care": [
            {"kind": event.kind, "at": event.at.isoformat(), "by": event.by, "details": dict(event.details)}
            for event in history.care
        ],
        "repairs": [
            {
                "at": repair.at.isoformat(),
                "ticket": repair.ticket,
                "cause": repair.cause,
                "cost": money_text(repair.cost),
            }
            for repair in history.repairs
        ],
    }
