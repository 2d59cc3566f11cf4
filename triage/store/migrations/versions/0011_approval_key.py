"""Names the answer to an estimate `approval` in what a ticket keeps of its repair.

The key stands in no text that was said: inside a JSON string its quotes would be escaped. Answers kept under
an idempotency key stay as they were given.
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"

TICKETS = sa.table("tickets", sa.column("repair"))


def upgrade() -> None:
    _replace('"word":', '"approval":')


def downgrade() -> None:
    _replace('"approval":', '"word":')


def _replace(old: str, new: str) -> None:
    repair = TICKETS.c.repair
    op.execute(TICKETS.update().where(repair.contains(old)).values(repair=sa.func.replace(repair, old, new)))
