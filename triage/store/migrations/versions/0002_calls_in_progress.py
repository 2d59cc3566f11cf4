"""What a call in progress needs on the list: cautions read out, the call-back time, when the visit is due."""

import json
from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

INSTANT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.add_column("tickets", sa.Column("acknowledged", sa.Text(), nullable=False, server_default="[]"))
    op.add_column("tickets", sa.Column("parked_until", INSTANT, nullable=True))
    op.add_column("tickets", sa.Column("due_at", INSTANT, nullable=True))
    op.create_index("ix_tickets_parked_until", "tickets", ["parked_until"], unique=False)
    op.create_index("ix_tickets_state_due_at", "tickets", ["state", "due_at"], unique=False)
    op.create_index("ix_tickets_state_outcome", "tickets", ["state", "outcome"], unique=False)
    _fill_due()


def _fill_due() -> None:
    """From the decisions that are there already."""
    connection = op.get_bind()
    decided = connection.execute(
        sa.text(
            "SELECT tickets.id, events.payload FROM tickets "
            "JOIN events ON events.ticket = tickets.id AND events.seq = tickets.decided_seq"
        )
    ).all()
    tickets = sa.table("tickets", sa.column("id"), sa.column("due_at", INSTANT))
    for ticket, payload in decided:
        visit = json.loads(payload)["decision"].get("visit")
        if visit is not None:
            due = datetime.fromisoformat(visit["due"]).astimezone(UTC)
            if connection.dialect.name == "sqlite":
                due = due.replace(tzinfo=None)
            connection.execute(tickets.update().where(tickets.c.id == ticket).values(due_at=due))
