"""How well the last decision fitted, of closings from before that was kept; their days are summed anew.

Scored as closings are now. What a decision does not tell in a way that can be scored stays without.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import sqlalchemy as sa
from alembic import op

from triage.repairs.scores import decision_score
from triage.store.tables.column_types import unpack
from triage.values.json_text import from_json, to_json

revision = "0043"
down_revision = "0042"

AT_ONCE = 500
COLUMNS = "ticket", "seq", "at", "cause", "log_loss", "brier", "rules"
CLOSINGS = sa.table("closings", *map(sa.column, COLUMNS))
EVENTS = sa.table("events", *map(sa.column, ("ticket", "seq", "kind", "payload")))
LEFT_OUT = CLOSINGS.c.log_loss.is_(None), CLOSINGS.c.cause.is_not(None)


def upgrade() -> None:
    bind = op.get_bind()
    tickets = sa.select(CLOSINGS.c.ticket).where(*LEFT_OUT).distinct().order_by(CLOSINGS.c.ticket)
    ids = bind.execute(tickets).scalars().all()
    for start in range(0, len(ids), AT_ONCE):
        new = list(_scored(bind, ids[start : start + AT_ONCE]))
        if new:
            own = CLOSINGS.c.ticket == sa.bindparam("of"), CLOSINGS.c.seq == sa.bindparam("number")
            values: dict[str, Any] = {
                name: sa.bindparam(f"new_{name}") for name in ("log_loss", "brier", "rules")
            }
            bind.execute(sa.update(CLOSINGS).where(*own).values(**values), new)
    if ids:
        day = "CAST(at AT TIME ZONE 'UTC' AS date)" if bind.dialect.name == "postgresql" else "date(at)"
        op.execute(
            f"INSERT INTO marked_days (day, mark) SELECT DISTINCT {day}, 1 FROM closings "
            f"WHERE log_loss IS NOT NULL AND {day} NOT IN (SELECT day FROM marked_days)"
        )


def downgrade() -> None:
    """They may stay: what they are counted in knows them."""


def _scored(bind: sa.Connection, tickets: Sequence[str]) -> Iterator[dict[str, Any]]:
    decided = EVENTS.alias("decided")
    at_closing = sa.select(sa.func.max(decided.c.seq)).where(
        decided.c.ticket == CLOSINGS.c.ticket, decided.c.kind == "decided", decided.c.seq < CLOSINGS.c.seq
    )
    query = (
        sa.select(CLOSINGS.c.ticket, CLOSINGS.c.seq, CLOSINGS.c.cause, EVENTS.c.payload)
        .join(EVENTS, EVENTS.c.ticket == CLOSINGS.c.ticket)
        .where(EVENTS.c.seq == at_closing.scalar_subquery())
        .where(CLOSINGS.c.ticket.in_(tickets), *LEFT_OUT)
    )
    for row in bind.execute(query):
        score = decision_score(from_json(unpack(row.payload))["decision"], row.cause)
        if score is not None:
            yield {
                "of": row.ticket, "number": row.seq, "new_log_loss": score.log_loss,
                "new_brier": score.brier, "new_rules": to_json(score.rules),
            }  # fmt: skip
