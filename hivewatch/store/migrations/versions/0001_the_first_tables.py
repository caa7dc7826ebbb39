"""the first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = '0001'
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:

    op.create_table('cursor',
    sa.Column('name', sa.String(length=64), nullable=False),
    sa.Column('value', sa.BigInteger(), nullable=False),
    sa.PrimaryKeyConstraint('name', name=op.f('pk_cursor'))
    )
    op.create_table('device',
    sa.Column('number', sa.Integer(), autoincrement=True, nullable=False),
    sa.Column('id', sa.String(length=64), nullable=False),
    sa.Column('heard_s', sa.BigInteger(), nullable=True),
    sa.Column('status', sa.String(length=16), nullable=True),
    sa.Column('status_s', sa.BigInteger(), nullable=True),
    sa.PrimaryKeyConstraint('number', name=op.f('pk_device')),
    sa.UniqueConstraint('id', name=op.f('uq_device_id'))
    )
    op.create_table('finding',
    sa.Column('id', sa.String(length=64), nullable=False),
    sa.Column('kind', sa.String(length=64), nullable=False),
    sa.Column('subject', sa.String(length=80), nullable=False),
    sa.Column('hive', sa.String(length=64), nullable=True),
    sa.Column('yard', sa.String(length=64), nullable=True),
    sa.Column('start_s', sa.BigInteger(), nullable=False),
    sa.Column('end_s', sa.BigInteger(), nullable=True),
    sa.Column('detected_s', sa.BigInteger(), nullable=False),
    sa.Column('confidence', sa.Float(), nullable=False),
    sa.Column('status', sa.String(length=16), nullable=False),
    sa.Column('measures', sa.Text(), nullable=False),
    sa.Column('evidence', sa.Text(), nullable=False),
    sa.Column('explained_by', sa.String(length=64), nullable=True),
    sa.Column('told_s', sa.BigInteger(), nullable=False),
    sa.Column('changed_s', sa.BigInteger(), nullable=False),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_finding'))
    )
    with op.batch_alter_table('finding', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_finding_changed_s'), ['changed_s'], unique=False)
        batch_op.create_index(batch_op.f('ix_finding_hive'), ['hive'], unique=False)
        batch_op.create_index(batch_op.f('ix_finding_kind'), ['kind'], unique=False)
        batch_op.create_index(batch_op.f('ix_finding_start_s'), ['start_s'], unique=False)
        batch_op.create_index(batch_op.f('ix_finding_yard'), ['yard'], unique=False)

    op.create_table('quarantine',
    sa.Column('id', sa.Integer(), autoincrement=True, nullable=False),
    sa.Column('digest', sa.String(length=64), nullable=False),
    sa.Column('source', sa.Text(), nullable=False),
    sa.Column('device', sa.Text(), nullable=True),
    sa.Column('content_type', sa.Text(), nullable=True),
    sa.Column('raw', sa.LargeBinary(), nullable=False),
    sa.Column('reason', sa.String(length=32), nullable=False),
    sa.Column('faults', sa.Text(), nullable=False),
    sa.Column('received_s', sa.BigInteger(), nullable=False),
    sa.Column('times', sa.Integer(), nullable=False),
    sa.Column('admitted_s', sa.BigInteger(), nullable=True),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_quarantine')),
    sa.UniqueConstraint('digest', name=op.f('uq_quarantine_digest'))
    )
    with op.batch_alter_table('quarantine', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_quarantine_reason'), ['reason'], unique=False)

    op.create_table('reading',
    sa.Column('device', sa.Integer(), autoincrement=False, nullable=False),
    sa.Column('quantity', sa.SmallInteger(), autoincrement=False, nullable=False),
    sa.Column('time_ms', sa.BigInteger(), autoincrement=False, nullable=False),
    sa.Column('value', sa.Float(), nullable=False),
    sa.Column('received_s', sa.BigInteger(), nullable=False),
    sa.PrimaryKeyConstraint('device', 'quantity', 'time_ms', name=op.f('pk_reading')),
    sqlite_with_rowid=False
    )
    with op.batch_alter_table('reading', schema=None) as batch_op:
        batch_op.create_index('ix_reading_ahead', ['device', 'time_ms', 'received_s'], unique=False, sqlite_where=sa.text('time_ms > received_s * 1000 + 300000'), postgresql_where=sa.text('time_ms > received_s * 1000 + 300000'))

    op.create_table('stale',
    sa.Column('subject', sa.String(length=80), nullable=False),
    sa.Column('from_ms', sa.BigInteger(), nullable=False),
    sa.Column('version', sa.Integer(), nullable=False),
    sa.PrimaryKeyConstraint('subject', name=op.f('pk_stale'))
    )
    op.create_table('yard',
    sa.Column('id', sa.String(length=64), nullable=False),
    sa.Column('name', sa.Text(), nullable=False),
    sa.Column('latitude', sa.Float(), nullable=False),
    sa.Column('longitude', sa.Float(), nullable=False),
    sa.Column('timezone', sa.Text(), nullable=False),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_yard'))
    )
    op.create_table('alert',
    sa.Column('id', sa.Integer(), autoincrement=True, nullable=False),
    sa.Column('finding', sa.String(length=64), nullable=False),
    sa.Column('kind', sa.String(length=64), nullable=False),
    sa.Column('subject', sa.String(length=80), nullable=False),
    sa.Column('hive', sa.String(length=64), nullable=True),
    sa.Column('yard', sa.String(length=64), nullable=True),
    sa.Column('urgency', sa.String(length=24), nullable=False),
    sa.Column('title', sa.Text(), nullable=False),
    sa.Column('body', sa.Text(), nullable=False),
    sa.Column('state', sa.String(length=16), nullable=False),
    sa.Column('reason', sa.String(length=32), nullable=False),
    sa.Column('ring', sa.Integer(), nullable=False),
    sa.Column('folded_into', sa.Integer(), nullable=True),
    sa.Column('created_s', sa.BigInteger(), nullable=False),
    sa.Column('due_s', sa.BigInteger(), nullable=True),
    sa.Column('sent_s', sa.BigInteger(), nullable=True),
    sa.Column('acknowledged_s', sa.BigInteger(), nullable=True),
    sa.Column('acknowledged_by', sa.Text(), nullable=True),
    sa.Column('snoozed_until_s', sa.BigInteger(), nullable=True),
    sa.ForeignKeyConstraint(['finding'], ['finding.id'], name=op.f('fk_alert_finding')),
    sa.ForeignKeyConstraint(['folded_into'], ['alert.id'], name=op.f('fk_alert_folded_into')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_alert')),
    sa.UniqueConstraint('finding', name=op.f('uq_alert_finding'))
    )
    with op.batch_alter_table('alert', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_alert_hive'), ['hive'], unique=False)
        batch_op.create_index(batch_op.f('ix_alert_state_due_s'), ['state', 'due_s'], unique=False)
        batch_op.create_index(batch_op.f('ix_alert_yard'), ['yard'], unique=False)

    op.create_table('hive',
    sa.Column('id', sa.String(length=64), nullable=False),
    sa.Column('yard', sa.String(length=64), nullable=False),
    sa.Column('frame', sa.String(length=64), nullable=False),
    sa.Column('frames', sa.Integer(), nullable=False),
    sa.Column('boxes', sa.Integer(), nullable=False),
    sa.Column('empty_kg', sa.Float(), nullable=True),
    sa.ForeignKeyConstraint(['yard'], ['yard.id'], name=op.f('fk_hive_yard')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_hive'))
    )
    with op.batch_alter_table('hive', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_hive_yard'), ['yard'], unique=False)

    op.create_table('decision',
    sa.Column('id', sa.Integer(), autoincrement=True, nullable=False),
    sa.Column('alert', sa.Integer(), nullable=False),
    sa.Column('at_s', sa.BigInteger(), nullable=False),
    sa.Column('what', sa.String(length=16), nullable=False),
    sa.Column('reason', sa.String(length=32), nullable=False),
    sa.Column('why', sa.Text(), nullable=False),
    sa.Column('channel', sa.String(length=64), nullable=True),
    sa.ForeignKeyConstraint(['alert'], ['alert.id'], name=op.f('fk_decision_alert')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_decision'))
    )
    with op.batch_alter_table('decision', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_decision_alert'), ['alert'], unique=False)

    op.create_table('delivery',
    sa.Column('alert', sa.Integer(), nullable=False),
    sa.Column('channel', sa.String(length=64), nullable=False),
    sa.Column('state', sa.String(length=16), nullable=False),
    sa.Column('since_s', sa.BigInteger(), nullable=False),
    sa.Column('attempts', sa.Integer(), nullable=False),
    sa.Column('interrupted', sa.Integer(), nullable=False),
    sa.Column('next_try_s', sa.BigInteger(), nullable=False),
    sa.Column('sent_s', sa.BigInteger(), nullable=True),
    sa.Column('error', sa.Text(), nullable=True),
    sa.ForeignKeyConstraint(['alert'], ['alert.id'], name=op.f('fk_delivery_alert')),
    sa.PrimaryKeyConstraint('alert', 'channel', name=op.f('pk_delivery'))
    )
    with op.batch_alter_table('delivery', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_delivery_state_next_try_s'), ['state', 'next_try_s'], unique=False)

    op.create_table('inspection',
    sa.Column('id', sa.String(length=64), nullable=False),
    sa.Column('key', sa.String(length=64), nullable=False),
    sa.Column('hive', sa.String(length=64), nullable=False),
    sa.Column('at_s', sa.BigInteger(), nullable=False),
    sa.Column('by', sa.Text(), nullable=True),
    sa.Column('body', sa.Text(), nullable=False),
    sa.Column('recorded_s', sa.BigInteger(), nullable=False),
    sa.ForeignKeyConstraint(['hive'], ['hive.id'], name=op.f('fk_inspection_hive')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_inspection')),
    sa.UniqueConstraint('key', name=op.f('uq_inspection_key'))
    )
    with op.batch_alter_table('inspection', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_inspection_hive_at_s'), ['hive', 'at_s'], unique=False)

    op.create_table('placement',
    sa.Column('device', sa.Integer(), nullable=False),
    sa.Column('since_s', sa.BigInteger(), nullable=False),
    sa.Column('hive', sa.String(length=64), nullable=True),
    sa.ForeignKeyConstraint(['device'], ['device.number'], name=op.f('fk_placement_device')),
    sa.ForeignKeyConstraint(['hive'], ['hive.id'], name=op.f('fk_placement_hive')),
    sa.PrimaryKeyConstraint('device', 'since_s', name=op.f('pk_placement'))
    )
    with op.batch_alter_table('placement', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_placement_hive'), ['hive'], unique=False)




def downgrade() -> None:

    with op.batch_alter_table('placement', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_placement_hive'))

    op.drop_table('placement')
    with op.batch_alter_table('inspection', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_inspection_hive_at_s'))

    op.drop_table('inspection')
    with op.batch_alter_table('delivery', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_delivery_state_next_try_s'))

    op.drop_table('delivery')
    with op.batch_alter_table('decision', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_decision_alert'))

    op.drop_table('decision')
    with op.batch_alter_table('hive', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_hive_yard'))

    op.drop_table('hive')
    with op.batch_alter_table('alert', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_alert_yard'))
        batch_op.drop_index(batch_op.f('ix_alert_state_due_s'))
        batch_op.drop_index(batch_op.f('ix_alert_hive'))

    op.drop_table('alert')
    op.drop_table('yard')
    op.drop_table('stale')
    with op.batch_alter_table('reading', schema=None) as batch_op:
        batch_op.drop_index('ix_reading_ahead', sqlite_where=sa.text('time_ms > received_s * 1000 + 300000'), postgresql_where=sa.text('time_ms > received_s * 1000 + 300000'))

    op.drop_table('reading')
    with op.batch_alter_table('quarantine', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_quarantine_reason'))

    op.drop_table('quarantine')
    with op.batch_alter_table('finding', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_finding_yard'))
        batch_op.drop_index(batch_op.f('ix_finding_start_s'))
        batch_op.drop_index(batch_op.f('ix_finding_kind'))
        batch_op.drop_index(batch_op.f('ix_finding_hive'))
        batch_op.drop_index(batch_op.f('ix_finding_changed_s'))

    op.drop_table('finding')
    op.drop_table('device')
    op.drop_table('cursor')

