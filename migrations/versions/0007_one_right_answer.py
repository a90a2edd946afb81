"""The log takes any act, so that a new one no longer has it copied, and keeps what cards, named boxes and flags are about."""

import re

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

CHECK = "ck_log_ck_log_action_known"
KNOWN_BEFORE = (
    *("pass", "undo", "damaged", "place", "order", "hold", "resume", "cancel", "replace"),
    *("repair", "seal", "move", "plan", "ship", "count", "weigh", "settle"),
)
LISTED = ", ".join(f"'{action}'" for action in KNOWN_BEFORE)
# An older program reads a move of no part, and a plan of a part, as nothing.
AS_KNOWN = f"CASE WHEN action IN ({LISTED}) THEN action WHEN part_id IS NULL THEN 'move' ELSE 'plan' END"


def upgrade() -> None:
    _take_any_act()
    op.add_column("log", sa.Column("meant", sa.BigInteger(), nullable=True))
    op.add_column("log", sa.Column("would_change", sa.BigInteger(), nullable=True))
    op.add_column("log", sa.Column("opened_id", sa.Integer(), nullable=True))
    op.add_column("log", sa.Column("reason", sa.String(32), nullable=True))
    op.add_column("log", sa.Column("values", sa.JSON(), nullable=True))


def _take_any_act() -> None:
    if op.get_bind().dialect.name == "sqlite":
        _log_anew(rf",?\s*CONSTRAINT {CHECK} CHECK \(action IN \([^)]*\)\)", "", action="action")
    else:
        op.execute(f"ALTER TABLE log DROP CONSTRAINT {CHECK}")


def downgrade() -> None:
    """Rows of acts that an older program does not know stay under a word that it knows."""
    op.drop_column("log", "values")
    op.drop_column("log", "reason")
    op.drop_column("log", "opened_id")
    op.drop_column("log", "would_change")
    op.drop_column("log", "meant")
    if op.get_bind().dialect.name == "sqlite":
        check = f", CONSTRAINT {CHECK} CHECK (action IN ({LISTED})), CONSTRAINT pk_log"
        _log_anew(r",?\s*CONSTRAINT pk_log", check, action=AS_KNOWN)
    else:
        op.execute("ALTER TABLE log DISABLE TRIGGER USER")
        op.execute(f"UPDATE log SET action = {AS_KNOWN} WHERE action NOT IN ({LISTED})")
        op.execute("ALTER TABLE log ENABLE TRIGGER USER")
        op.execute(f"ALTER TABLE log ADD CONSTRAINT {CHECK} CHECK (action IN ({LISTED}))")


def _log_anew(old: str, new: str, *, action: str) -> None:
    """SQLite changes no CHECK in place: the log is copied into a table made as it was, but for one piece of its text."""
    kept = op.get_bind().execute(sa.text("SELECT type, sql FROM sqlite_master WHERE tbl_name = 'log' AND sql <> ''"))
    made = list(kept)
    (table,) = (sql for kind, sql in made if kind == "table")
    changed, count = re.subn(old, new, table)
    if count != 1:
        raise RuntimeError("the log's table is not as the migrations before made it; nothing was changed")
    names = [column["name"] for column in sa.inspect(op.get_bind()).get_columns("log")]
    taken = [action if name == "action" else name for name in names]
    op.execute(re.sub(r'CREATE TABLE "?log"?', "CREATE TABLE log_anew", changed, count=1))
    op.execute(f"INSERT INTO log_anew ({', '.join(names)}) SELECT {', '.join(taken)} FROM log ORDER BY seq")
    op.drop_table("log")
    op.rename_table("log_anew", "log")
    for kind, sql in made:
        if kind != "table":
            op.execute(sql)
