"""Designed cabinets, planned cartons and boards, reports from site, and the shop's own lists."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

COUNTERS = ("design", "board", "report")
TABLES = ("report", "sawing", "board", "laying", "marked", "cabinet", "design", "setting")


def upgrade() -> None:
    op.create_table(
        "setting",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_setting"),
    )
    op.create_table(
        "board",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("stock", sa.String(length=200), nullable=False),
        sa.Column("material", sa.String(length=200), nullable=False),
        sa.Column("length_mm", sa.Float(), nullable=False),
        sa.Column("width_mm", sa.Float(), nullable=False),
        sa.Column("thickness_mm", sa.Float(), nullable=False),
        sa.Column("yield_share", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_board_job_id"),
        sa.PrimaryKeyConstraint("id", name="pk_board"),
    )
    op.create_index("ix_board_job_id", "board", ["job_id"], unique=False)
    op.create_table(
        "design",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_design_job_id"),
        sa.PrimaryKeyConstraint("id", name="pk_design"),
    )
    op.create_index("ix_design_job_id", "design", ["job_id"], unique=False)
    op.create_table(
        "cabinet",
        sa.Column("job_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("design_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["design_id"], ["design.id"], name="fk_cabinet_design_id"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_cabinet_job_id"),
        sa.PrimaryKeyConstraint("job_id", "name", name="pk_cabinet"),
    )
    op.create_table(
        "laying",
        sa.Column("part_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("layer", sa.Integer(), nullable=False),
        sa.Column("x_mm", sa.Float(), nullable=False),
        sa.Column("y_mm", sa.Float(), nullable=False),
        sa.Column("z_mm", sa.Float(), nullable=False),
        sa.Column("turned", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name="fk_laying_part_id"),
        sa.PrimaryKeyConstraint("part_id", name="pk_laying"),
    )
    op.create_table(
        "marked",
        sa.Column("part_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("own", sa.String(length=80), nullable=False),
        sa.Column("front", sa.String(length=2), nullable=False),
        sa.Column("marks", sa.Text(), nullable=False),
        sa.Column("blank_length_mm", sa.Float(), nullable=False),
        sa.Column("blank_width_mm", sa.Float(), nullable=False),
        sa.Column("grain", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name="fk_marked_part_id"),
        sa.PrimaryKeyConstraint("part_id", name="pk_marked"),
    )
    op.create_table(
        "report",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("cabinet", sa.String(length=200), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.Column("item", sa.String(length=200), nullable=False),
        sa.Column("what", sa.String(length=8), nullable=False),
        sa.Column("told_by", sa.String(length=200), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("closed_at", sa.BigInteger(), nullable=True),
        sa.Column("closed_by", sa.String(length=80), nullable=True),
        sa.CheckConstraint("what IN ('missing', 'damaged')", name="ck_report_what_known"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_report_job_id"),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name="fk_report_part_id"),
        sa.PrimaryKeyConstraint("id", name="pk_report"),
    )
    op.create_index(
        "ix_report_open",
        "report",
        ["id"],
        unique=False,
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.create_table(
        "sawing",
        sa.Column("part_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("x_mm", sa.Float(), nullable=False),
        sa.Column("y_mm", sa.Float(), nullable=False),
        sa.Column("turned", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["board_id"], ["board.id"], name="fk_sawing_board_id"),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name="fk_sawing_part_id"),
        sa.PrimaryKeyConstraint("part_id", name="pk_sawing"),
    )
    op.create_index("ix_sawing_board_id", "sawing", ["board_id"], unique=False)
    op.add_column("box", sa.Column("carton", sa.String(length=200), nullable=True))
    op.add_column("box", sa.Column("empty_kg", sa.Float(), nullable=True))
    op.add_column("box", sa.Column("bag_above", sa.Integer(), nullable=True))

    rows = ", ".join(f"('{name}', 0)" for name in COUNTERS)
    op.execute(f"INSERT INTO counter (name, last) VALUES {rows}")


def downgrade() -> None:
    for name in ("bag_above", "empty_kg", "carton"):
        op.drop_column("box", name)
    for table in TABLES:
        op.drop_table(table)
    names = ", ".join(f"'{name}'" for name in COUNTERS)
    op.execute(f"DELETE FROM counter WHERE name IN ({names})")
