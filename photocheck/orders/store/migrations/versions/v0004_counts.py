"""How often somebody has guessed, for all servers on one store."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "counts",
        sa.Column("whose", sa.String(64), primary_key=True),
        sa.Column("times", sa.Text, nullable=False),
        sa.Column("over", sa.DateTime(timezone=True), nullable=False),
    )
    op.create_index("counts_over", "counts", ["over"])
