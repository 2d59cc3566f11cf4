"""Who can be sent and when: contractors' regions, skills, certificates and capacity; stores' access hours."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    for column in ("access_from", "access_until"):
        op.add_column("sites", sa.Column(column, sa.String(5), nullable=False, server_default=""))
    for column in ("serves", "skills"):
        op.add_column("contractors", sa.Column(column, sa.Text(), nullable=False, server_default="[]"))
    op.add_column("contractors", sa.Column("certificate", sa.Text(), nullable=False, server_default=""))
    op.add_column("contractors", sa.Column("visits_a_day", sa.Integer(), nullable=True))
    op.create_index("ix_events_kind_at", "events", ["kind", "at"], unique=False)
