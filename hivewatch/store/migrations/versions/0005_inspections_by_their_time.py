"""inspections by their time."""

from __future__ import annotations

from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the index: the round asks for the visits of the last weeks to all hives."""
    op.create_index(op.f("ix_inspection_at_s"), "inspection", ["at_s"], unique=False)
