"""What money hangs on, on the ticket; and the log by kind, for claims and spend."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

NOTHING_YET = '{"authorisation":null,"authorised":0,"estimate":null,"revisions":0,"word":null}'


def upgrade() -> None:
    op.add_column("tickets", sa.Column("repair", sa.Text(), nullable=False, server_default=NOTHING_YET))
    op.create_index("ix_events_kind", "events", ["kind"], unique=False)
