"""The tables.

Times are whole seconds UTC (`…_s`), but for readings, whose key is in milliseconds (`time_ms`), so
that two readings within one second are two readings. JSON columns hold text.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
    text,
)

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)
NAME = String(64)

yard = Table(
    "yard",
    METADATA,
    Column("id", NAME, primary_key=True),
    Column("name", Text, nullable=False),
    Column("latitude", Float, nullable=False),
    Column("longitude", Float, nullable=False),
    Column("timezone", Text, nullable=False),
)

hive = Table(
    "hive",
    METADATA,
    Column("id", NAME, primary_key=True),
    Column("yard", ForeignKey("yard.id"), nullable=False, index=True),
    Column("frame", NAME, nullable=False),
    Column("frames", Integer, nullable=False),
    Column("boxes", Integer, nullable=False),
    Column("empty_kg", Float),
    Column("since", BigInteger),  # when it began, in s; null: nobody said
)

device = Table(
    "device",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("id", NAME, nullable=False, unique=True),
    Column("heard_s", BigInteger),  # when its last message was stored
    Column("status", String(16)),  # online or offline, as the broker keeps it
    Column("status_s", BigInteger),
)

# Where a device stands from `since_s` on, until its next placement; no hive = put away.
placement = Table(
    "placement",
    METADATA,
    Column("device", ForeignKey("device.number"), primary_key=True),
    Column("since_s", BigInteger, primary_key=True),
    Column("hive", ForeignKey("hive.id"), index=True),
)

# The one long table. Its key is the table itself (no row id), so one hive's window of one quantity
# is one run of neighbouring entries.
reading = Table(
    "reading",
    METADATA,
    Column("device", Integer, primary_key=True, autoincrement=False),
    Column("quantity", SmallInteger, primary_key=True, autoincrement=False),
    Column("time_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("value", Float, nullable=False),
    Column("received_s", BigInteger, nullable=False),
    sqlite_with_rowid=False,
)
AHEAD = "time_ms > received_s * 1000 + 300000"  # dated over five minutes after it was received
Index(
    "ix_reading_ahead",
    reading.c.device,
    reading.c.time_ms,
    reading.c.received_s,
    sqlite_where=text(AHEAD),
    postgresql_where=text(AHEAD),
)

# One row a pack or line that was not, or not wholly, admitted: the bytes as they came.
quarantine = Table(
    "quarantine",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("digest", String(64), nullable=False, unique=True),  # of source, device and bytes
    Column("source", Text, nullable=False),  # the topic, or the file and line
    Column("device", Text),
    Column("content_type", Text),
    Column("raw", LargeBinary, nullable=False),
    Column("reason", String(32), nullable=False, index=True),  # of the first fault
    Column("faults", Text, nullable=False),  # JSON: [{index, reason, detail}]
    Column("received_s", BigInteger, nullable=False),
    Column("times", Integer, nullable=False, default=1),
    Column("admitted_s", BigInteger),
)

# As people say it now; what they said before stands in `inspection_version`.
inspection = Table(
    "inspection",
    METADATA,
    Column("id", NAME, primary_key=True),
    Column("key", String(64), nullable=False, unique=True),
    Column("hive", ForeignKey("hive.id"), nullable=False),
    Column("at_s", BigInteger, nullable=False, index=True),
    Column("by", Text),
    Column("body", Text, nullable=False),  # JSON, as hivewatch/inspections/model.py has it
    Column("recorded_s", BigInteger, nullable=False),  # when it was first written down
    Column("version", Integer, nullable=False, server_default="1"),
    Column("withdrawn", Integer, nullable=False, server_default="0"),
    Index(None, "hive", "at_s"),
)

# Every version of an inspection, the present one too; none is ever changed.
inspection_version = Table(
    "inspection_version",
    METADATA,
    Column("inspection", ForeignKey("inspection.id"), primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("hive", ForeignKey("hive.id"), nullable=False, index=True),
    Column("at_s", BigInteger, nullable=False),
    Column("body", Text, nullable=False),
    Column("withdrawn", Integer, nullable=False),
    Column("recorded_s", BigInteger, nullable=False, index=True),
    Column("by", Text),  # who corrected or withdrew it
    Column("why", Text),
)

finding = Table(
    "finding",
    METADATA,
    Column("id", NAME, primary_key=True),
    Column("kind", NAME, nullable=False, index=True),
    Column("subject", String(80), nullable=False),
    Column("hive", NAME, index=True),
    Column("yard", NAME, index=True),
    Column("start_s", BigInteger, nullable=False, index=True),
    Column("end_s", BigInteger, index=True),
    Column("detected_s", BigInteger, nullable=False),
    Column("confidence", Float, nullable=False),
    Column("status", String(16), nullable=False),
    Column("measures", Text, nullable=False),  # JSON
    Column("evidence", Text, nullable=False),  # JSON
    Column("explained_by", NAME),
    Column("told_s", BigInteger, nullable=False),  # when the watch first said it
    Column("changed_s", BigInteger, nullable=False, index=True),
)

# What has changed since it was last looked at: "device:scale-17" or "hive:millrace-1".
stale = Table(
    "stale",
    METADATA,
    Column("subject", String(80), primary_key=True),
    Column("from_ms", BigInteger, nullable=False),
    Column("version", Integer, nullable=False),
)

alert = Table(
    "alert",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("finding", ForeignKey("finding.id"), nullable=False, unique=True),
    Column("kind", NAME, nullable=False),
    Column("subject", String(80), nullable=False),
    Column("hive", NAME, index=True),
    Column("yard", NAME, index=True),
    Column("urgency", String(24), nullable=False),
    Column("title", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("state", String(16), nullable=False),  # held, waiting, folded, sent, failed, dropped
    Column("reason", String(32), nullable=False),  # of the last decision, from alerts/rules.py
    Column("ring", Integer, nullable=False, default=1),  # a snoozed alert may ring once more
    Column("folded_into", ForeignKey("alert.id")),
    Column("created_s", BigInteger, nullable=False),
    Column("due_s", BigInteger),  # not before then
    Column("sent_s", BigInteger),
    Column("acknowledged_s", BigInteger),
    Column("acknowledged_by", Text),
    Column("snoozed_until_s", BigInteger),
    Index(None, "state", "due_s"),
)

# One row an alert and channel: what is still to be sent, and what became of it.
delivery = Table(
    "delivery",
    METADATA,
    Column("alert", ForeignKey("alert.id"), primary_key=True),
    Column("channel", String(64), primary_key=True),  # its name, never its address
    Column("state", String(16), nullable=False),  # waiting, sending, sent, failed, dropped
    Column("since_s", BigInteger, nullable=False),  # when the first try was due
    Column("attempts", Integer, nullable=False, default=0),
    Column("interrupted", Integer, nullable=False, default=0),  # died before the end was recorded
    Column("next_try_s", BigInteger, nullable=False),
    Column("sent_s", BigInteger),
    Column("error", Text),
    Index(None, "state", "next_try_s"),
)

# Every decision about an alert and why, so that "why was I not told?" has an answer.
decision = Table(
    "decision",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("alert", ForeignKey("alert.id"), nullable=False, index=True),
    Column("at_s", BigInteger, nullable=False),
    Column("what", String(16), nullable=False),  # queued, held, folded, sent, failed, dropped, …
    Column("reason", String(32), nullable=False),  # from the closed set of alerts/rules.py
    Column("why", Text, nullable=False),  # the same as a sentence, with its particulars
    Column("channel", String(64)),
)

# What was written, in its order, for whoever follows it; triggers of the migration write it, in the
# very transaction that writes the thing itself, and keep the last 20,000 rows
# (own choice: a day of a thousand busy hives).
news = Table(
    "news",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("what", String(16), nullable=False),  # finding, alert, inspection or readings
    Column("about", NAME, nullable=False),  # its id
    Column("hive", NAME),
    Column("yard", NAME),
    sqlite_autoincrement=True,  # a number is never given twice
)

# What phones were told of the calendar, as it was told last.
appointment = Table(
    "appointment",
    METADATA,
    Column("name", String(160), primary_key=True),  # its UID rests on it
    Column("summary", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("first", String(10), nullable=False),  # local days of the yard, as 2026-05-21
    Column("last", String(10), nullable=False),
    Column("stamp_s", BigInteger, nullable=False),  # its SEQUENCE rests on it
    Column("yard", Text, nullable=False),
    Column("is_cancelled", Integer, nullable=False),
)

# How far a reader of the store has come (the mirror).
cursor = Table(
    "cursor",
    METADATA,
    Column("name", NAME, primary_key=True),
    Column("value", BigInteger, nullable=False),
)

# Phones that asked to ring (Web Push): what it takes to reach them, and how it went last.
phone = Table(
    "phone",
    METADATA,
    Column("name", NAME, primary_key=True),  # its channel, a digest of the endpoint
    Column("endpoint", Text, nullable=False),  # a secret; empty when it is gone
    Column("p256dh", Text, nullable=False),
    Column("auth", Text, nullable=False),
    Column("label", Text, nullable=False),
    Column("since_s", BigInteger, nullable=False),
    Column("heard_s", BigInteger),  # when its push service took a message last
    Column("error", Text),
    Column("error_s", BigInteger),
    Column("ended_s", BigInteger),  # when its push service said that it is gone
)
