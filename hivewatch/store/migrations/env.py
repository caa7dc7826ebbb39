"""Alembic's entry: run the migrations on the connection that `store.open` hands over."""

from __future__ import annotations

from alembic import context

from hivewatch.store.schema import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
