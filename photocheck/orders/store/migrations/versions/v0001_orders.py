"""Orders, photos, checks and decisions.

A migration spells its tables out and never imports `tables`, which follows the newest version.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

UNCHANGING = ("photos", "checks", "check_photos", "readings", "decisions")


def upgrade() -> None:
    """Make the tables."""
    moment = sa.DateTime(timezone=True)
    op.create_table(
        "orders",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("key", sa.String(43), nullable=False, unique=True),
        sa.Column("opened", moment, nullable=False),
        sa.Column("language", sa.String(20), nullable=False),
        sa.Column("draft", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("touched", moment, nullable=False),
        sa.Column("photos_given", sa.Integer, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "photos",
        sa.Column("id", sa.Integer, primary_key=True),
        _of_order(),
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("at", moment, nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sa.UniqueConstraint("order_id", "name"),
        sa.UniqueConstraint("order_id", "sha256"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "ratios",
        sa.Column("version", sa.String(80), primary_key=True),
        sa.Column("content", sa.Text, nullable=False),
    )
    op.create_table(
        "checks",
        sa.Column("number", sa.Integer, primary_key=True),
        _of_order(),
        sa.Column("at", moment, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("program", sa.String(80), nullable=False),
        sa.Column("ratios", sa.String(80), nullable=False),
        sa.Column("language", sa.String(20), nullable=False),
        sa.Column("case", sa.Text, nullable=False),
        sa.Column("report", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("verdict", sa.String(40), nullable=False),
        sa.Column("worst", sa.Float, nullable=False),
        sa.Column("headline", sa.Text, nullable=False),
        sa.UniqueConstraint("number", "order_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("checks_of_order", "checks", ["order_id"])
    op.create_table(
        "check_photos",
        sa.Column("check_number", sa.Integer, primary_key=True),
        sa.Column("position", sa.Integer, primary_key=True),
        _of_order(),
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        _of_check(),
        sa.ForeignKeyConstraint(
            ["order_id", "name"], ["photos.order_id", "photos.name"], ondelete="CASCADE"
        ),
    )
    op.create_table(
        "readings",
        sa.Column("check_number", sa.Integer, primary_key=True),
        sa.Column("reading", sa.String(40), primary_key=True),
        _of_order(),
        sa.Column("typed", sa.Text, nullable=False),
        sa.Column("unit", sa.String(8), nullable=False),
        sa.Column("mm", sa.Float, nullable=False),
        _of_check(),
    )
    op.create_table(
        "decisions",
        sa.Column("id", sa.Integer, primary_key=True),
        _of_order(),
        sa.Column("check_number", sa.Integer, nullable=False),
        sa.Column("at", moment, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("choice", sa.String(40), nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("message", sa.Text, nullable=False),
        sa.Column("program", sa.String(80), nullable=False),
        sa.Column("ratios", sa.String(80), nullable=False),
        _of_check(),
        sqlite_autoincrement=True,
    )
    op.create_index("decisions_of_order", "decisions", ["order_id"])
    op.create_table(
        "forgotten",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("at", moment, nullable=False),
    )
    if op.get_bind().dialect.name == "postgresql":
        _guard_postgresql()
    else:
        _guard_sqlite()


def _of_order() -> sa.Column[int]:
    order = sa.ForeignKey("orders.id", ondelete="CASCADE")
    return sa.Column("order_id", sa.Integer, order, nullable=False)


def _of_check() -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["check_number", "order_id"], ["checks.number", "checks.order_id"], ondelete="CASCADE"
    )


# A row of history is never changed, and goes only when its order has gone before it: a cascade
# removes the parent first, so the guard no longer finds it.


def _guard_sqlite() -> None:
    for table in UNCHANGING:
        op.execute(
            f"CREATE TRIGGER {table}_never_change BEFORE UPDATE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} are never changed'); END"
        )
        op.execute(
            f"CREATE TRIGGER {table}_stay BEFORE DELETE ON {table} "
            "WHEN EXISTS (SELECT 1 FROM orders WHERE id = OLD.order_id) "
            f"BEGIN SELECT RAISE(ABORT, '{table} go only with their order'); END"
        )


def _guard_postgresql() -> None:
    op.execute(
        """
        CREATE FUNCTION history_never_changes() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            IF TG_OP = 'UPDATE' THEN
                RAISE EXCEPTION '% are never changed', TG_TABLE_NAME;
            ELSIF TG_OP = 'TRUNCATE' THEN
                RAISE EXCEPTION '% go only with their order', TG_TABLE_NAME;
            ELSIF EXISTS (SELECT 1 FROM orders WHERE id = OLD.order_id) THEN
                RAISE EXCEPTION '% go only with their order', TG_TABLE_NAME;
            END IF;
            RETURN OLD;
        END $$
        """
    )
    for table in UNCHANGING:
        op.execute(
            f"CREATE TRIGGER {table}_never_change BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION history_never_changes()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_stay BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION history_never_changes()"
        )
