"""Installations with their log and photos."""

import sqlalchemy as sa
from alembic import op

revision = "0034"
down_revision = "0033"
INSTANT = sa.DateTime(timezone=True)


def upgrade() -> None:
    op.create_table(
        "installs",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("site", sa.String(64), sa.ForeignKey("sites.id"), nullable=False),
        sa.Column("machine", sa.String(64), sa.ForeignKey("machines.serial"), nullable=True),
        sa.Column("contractor", sa.String(64), sa.ForeignKey("contractors.id"), nullable=True),
        sa.Column("due_at", INSTANT, nullable=True),
    )
    op.create_index("ix_installs_state_due_at_id", "installs", ["state", "due_at", "id"])
    for column in ("site", "machine", "contractor"):
        op.create_index(f"ix_installs_{column}", "installs", [column])
    op.create_table(
        "install_events",
        sa.Column("install", sa.String(32), sa.ForeignKey("installs.id"), primary_key=True),
        sa.Column("seq", sa.Integer(), autoincrement=False, primary_key=True),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
    )
    op.create_table(
        "install_photos",
        sa.Column("install", sa.String(32), sa.ForeignKey("installs.id"), primary_key=True),
        sa.Column("number", sa.Integer(), primary_key=True),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("image", sa.LargeBinary(), nullable=True),
        sa.UniqueConstraint("install", "digest"),
    )
    dialect = op.get_bind().dialect.name
    for change in ("UPDATE", "DELETE"):
        trigger = f"CREATE TRIGGER install_events_no_{change.lower()} BEFORE {change} ON install_events "
        if dialect == "sqlite":
            op.execute(trigger + "BEGIN SELECT RAISE(ABORT, 'the log is only added to'); END")
        elif dialect == "postgresql":
            op.execute(trigger + "FOR EACH STATEMENT EXECUTE FUNCTION keep_log()")


def downgrade() -> None:
    for table in ("install_photos", "install_events", "installs"):
        op.drop_table(table)
