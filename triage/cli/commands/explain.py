"""`barrelwise explain TICKET`: the decision again, with every number's derivation."""

import click

from triage.cli.shown.opened import opened_service
from triage.cli.shown.output import console, print_json
from triage.cli.shown.show import show_decision, show_derivation
from triage.records.decision_json import as_json
from triage.service.what_if import explain as explain_ticket


@click.command()
@click.argument("ticket")
@click.option("--json", "as_data", is_flag=True, help="Print it as JSON.")
def explain(ticket: str, as_data: bool) -> int:
    """Redecide TICKET's last decision with its own rulebook and show where each number comes from.

    Exit status 1 when it does not come out the same.
    """
    with opened_service() as service:
        found = explain_ticket(service, ticket)
    if as_data:
        print_json(
            {
                "ticket": found.ticket.id,
                "version": found.ticket.version,
                "identical": found.identical,
                "differs": list(found.differs),
                "reworded": list(found.reworded),
                "recorded": found.recorded,
                "again": as_json(found.again, ticket=found.ticket.id),
            }
        )
        return 0 if found.identical else 1
    show_decision(found.again, found.rulebook)
    show_derivation(found.again, found.rulebook)
    out = console()
    if found.identical:
        out.print(
            f"\nRedecided with {found.rulebook.version}: identical to what ticket {found.ticket.id} says."
        )
        if found.reworded:
            out.print(f"Only its wording is newer, at {', '.join(found.reworded)}.", markup=False)
        return 0
    out.print(f"\nThis is NOT what ticket {found.ticket.id} says; it differs at:")
    for pointer in found.differs:
        out.print(f"  {pointer}", markup=False)
    return 1
