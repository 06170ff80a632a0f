"""What is cut for an order and whether it was: a history of its own, never changed."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the table, and guard it as the rest of the history is."""
    op.create_table(
        "cuts",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column(
            "order_id", sa.Integer, sa.ForeignKey("orders.id", ondelete="CASCADE"), nullable=False
        ),
        sa.Column("check_number", sa.Integer, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("what", sa.String(20), nullable=False),
        sa.Column("content", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(
            ["check_number", "order_id"], ["checks.number", "checks.order_id"], ondelete="CASCADE"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("cuts_of_order", "cuts", ["order_id"])
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE TRIGGER cuts_never_change BEFORE UPDATE OR DELETE ON cuts "
            "FOR EACH ROW EXECUTE FUNCTION history_never_changes()"
        )
        op.execute(
            "CREATE TRIGGER cuts_stay BEFORE TRUNCATE ON cuts "
            "FOR EACH STATEMENT EXECUTE FUNCTION history_never_changes()"
        )
        return
    op.execute(
        "CREATE TRIGGER cuts_never_change BEFORE UPDATE ON cuts "
        "BEGIN SELECT RAISE(ABORT, 'cuts are never changed'); END"
    )
    op.execute(
        "CREATE TRIGGER cuts_stay BEFORE DELETE ON cuts "
        "WHEN EXISTS (SELECT 1 FROM orders WHERE id = OLD.order_id) "
        "BEGIN SELECT RAISE(ABORT, 'cuts go only with their order'); END"
    )
