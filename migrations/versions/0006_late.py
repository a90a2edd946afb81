"""Contradictions that are settled one by one, counts and weighings in the log, and the clocks of the devices."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

BEFORE = (
    *("pass", "undo", "damaged", "place", "order", "hold", "resume"),
    *("cancel", "replace", "repair", "seal", "move", "plan", "ship"),
)
ACTIONS = (*BEFORE, "count", "weigh", "settle")
COLUMNS = ("said_at", "kind", "settles")
INDEXES = (
    ("uq_log_scan_id", "scan_id", True, ""),
    ("ix_log_part_id", "part_id", False, "part_id IS NOT NULL"),
    ("ix_log_box_id", "box_id", False, "part_id IS NULL AND box_id IS NOT NULL"),
    ("ix_log_station_id_at", "station_id, at", False, "station_id IS NOT NULL"),
    ("ix_log_job_id", "job_id", False, "part_id IS NULL AND box_id IS NULL AND job_id IS NOT NULL"),
    ("ix_log_undoes", "undoes", True, "undoes IS NOT NULL"),
    ("ix_log_flagged", "seq", False, "flag IS NOT NULL"),
)
SETTLES = ("ix_log_settles", "settles", True, "settles IS NOT NULL")


def upgrade() -> None:
    op.create_table(
        "clock",
        sa.Column("device", sa.String(length=80), nullable=False),
        sa.Column("station_id", sa.Integer(), nullable=True),
        sa.Column("offset_us", sa.BigInteger(), nullable=False),
        sa.Column("at", sa.BigInteger(), nullable=False),
        sa.Column("told", sa.Boolean(), nullable=False),
        sa.Column("said_at", sa.BigInteger(), nullable=True),
        sa.Column("placed_at", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name="fk_clock_station_id"),
        sa.PrimaryKeyConstraint("device", name="pk_clock"),
    )
    if op.get_bind().dialect.name == "sqlite":
        _log_anew(ACTIONS, more=True)
    else:
        op.add_column("log", sa.Column("said_at", sa.BigInteger(), nullable=True))
        op.add_column("log", sa.Column("kind", sa.String(length=12), nullable=True))
        op.add_column("log", sa.Column("settles", sa.BigInteger(), nullable=True))
        _know(ACTIONS)
    _index(*SETTLES)


def downgrade() -> None:
    """The columns go; rows of acts that an older program does not know stay under a word that it knows."""
    if op.get_bind().dialect.name == "sqlite":
        op.drop_index("ix_log_settles", "log")
        _log_anew(BEFORE, more=False)
    else:
        op.execute("ALTER TABLE log DISABLE TRIGGER USER")
        op.execute("ALTER TABLE log DROP CONSTRAINT ck_log_ck_log_action_known")
        op.execute("UPDATE log SET action = 'plan' WHERE action IN ('count', 'weigh', 'settle')")
        op.execute("ALTER TABLE log ENABLE TRIGGER USER")
        op.drop_index("ix_log_settles", "log")
        for column in COLUMNS:
            op.drop_column("log", column)
        _know(BEFORE, known=False)
    op.drop_table("clock")


def _know(actions: tuple[str, ...], *, known: bool = True) -> None:
    if known:
        op.execute("ALTER TABLE log DROP CONSTRAINT ck_log_ck_log_action_known")
    op.execute(f"ALTER TABLE log ADD CONSTRAINT ck_log_ck_log_action_known CHECK (action IN ({_listed(actions)}))")


def _listed(actions: tuple[str, ...]) -> str:
    return ", ".join(f"'{action}'" for action in actions)


def _log_anew(actions: tuple[str, ...], *, more: bool) -> None:
    """SQLite changes no CHECK in place: the log is copied row by row into a table that knows the actions."""
    columns = _columns()
    op.create_table(
        "log_anew",
        *columns,
        *(_new_columns() if more else ()),
        sa.CheckConstraint(f"action IN ({_listed(actions)})", name=op.f("ck_log_ck_log_action_known")),
        sa.PrimaryKeyConstraint("seq", name="pk_log"),
    )
    names = [column.name for column in columns]
    known = f"CASE WHEN action IN ({_listed(actions)}) THEN action ELSE 'plan' END"
    taken = [known if name == "action" else name for name in names]
    op.execute(f"INSERT INTO log_anew ({', '.join(names)}) SELECT {', '.join(taken)} FROM log ORDER BY seq")
    op.drop_table("log")
    op.rename_table("log_anew", "log")
    for index in INDEXES:
        _index(*index)
    for change in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER log_refuses_{change.lower()} BEFORE {change} ON log "
            "BEGIN SELECT RAISE(ABORT, 'the log is written once and never changed'); END"
        )


def _columns() -> list[sa.Column[object]]:
    return [
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
    ]


def _new_columns() -> tuple[sa.Column[object], ...]:
    return (
        sa.Column("said_at", sa.BigInteger(), nullable=True),
        sa.Column("kind", sa.String(length=12), nullable=True),
        sa.Column("settles", sa.BigInteger(), nullable=True),
    )


def _index(name: str, columns: str, unique: bool, where: str) -> None:
    kind = "UNIQUE INDEX" if unique else "INDEX"
    op.execute(f"CREATE {kind} {name} ON log ({columns})" + (f" WHERE {where}" if where else ""))
