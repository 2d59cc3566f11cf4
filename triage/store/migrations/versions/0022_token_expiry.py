"""When a token ends, and when it was last used."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0017"


def upgrade() -> None:
    for name in ("expires_at", "used_at"):
        op.add_column("tokens", sa.Column(name, sa.DateTime(timezone=True), nullable=True))


def downgrade() -> None:
    # Nothing before looks at the end.
    op.execute(
        "UPDATE tokens SET revoked_at = created_at WHERE expires_at IS NOT NULL AND revoked_at IS NULL"
    )
    for name in ("expires_at", "used_at"):
        op.drop_column("tokens", name)
