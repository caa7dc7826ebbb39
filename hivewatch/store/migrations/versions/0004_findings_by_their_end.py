"""findings by their end."""

from __future__ import annotations

from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the index: what is open, or ended lately, is asked for with every list of hives."""
    op.create_index(op.f("ix_finding_end_s"), "finding", ["end_s"], unique=False)
