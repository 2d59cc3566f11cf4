"""Idempotency keys are dropped by their age."""

from alembic import op

revision = "0030"
down_revision = "0029"


def upgrade() -> None:
    op.create_index("ix_idempotency_keys_at", "idempotency_keys", ["at"])


def downgrade() -> None:
    op.drop_index("ix_idempotency_keys_at", "idempotency_keys")
