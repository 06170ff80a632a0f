"""Other programs that may come to the orders, what changed, and who is told of it."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Make the tables."""
    moment = sa.DateTime(timezone=True)
    op.create_table(
        "clients",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("known_as", sa.String(80), nullable=False, unique=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("sees", sa.String(10), nullable=False),
        sa.Column("calls", sa.Text, nullable=False),
        sa.Column("at", moment, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "client_tokens",
        sa.Column("sha256", sa.String(64), primary_key=True),
        _of("client_id", "clients.id"),
        sa.Column("at", moment, nullable=False),
        sa.Column("ended", moment),
    )
    op.create_table(
        "client_orders",
        sa.Column("order_id", sa.Integer, _key("orders.id"), primary_key=True),
        _of("client_id", "clients.id"),
        sa.Column("number", sa.Text, nullable=False),
        sa.UniqueConstraint("client_id", "number"),
    )
    op.create_table(
        "changes",
        sa.Column("number", sa.Integer, primary_key=True),
        _of("order_id", "orders.id"),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("ref", sa.Integer, nullable=False),
        sa.Column("at", moment, nullable=False),
        sa.UniqueConstraint("kind", "ref"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "subscriptions",
        sa.Column("id", sa.Integer, primary_key=True),
        _of("client_id", "clients.id"),
        sa.Column("address", sa.Text, nullable=False),
        sa.Column("nonce", sa.String(64), nullable=False),
        sa.Column("secret_sha256", sa.String(64), nullable=False),
        sa.Column("after", sa.Integer, nullable=False),
        sa.Column("at", moment, nullable=False),
        sa.Column("ended", moment),
        sa.Column("why", sa.String(20), nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "deliveries",
        sa.Column("id", sa.Integer, primary_key=True),
        _of("subscription_id", "subscriptions.id"),
        _of("change_number", "changes.number"),
        sa.Column("tries", sa.Integer, nullable=False),
        sa.Column("due", moment, nullable=False),
        sa.Column("done", moment),
        sa.Column("said", sa.String(80), nullable=False),
        sa.UniqueConstraint("subscription_id", "change_number"),
        sqlite_autoincrement=True,
    )
    op.create_index("deliveries_due", "deliveries", ["done", "due"])


def _key(column: str) -> sa.ForeignKey:
    return sa.ForeignKey(column, ondelete="CASCADE")


def _of(name: str, column: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, _key(column), nullable=False)
