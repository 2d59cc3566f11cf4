"""What a candidate rulebook went through before it was published."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "rulebook_stages",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version", sa.String(80), nullable=False),
        sa.Column("stage", sa.String(16), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("details", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_rulebook_stages"),
        sa.ForeignKeyConstraint(["version"], ["rulebooks.version"], name="fk_rulebook_stages_version"),
    )
    op.create_index("ix_rulebook_stages_version", "rulebook_stages", ["version"], unique=False)
    _protect_log("rulebook_stages")


def _protect_log(table: str) -> None:
    """What is written there stays, as in the other logs."""
    dialect = op.get_bind().dialect.name
    for change in ("UPDATE", "DELETE"):
        name = f"{table}_no_{change.lower()}"
        if dialect == "sqlite":
            op.execute(
                f"CREATE TRIGGER {name} BEFORE {change} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is only added to'); END"
            )
        elif dialect == "postgresql":
            op.execute(
                f"CREATE TRIGGER {name} BEFORE {change} ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION keep_log()"
            )
