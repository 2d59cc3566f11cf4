"""Photos of care may lie in the folder of photos, as those of tickets do."""

import sqlalchemy as sa
from alembic import op

revision = "0036"
down_revision = "0035"


def upgrade() -> None:
    with op.batch_alter_table("care_photos") as photos:
        photos.alter_column("image", existing_type=sa.LargeBinary(), nullable=True)


def downgrade() -> None:
    op.execute("DELETE FROM care_photos WHERE image IS NULL")
    with op.batch_alter_table("care_photos") as photos:
        photos.alter_column("image", existing_type=sa.LargeBinary(), nullable=False)
