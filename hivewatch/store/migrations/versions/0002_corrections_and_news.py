"""corrections of inspections, when a hive began, and what was written in its order."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

KEPT = 20_000
NEWS = "INSERT INTO news (what, about, hive, yard) VALUES"
TRIGGERS = (
    ("finding", "INSERT", "NEW.id, NEW.hive, NEW.yard"),
    ("finding", "UPDATE", "NEW.id, NEW.hive, NEW.yard"),
    ("alert", "INSERT", "NEW.id, NEW.hive, NEW.yard"),
    ("alert", "UPDATE", "NEW.id, NEW.hive, NEW.yard"),
    (
        "inspection_version",
        "INSERT",
        "NEW.inspection, NEW.hive, (SELECT yard FROM hive WHERE id = NEW.hive)",
    ),
)


def upgrade() -> None:
    """Add them; what was written down before becomes the first version of itself."""
    op.add_column("hive", sa.Column("since", sa.BigInteger(), nullable=True))
    for name, default in (("version", "1"), ("withdrawn", "0")):
        op.add_column(
            "inspection",
            sa.Column(name, sa.Integer(), nullable=False, server_default=default),
        )
    op.create_table(
        "inspection_version",
        sa.Column("inspection", sa.String(length=64), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("hive", sa.String(length=64), nullable=False),
        sa.Column("at_s", sa.BigInteger(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("withdrawn", sa.Integer(), nullable=False),
        sa.Column("recorded_s", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.Text(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["hive"], ["hive.id"], name=op.f("fk_inspection_version_hive")),
        sa.ForeignKeyConstraint(
            ["inspection"], ["inspection.id"], name=op.f("fk_inspection_version_inspection")
        ),
        sa.PrimaryKeyConstraint("inspection", "version", name=op.f("pk_inspection_version")),
    )
    for column in ("hive", "recorded_s"):
        name = op.f(f"ix_inspection_version_{column}")
        op.create_index(name, "inspection_version", [column])
    op.execute(
        "INSERT INTO inspection_version"
        " (inspection, version, hive, at_s, body, withdrawn, recorded_s)"
        " SELECT id, 1, hive, at_s, body, 0, recorded_s FROM inspection"
    )
    op.create_table(
        "news",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("what", sa.String(length=16), nullable=False),
        sa.Column("about", sa.String(length=64), nullable=False),
        sa.Column("hive", sa.String(length=64), nullable=True),
        sa.Column("yard", sa.String(length=64), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_news")),
        sqlite_autoincrement=True,
    )
    for table, when, values in TRIGGERS:
        what = table.removesuffix("_version")
        op.execute(
            f"CREATE TRIGGER news_{table}_{when.lower()} AFTER {when} ON {table}"
            f" BEGIN {NEWS} ('{what}', {values}); END"
        )
    op.execute(
        "CREATE TRIGGER news_kept AFTER INSERT ON news"  # noqa: S608 - a number of ours
        f" BEGIN DELETE FROM news WHERE id <= NEW.id - {KEPT}; END"
    )
