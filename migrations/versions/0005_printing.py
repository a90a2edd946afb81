"""Printers of the shop, what was printed where and by whom, and which labels were in it."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

COUNTERS = ("printer", "print")
TABLES = ("printed", "print", "printer")
STATES = "'waiting', 'sending', 'sent', 'printed', 'file', 'failed', 'cancelled', 'doubtful'"


def upgrade() -> None:
    op.create_table(
        "printer",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("address", sa.String(length=200), nullable=False),
        sa.Column("certificate", sa.LargeBinary(length=32), nullable=True),
        sa.Column("dpi", sa.Integer(), nullable=False),
        sa.Column("width_mm", sa.Float(), nullable=False),
        sa.Column("height_mm", sa.Float(), nullable=False),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("withdrawn_at", sa.BigInteger(), nullable=True),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("warning", sa.String(length=12), nullable=True),
        sa.Column("asked_at", sa.BigInteger(), nullable=True),
        sa.Column("heard_at", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_printer"),
    )
    op.create_table(
        "print",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("request_id", sa.String(length=36), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("choice", sa.Text(), nullable=False),
        sa.Column("printer_id", sa.Integer(), nullable=True),
        sa.Column("dpi", sa.Integer(), nullable=False),
        sa.Column("copies", sa.Integer(), nullable=False),
        sa.Column("labels", sa.Integer(), nullable=False),
        sa.Column("again", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(length=8), nullable=True),
        sa.Column("note", sa.String(length=200), nullable=False),
        sa.Column("state", sa.String(length=9), nullable=False),
        sa.Column("since", sa.BigInteger(), nullable=False),
        sa.Column("cause", sa.String(length=12), nullable=True),
        sa.Column("detail", sa.String(length=200), nullable=False),
        sa.Column("printer_job", sa.Integer(), nullable=True),
        sa.CheckConstraint(f"state IN ({STATES})", name="ck_print_state_known"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_print_job_id"),
        sa.ForeignKeyConstraint(["printer_id"], ["printer.id"], name="fk_print_printer_id"),
        sa.PrimaryKeyConstraint("id", name="pk_print"),
        sa.UniqueConstraint("request_id", name="uq_print_request_id"),
    )
    op.create_table(
        "printed",
        sa.Column("print_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("code", sa.String(length=11), nullable=False),
        sa.ForeignKeyConstraint(["print_id"], ["print.id"], name="fk_printed_print_id"),
        sa.PrimaryKeyConstraint("print_id", "position", name="pk_printed"),
    )
    op.create_index("ix_printed_code_print_id", "printed", ["code", "print_id"], unique=False)
    rows = ", ".join(f"('{name}', 0)" for name in COUNTERS)
    op.execute(f"INSERT INTO counter (name, last) VALUES {rows}")


def downgrade() -> None:
    for table in TABLES:
        op.drop_table(table)
    names = ", ".join(f"'{name}'" for name in COUNTERS)
    op.execute(f"DELETE FROM counter WHERE name IN ({names})")
