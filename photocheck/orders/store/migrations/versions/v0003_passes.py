"""Who may come to the desk, owners' links, and what both are signed with."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "staff",
        sa.Column("known_as", sa.String(80), primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("password", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
    )
    order = sa.ForeignKey("orders.id", ondelete="CASCADE")
    holder = sa.ForeignKey("staff.known_as", ondelete="CASCADE")
    op.create_table(
        "passes",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("purpose", sa.String(20), nullable=False),
        sa.Column("order_id", sa.Integer, order),
        sa.Column("known_as", sa.String(80), holder),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended", sa.DateTime(timezone=True)),
        sa.CheckConstraint(
            "(order_id IS NULL) <> (known_as IS NULL)", name="passes_have_one_holder"
        ),
    )
    op.create_index("passes_of_order", "passes", ["order_id"])
    op.create_table(
        "secrets",
        sa.Column("name", sa.String(40), primary_key=True),
        sa.Column("value", sa.String(80), nullable=False),
    )
