"""Who called, the number to call back on, and whether a check fixed it, as columns to search and count by.

Reports did not say who called before; what is solved stands in the last decision.
"""

import sqlalchemy as sa
from alembic import op

from triage.values.json_text import from_json

revision = "0017"
down_revision = "0019"

TICKETS = sa.table(
    "tickets",
    *map(sa.column, ("id", "decided_seq")),
    sa.column("report", sa.Text()),
    sa.column("solved", sa.Boolean()),
)
EVENTS = sa.table("events", *map(sa.column, ("ticket", "seq", "payload")))


def upgrade() -> None:
    for column in ("caller", "phone"):
        op.add_column("tickets", sa.Column(column, sa.Text(), nullable=False, server_default=""))
    op.add_column("tickets", sa.Column("solved", sa.Boolean(), nullable=False, server_default=sa.false()))
    bind = op.get_bind()
    decided = sa.select(TICKETS.c.id, EVENTS.c.payload).join(
        EVENTS, sa.and_(EVENTS.c.ticket == TICKETS.c.id, EVENTS.c.seq == TICKETS.c.decided_seq)
    )
    # Only where a check fixed something the decision is read.
    for ticket, payload in bind.execute(decided.where(TICKETS.c.report.contains('"cured"'))).all():
        if from_json(payload)["decision"].get("solved"):
            bind.execute(TICKETS.update().where(TICKETS.c.id == ticket).values(solved=True))


def downgrade() -> None:
    for column in ("solved", "phone", "caller"):
        op.drop_column("tickets", column)
