"""Commissioning: what an installer writes down, what of it passes, and what it tells later.

`checklist` reads the data, `placement` and `set_up` judge it line by line; `recorded` gives the facts that a
machine keeps of it, and does all three for the last commissioning in a machine's care log. Nothing here knows
a database, a file or the command line.
"""

from triage.machine.commissioning.checklist import Checklist, read_checklist
from triage.machine.commissioning.placement import Finding, Standard
from triage.machine.commissioning.recorded import facts
from triage.machine.commissioning.set_up import findings

__all__ = ["Checklist", "Finding", "Standard", "facts", "findings", "read_checklist"]
