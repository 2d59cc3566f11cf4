"""What may be spent on a machine as a short text, for a phone in a parking lot."""

from collections.abc import Mapping
from typing import Any

Data = Mapping[str, Any]


def limits_text(limits: Data) -> str:
    """The text of what `machine_limits.limits_of` gives; every line stands by itself."""
    limit, swap = limits["limit"], limits["swap"]
    currency = limit["currency"]
    hours = "after hours" if limit["after_hours"] else "by day"
    job = f", {limit['component']}" if limit["component"] else ""
    lines = [
        f"{limits['machine']} {limits['at'][:16].replace('T', ' ')}",
        f"{limits['contractor'] or 'no contractor'}, {hours}{job}",
        f"Up to {limit['nte']} {currency} a ticket",
        f"Spent {limit['spent_on_ticket']} on the ticket, {limit['spent_12_months']} in 12 months",
        *_authorized(limit),
        f"Left {limit['headroom']} {currency}",
        f"Above: {limit['above']}",
    ]
    lines[1:1] = [f"DANGER: {one['caution']} (ticket {one['ticket']})" for one in limits.get("dangers", ())]
    if swap["spent_above"] is not None:
        lines.append(f"Swap may come from {swap['spent_above']} {currency} in 12 months")
    lines += ["", "In warranty:", *_warranty(limits["warranty"])]
    lines += _once("Puts warranty at risk:", limits["warranty"], "at_risk")
    lines += _once("A claim needs:", limits["warranty"], "claim_needs")
    lines += limit["notes"]
    return "\n".join(lines) + "\n"


def _authorized(limit: Data) -> list[str]:
    lines = []
    if limit["authorization"] is not None:
        number, amount = limit["authorization"]["number"], limit["authorization"]["amount"]
        lines.append(f"Authorized {amount} by {number}, to {limit['authorization']['expires_at'][:16]}")
    if limit["promised"] != "0.00":
        lines.append(f"Promised {limit['promised']} to the machine's other tickets")
    return lines


def _warranty(rows: list[Data]) -> list[str]:
    by_dates: dict[tuple[str, str], list[str]] = {}
    for row in rows:
        if row["parts"]["covered"] or row["labor"]["covered"]:
            dates = (_until(row["parts"]), _until(row["labor"]))
            by_dates.setdefault(dates, []).append(row["component"])
    lines = [
        f"{', '.join(names)}: parts {parts}, labor {labor}" for (parts, labor), names in by_dates.items()
    ]
    return lines or ["nothing"]


def _until(side: Data) -> str:
    return f"to {side['until']}" if side["covered"] else "no"


def _once(title: str, rows: list[Data], key: str) -> list[str]:
    covered = (row for row in rows if row["parts"]["covered"] or row["labor"]["covered"])
    said = dict.fromkeys(text for row in covered for text in row[key])
    return ["", title, *(f"- {text}" for text in said)] if said else []
