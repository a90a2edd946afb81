"""People who sign in by name and password or work by badge, their sessions, the tablets that are paired; boxes on hold."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

COUNTERS = ("person",)
TABLES = ("visit", "pairing", "badge", "guess", "person")


def upgrade() -> None:
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=8), nullable=False),
        sa.Column("password", sa.String(length=200), nullable=True),
        sa.Column("language", sa.String(length=8), nullable=True),
        sa.Column("units", sa.String(length=2), nullable=True),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("withdrawn_at", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("role IN ('station', 'packer', 'foreman', 'office', 'admin')", name="ck_person_role_known"),
        sa.PrimaryKeyConstraint("id", name="pk_person"),
        sa.UniqueConstraint("name", name="uq_person_name"),
    )
    op.create_table(
        "badge",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("withdrawn_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_badge_person_id"),
        sa.PrimaryKeyConstraint("id", name="pk_badge"),
    )
    op.create_index("ix_badge_person_id", "badge", ["person_id"], unique=False)
    op.create_table(
        "pairing",
        sa.Column("hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name="fk_pairing_station_id"),
        sa.PrimaryKeyConstraint("hash", name="pk_pairing"),
    )
    op.create_table(
        "visit",
        sa.Column("hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("token_id", sa.Integer(), nullable=True),
        sa.Column("worker_id", sa.Integer(), nullable=True),
        sa.Column("worker_at", sa.BigInteger(), nullable=True),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("seen_at", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_visit_person_id"),
        sa.ForeignKeyConstraint(["token_id"], ["token.id"], name="fk_visit_token_id"),
        sa.ForeignKeyConstraint(["worker_id"], ["person.id"], name="fk_visit_worker_id"),
        sa.PrimaryKeyConstraint("hash", name="pk_visit"),
    )
    op.create_index("ix_visit_seen_at", "visit", ["seen_at"], unique=False)
    op.create_table(
        "guess",
        sa.Column("about", sa.String(length=120), nullable=False),
        sa.Column("failed", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("about", name="pk_guess"),
    )
    op.add_column("box", sa.Column("held_at", sa.BigInteger(), nullable=True))
    rows = ", ".join(f"('{name}', 0)" for name in COUNTERS)
    op.execute(f"INSERT INTO counter (name, last) VALUES {rows}")


def downgrade() -> None:
    op.drop_column("box", "held_at")
    for table in TABLES:
        op.drop_table(table)
    names = ", ".join(f"'{name}'" for name in COUNTERS)
    op.execute(f"DELETE FROM counter WHERE name IN ({names})")
