"""The program's memory: SQLAlchemy models, migrations, and repositories that speak in the core's values.

The only place that imports SQLAlchemy. Models never leave this package: what comes out are the dataclasses of
`triage.report`, `triage.ticket` and `triage.caller`. No rule of the trade lives here.
"""

from triage.store.engine import Store, open_store
from triage.store.migrate import is_there
from triage.store.work import Work

__all__ = ["Store", "Work", "is_there", "open_store"]
