"""Replays that go on in a process of their own, and the pieces from which one that stopped goes on."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    op.create_table(
        "replay_runs",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("baseline", sa.String(length=80), nullable=False),
        sa.Column("candidate", sa.String(length=80), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=True),
        sa.Column("until", sa.DateTime(timezone=True), nullable=False),
        sa.Column("state", sa.String(length=8), nullable=False),
        sa.Column("attempt", sa.String(length=32), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("beat_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("of", sa.Integer(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("result", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "state IN ('waiting', 'running', 'done', 'failed', 'stopped')", name="ck_replay_runs_state"
        ),
        sa.ForeignKeyConstraint(["baseline"], ["rulebooks.version"], name="fk_replay_runs_baseline"),
        sa.ForeignKeyConstraint(["candidate"], ["rulebooks.version"], name="fk_replay_runs_candidate"),
        sa.PrimaryKeyConstraint("id", name="pk_replay_runs"),
    )
    op.create_index("ix_replay_runs_candidate", "replay_runs", ["candidate"], unique=False)
    op.create_index("ix_replay_runs_asked_at", "replay_runs", ["asked_at"], unique=False)
    op.create_table(
        "replay_pieces",
        sa.Column("run", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tally", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["run"], ["replay_runs.id"], name="fk_replay_pieces_run"),
        sa.PrimaryKeyConstraint("run", "number", name="pk_replay_pieces"),
    )
