"""The room that a cabinet is for, and the drop where it is unloaded with its boxes."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

COLUMNS = (("part", "room"), ("part", "drop"), ("box", "drop"))


def upgrade() -> None:
    for table, name in COLUMNS:
        op.add_column(table, sa.Column(name, sa.String(200), nullable=True))


def downgrade() -> None:
    for table, name in reversed(COLUMNS):
        op.drop_column(table, name)
