"""On PostgreSQL no log is emptied by TRUNCATE, whoever tries; the triggers of a row do not see it."""

from alembic import op

revision = "0039"
down_revision = "0038"

LOGS = ("care_events", "publications", "rulebook_stages", "custody", "install_events")


def upgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        for table in LOGS:
            op.execute(
                f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION keep_log()"
            )


def downgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        for table in LOGS:
            op.execute(f"DROP TRIGGER {table}_no_truncate ON {table}")
