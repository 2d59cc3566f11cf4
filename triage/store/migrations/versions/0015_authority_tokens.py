"""Tokens of people who speak as an authority of the rulebook."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    op.add_column("tokens", sa.Column("authority", sa.String(length=64), nullable=True))


def downgrade() -> None:
    # Nothing before knows the role.
    op.execute("UPDATE tokens SET revoked_at = created_at WHERE role = 'authority' AND revoked_at IS NULL")
    op.drop_column("tokens", "authority")
