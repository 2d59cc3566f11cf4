"""Wrong tokens are counted over all processes."""

import sqlalchemy as sa
from alembic import op

from triage.store.tables.column_types import UTCDateTime

revision = "0038"
down_revision = "0037"


def upgrade() -> None:
    op.create_table(
        "wrong_tokens",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("address", sa.String(64), nullable=False),
        sa.Column("at", UTCDateTime(), nullable=False),
    )
    op.create_index("ix_wrong_tokens_address", "wrong_tokens", ["address", "at"])


def downgrade() -> None:
    op.drop_table("wrong_tokens")
