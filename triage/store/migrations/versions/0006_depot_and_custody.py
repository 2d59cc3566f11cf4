"""Depot units that wait to be sent, and the chain of custody by serial."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    op.create_table(
        "depot_units",
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("model", sa.String(length=64), nullable=False),
        sa.Column("volts", sa.Integer(), nullable=False),
        sa.Column("amps", sa.Integer(), nullable=False),
        sa.Column("seal_style", sa.String(length=64), nullable=False),
        sa.Column("ready_since", sa.Date(), nullable=False),
        sa.Column("depot", sa.Text(), nullable=False),
        sa.Column("shipped_on", sa.Date(), nullable=False),
        sa.Column("commissioned_on", sa.Date(), nullable=True),
        sa.Column("price", sa.String(length=48), nullable=True),
        sa.PrimaryKeyConstraint("serial", name="pk_depot_units"),
    )
    op.create_table(
        "custody",
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("step", sa.String(length=16), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("ticket", sa.String(length=32), nullable=True),
        sa.Column("other", sa.String(length=64), nullable=True),
        sa.Column("place", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["ticket"], ["tickets.id"], name="fk_custody_ticket"),
        sa.PrimaryKeyConstraint("serial", "seq", name="pk_custody"),
    )
    op.create_index("ix_custody_ticket", "custody", ["ticket"], unique=False)
    dialect = op.get_bind().dialect.name
    for change in ("UPDATE", "DELETE"):
        trigger = f"CREATE TRIGGER custody_no_{change.lower()} BEFORE {change} ON custody "
        if dialect == "sqlite":
            op.execute(trigger + "BEGIN SELECT RAISE(ABORT, 'custody is only added to'); END")
        elif dialect == "postgresql":
            op.execute(trigger + "FOR EACH STATEMENT EXECUTE FUNCTION keep_log()")
