"""Who has a ticket open at the desk, for every process that serves it."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    op.create_table(
        "desk_presence",
        sa.Column("ticket", sa.String(length=32), nullable=False),
        sa.Column("who", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("ticket", "who", name="pk_desk_presence"),
    )
    op.create_index("ix_desk_presence_at", "desk_presence", ["at"], unique=False)
