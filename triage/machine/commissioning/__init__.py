"""Commissioning: what an installer writes down, what of it passes, and what it tells later.

`checklist` reads the data, `judging` judges it line by line, `record` gives the facts a machine keeps of it,
`on_record` does all three for the last commissioning in a machine's care log. Nothing here knows a database,
a file or the command line.
"""

from triage.machine.commissioning.checklist import Checklist, read_checklist
from triage.machine.commissioning.judging import findings
from triage.machine.commissioning.placement import Finding, Standard
from triage.machine.commissioning.recorded import facts

__all__ = ["Checklist", "Finding", "Standard", "facts", "findings", "read_checklist"]
