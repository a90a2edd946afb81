"""The first tables"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "counter",
        sa.Column("name", sa.String(length=16), nullable=False),
        sa.Column("last", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_counter"),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("customer", sa.String(length=200), nullable=False),
        sa.Column("due", sa.Date(), nullable=False),
        sa.Column("status", sa.String(length=10), nullable=False),
        sa.Column("status_at", sa.BigInteger(), nullable=False),
        sa.Column("taken_at", sa.BigInteger(), nullable=False),
        sa.Column("parts_total", sa.Integer(), nullable=False),
        sa.CheckConstraint("status IN ('open', 'held', 'shipped', 'cancelled')", name="ck_job_status_known"),
        sa.PrimaryKeyConstraint("id", name="pk_job"),
        sa.UniqueConstraint("code", name="uq_job_code"),
    )
    op.create_index("ix_job_status_due_id", "job", ["status", "due", "id"])

    op.create_table(
        "load",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("ship_on", sa.Date(), nullable=False),
        sa.Column("state", sa.String(length=8), nullable=False),
        sa.Column("shipped_at", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("state IN ('open', 'shipped')", name="ck_load_state_known"),
        sa.PrimaryKeyConstraint("id", name="pk_load"),
    )
    op.create_table(
        "log",
        sa.Column("seq", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("scan_id", sa.LargeBinary(length=16), nullable=False),
        sa.Column("action", sa.String(length=8), nullable=False),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("received_at", sa.BigInteger(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("code", sa.String(length=80), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("step", sa.String(length=8), nullable=True),
        sa.Column("infers", sa.Boolean(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("part_id", sa.Integer(), nullable=True),
        sa.Column("box_id", sa.Integer(), nullable=True),
        sa.Column("load_id", sa.Integer(), nullable=True),
        sa.Column("slot_id", sa.Integer(), nullable=True),
        sa.Column("next_step", sa.String(length=8), nullable=True),
        sa.Column("inferred", sa.Integer(), nullable=False),
        sa.Column("undoes", sa.BigInteger(), nullable=True),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("flag", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "action IN ('pass', 'undo', 'damaged', 'place', 'order', 'hold', 'resume', 'cancel', 'replace', 'repair', 'seal', 'move', 'plan', 'ship')",
            name="ck_log_action_known",
        ),
        sa.PrimaryKeyConstraint("seq", name="pk_log"),
    )
    op.create_index(
        "ix_log_box_id",
        "log",
        ["box_id"],
        sqlite_where=sa.text("part_id IS NULL AND box_id IS NOT NULL"),
        postgresql_where=sa.text("part_id IS NULL AND box_id IS NOT NULL"),
    )
    op.create_index(
        "ix_log_flagged",
        "log",
        ["seq"],
        sqlite_where=sa.text("flag IS NOT NULL"),
        postgresql_where=sa.text("flag IS NOT NULL"),
    )
    op.create_index(
        "ix_log_job_id",
        "log",
        ["job_id"],
        sqlite_where=sa.text("part_id IS NULL AND box_id IS NULL AND job_id IS NOT NULL"),
        postgresql_where=sa.text("part_id IS NULL AND box_id IS NULL AND job_id IS NOT NULL"),
    )
    op.create_index(
        "ix_log_part_id",
        "log",
        ["part_id"],
        sqlite_where=sa.text("part_id IS NOT NULL"),
        postgresql_where=sa.text("part_id IS NOT NULL"),
    )
    op.create_index(
        "ix_log_station_id_at",
        "log",
        ["station_id", "at"],
        sqlite_where=sa.text("station_id IS NOT NULL"),
        postgresql_where=sa.text("station_id IS NOT NULL"),
    )
    op.create_index(
        "ix_log_undoes",
        "log",
        ["undoes"],
        unique=True,
        sqlite_where=sa.text("undoes IS NOT NULL"),
        postgresql_where=sa.text("undoes IS NOT NULL"),
    )
    op.create_index("uq_log_scan_id", "log", ["scan_id"], unique=True)

    op.create_table(
        "slot",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_slot"),
        sa.UniqueConstraint("name", name="uq_slot_name"),
    )
    op.create_table(
        "box",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=8), nullable=False),
        sa.Column("parts_total", sa.Integer(), nullable=False),
        sa.Column("packed", sa.Integer(), nullable=False),
        sa.Column("mass_kg", sa.Float(), nullable=False),
        sa.Column("length_mm", sa.Float(), nullable=False),
        sa.Column("width_mm", sa.Float(), nullable=False),
        sa.Column("height_mm", sa.Float(), nullable=False),
        sa.Column("weighed_kg", sa.Float(), nullable=True),
        sa.Column("sealed_at", sa.BigInteger(), nullable=True),
        sa.Column("follows_id", sa.Integer(), nullable=True),
        sa.Column("load_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "state IN ('open', 'packing', 'complete', 'sealed', 'loaded', 'shipped')", name="ck_box_state_known"
        ),
        sa.CheckConstraint("packed BETWEEN 0 AND parts_total", name="ck_box_packed_within_total"),
        sa.ForeignKeyConstraint(["follows_id"], ["box.id"], name="fk_box_follows_id"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_box_job_id"),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name="fk_box_load_id"),
        sa.PrimaryKeyConstraint("id", name="pk_box"),
    )
    op.create_index("ix_box_job_id_state", "box", ["job_id", "state"])
    op.create_index("ix_box_load_id", "box", ["load_id"])

    op.create_table(
        "tally",
        sa.Column("job_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("what", sa.String(length=8), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "what IN ('cut', 'machine', 'band', 'pack', 'ship', 'sealed', 'shipped')", name="ck_tally_what_known"
        ),
        sa.CheckConstraint("done BETWEEN 0 AND total", name="ck_tally_done_within_total"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_tally_job_id"),
        sa.PrimaryKeyConstraint("job_id", "what", name="pk_tally"),
    )
    op.create_table(
        "item",
        sa.Column("box_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("item", sa.String(length=200), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("counted", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["box_id"], ["box.id"], name="fk_item_box_id"),
        sa.PrimaryKeyConstraint("box_id", "item", name="pk_item"),
    )
    op.create_table(
        "station",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("step", sa.String(length=8), nullable=False),
        sa.Column("strict", sa.Boolean(), server_default=sa.text("false"), nullable=False),
        sa.Column("open_box_id", sa.Integer(), nullable=True),
        sa.Column("open_load_id", sa.Integer(), nullable=True),
        sa.Column("opened_at", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("step IN ('cut', 'machine', 'band', 'pack', 'ship')", name="ck_station_step_known"),
        sa.ForeignKeyConstraint(["open_box_id"], ["box.id"], name="fk_station_open_box_id"),
        sa.ForeignKeyConstraint(["open_load_id"], ["load.id"], name="fk_station_open_load_id"),
        sa.PrimaryKeyConstraint("id", name="pk_station"),
        sa.UniqueConstraint("name", name="uq_station_name"),
    )
    op.create_table(
        "part",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("box_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("cabinet", sa.String(length=200), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("material", sa.String(length=200), nullable=False),
        sa.Column("length_mm", sa.Float(), nullable=False),
        sa.Column("width_mm", sa.Float(), nullable=False),
        sa.Column("thickness_mm", sa.Float(), nullable=False),
        sa.Column("mass_kg", sa.Float(), nullable=False),
        sa.Column("edges", sa.String(length=16), nullable=False),
        sa.Column("machining", sa.String(length=200), nullable=False),
        sa.Column("supply", sa.String(length=6), nullable=False),
        sa.Column("route", sa.Integer(), nullable=False),
        sa.Column("urgent", sa.Boolean(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("replaced_by_id", sa.Integer(), nullable=True),
        sa.Column("status", sa.String(length=10), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("inferred", sa.Integer(), nullable=False),
        sa.Column("damaged", sa.Boolean(), nullable=False),
        sa.Column("seen_at", sa.BigInteger(), nullable=True),
        sa.Column("seen_station_id", sa.Integer(), nullable=True),
        sa.Column("slot_id", sa.Integer(), nullable=True),
        sa.Column("latest_at", sa.BigInteger(), nullable=True),
        sa.CheckConstraint(
            "status IN ('waiting', 'working', 'packed', 'shipped', 'replaced', 'cancelled')",
            name="ck_part_status_known",
        ),
        sa.CheckConstraint("supply IN ('made', 'bought')", name="ck_part_supply_known"),
        sa.ForeignKeyConstraint(["box_id"], ["box.id"], name="fk_part_box_id"),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_part_job_id"),
        sa.ForeignKeyConstraint(["replaced_by_id"], ["part.id"], name="fk_part_replaced_by_id"),
        sa.ForeignKeyConstraint(["replaces_id"], ["part.id"], name="fk_part_replaces_id"),
        sa.ForeignKeyConstraint(["seen_station_id"], ["station.id"], name="fk_part_seen_station_id"),
        sa.ForeignKeyConstraint(["slot_id"], ["slot.id"], name="fk_part_slot_id"),
        sa.PrimaryKeyConstraint("id", name="pk_part"),
    )
    op.create_index("ix_part_box_id", "part", ["box_id"])
    op.create_index("ix_part_job_id_id", "part", ["job_id", "id"])

    op.create_table(
        "token",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=8), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("made_at", sa.BigInteger(), nullable=False),
        sa.Column("withdrawn_at", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("role IN ('station', 'packer', 'foreman', 'office', 'admin')", name="ck_token_role_known"),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name="fk_token_station_id"),
        sa.PrimaryKeyConstraint("id", name="pk_token"),
        sa.UniqueConstraint("hash", name="uq_token_hash"),
    )
    _number_everything_from_one()
    _guard_the_log()


def downgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP TRIGGER log_is_written_once ON log")
        op.execute("DROP TRIGGER log_is_never_emptied ON log")
        op.execute("DROP FUNCTION refuse_log_change()")
    for table in ("token", "part", "station", "item", "tally", "box", "slot", "log", "load", "job", "counter"):
        op.drop_table(table)


def _number_everything_from_one() -> None:
    names = ("log", "part", "box", "load", "station", "job", "slot", "token")
    rows = ", ".join(f"('{name}', 0)" for name in names)
    op.execute(f"INSERT INTO counter (name, last) VALUES {rows}")


def _guard_the_log() -> None:
    """The database itself refuses to change or delete what was once written."""
    if op.get_bind().dialect.name == "sqlite":
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER log_refuses_{change.lower()} BEFORE {change} ON log "
                "BEGIN SELECT RAISE(ABORT, 'the log is written once and never changed'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION refuse_log_change() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the log is written once and never changed'; END $$"
    )
    op.execute(
        "CREATE TRIGGER log_is_written_once BEFORE UPDATE OR DELETE ON log "
        "FOR EACH ROW EXECUTE FUNCTION refuse_log_change()"
    )
    op.execute(
        "CREATE TRIGGER log_is_never_emptied BEFORE TRUNCATE ON log "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_log_change()"
    )
