"""The SSCC on a box, and how far each series of them was given."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("box", sa.Column("sscc", sa.String(length=18), nullable=True))
    op.create_index("uq_box_sscc", "box", ["sscc"], unique=True)
    op.create_table(
        "sscc_series",
        sa.Column("series", sa.String(length=13), nullable=False),
        sa.Column("last", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("series", name="pk_sscc_series"),
    )


def downgrade() -> None:
    op.drop_table("sscc_series")
    op.drop_index("uq_box_sscc", table_name="box")
    op.drop_column("box", "sscc")
