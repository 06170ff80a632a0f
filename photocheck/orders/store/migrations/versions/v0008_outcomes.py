"""What was heard of harnesses that were delivered."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Make the table, whose rows are never changed and go only with their order."""
    op.create_table(
        "outcomes",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column(
            "order_id",
            sa.Integer,
            sa.ForeignKey("orders.id", ondelete="CASCADE"),
            nullable=False,
        ),
        sa.Column("check_number", sa.Integer, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("day", sa.Date, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("from_owner", sa.Boolean, nullable=False),
        sa.Column("result", sa.String(40), nullable=False),
        sa.Column("felt", sa.Text, nullable=False),
        sa.Column("measured", sa.Text, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(
            ["check_number", "order_id"], ["checks.number", "checks.order_id"], ondelete="CASCADE"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("outcomes_of_order", "outcomes", ["order_id"])
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE TRIGGER outcomes_never_change BEFORE UPDATE OR DELETE ON outcomes "
            "FOR EACH ROW EXECUTE FUNCTION history_never_changes()"
        )
        op.execute(
            "CREATE TRIGGER outcomes_stay BEFORE TRUNCATE ON outcomes "
            "FOR EACH STATEMENT EXECUTE FUNCTION history_never_changes()"
        )
        return
    op.execute(
        "CREATE TRIGGER outcomes_never_change BEFORE UPDATE ON outcomes "
        "BEGIN SELECT RAISE(ABORT, 'outcomes are never changed'); END"
    )
    op.execute(
        "CREATE TRIGGER outcomes_stay BEFORE DELETE ON outcomes "
        "WHEN EXISTS (SELECT 1 FROM orders WHERE id = OLD.order_id) "
        "BEGIN SELECT RAISE(ABORT, 'outcomes go only with their order'); END"
    )
