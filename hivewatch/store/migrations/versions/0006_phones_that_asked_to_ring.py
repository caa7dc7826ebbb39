"""phones that asked to ring."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table; no phone has asked yet."""
    op.create_table(
        "phone",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("endpoint", sa.Text(), nullable=False),
        sa.Column("p256dh", sa.Text(), nullable=False),
        sa.Column("auth", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("since_s", sa.BigInteger(), nullable=False),
        sa.Column("heard_s", sa.BigInteger(), nullable=True),
        sa.Column("error", sa.Text(), nullable=True),
        sa.Column("error_s", sa.BigInteger(), nullable=True),
        sa.Column("ended_s", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_phone")),
    )
