"""Who comes instead of the machine's contractor, as a column for lists; it stands in the last decision."""

import sqlalchemy as sa
from alembic import op

from triage.values.json_text import from_json

revision = "0025"
down_revision = "0022"

TICKETS = sa.table("tickets", *map(sa.column, ("id", "decided_seq", "outcome", "sent_by")))
EVENTS = sa.table("events", *map(sa.column, ("ticket", "seq", "payload")))


def upgrade() -> None:
    op.add_column("tickets", sa.Column("sent_by", sa.String(16), nullable=False, server_default=""))
    bind = op.get_bind()
    of_ticket = sa.and_(EVENTS.c.ticket == TICKETS.c.id, EVENTS.c.seq == TICKETS.c.decided_seq)
    decided = sa.select(TICKETS.c.id, EVENTS.c.payload).join(EVENTS, of_ticket)
    # Only where somebody may have been sent elsewhere the decision is read.
    for ticket, payload in bind.execute(decided.where(EVENTS.c.payload.contains('"by"'))).all():
        by = (from_json(payload)["decision"].get("visit") or {}).get("by", "")
        if by:
            bind.execute(TICKETS.update().where(TICKETS.c.id == ticket).values(sent_by=by))


def downgrade() -> None:
    op.drop_column("tickets", "sent_by")
