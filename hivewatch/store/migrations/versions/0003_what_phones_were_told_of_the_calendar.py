"""what phones were told of the calendar."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table; nothing is known of what was told before."""
    op.create_table(
        "appointment",
        sa.Column("name", sa.String(length=160), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("first", sa.String(length=10), nullable=False),
        sa.Column("last", sa.String(length=10), nullable=False),
        sa.Column("stamp_s", sa.BigInteger(), nullable=False),
        sa.Column("yard", sa.Text(), nullable=False),
        sa.Column("is_cancelled", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_appointment")),
    )
