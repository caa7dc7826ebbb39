"""What the API takes and gives: one model a noun, times RFC 3339 in UTC, units in the names."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Annotated, Any, Generic, Literal, Self, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer

from hivewatch.detect.finding import Finding as Told
from hivewatch.detect.finding import Status

# RFC 3339 section 5.6, with an offset; a leap second (…:60) counts as the second before it.
_RFC3339 = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:(\d\d)(\.\d{1,9})?([Zz]|[+-]([01]\d|2[0-3]):[0-5]\d)"
)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FAR_S = 253_370_764_799
LIMIT_MAX = 1000


def _read_time(value: object) -> object:
    """Take a time as text with its offset; numbers and bare local times are not one."""
    if isinstance(value, datetime):
        return value
    match = _RFC3339.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise ValueError('not a time; use RFC 3339 with an offset: "2026-05-21T13:05:00Z"')
    text = value.upper() if isinstance(value, str) else ""
    return text[:17] + "59" + text[19:] if match[1] == "60" else text


def _write_time(value: datetime) -> str:
    return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


Time = Annotated[
    datetime, BeforeValidator(_read_time), PlainSerializer(_write_time, return_type=str)
]
Item = TypeVar("Item")
Identity = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,64}$")]
Number = Annotated[int, Field(ge=1, lt=2**53)]
Limit = Annotated[int, Field(ge=1, le=LIMIT_MAX, description="how many at most")]


def seconds(at: datetime) -> int:
    """Give a time as whole Unix seconds, from 1970 to the year 9998."""
    return min(max(int((at - _EPOCH).total_seconds() // 1), 0), _FAR_S)


def moment(at_s: int) -> datetime:
    """Give Unix seconds as a time in UTC."""
    return datetime.fromtimestamp(at_s, UTC)


def moment_or_none(at_s: int | None) -> datetime | None:
    """Give Unix seconds as a time, if there are any."""
    return None if at_s is None else moment(at_s)


class Answer(BaseModel):
    """What all answers share: nothing unknown, and text in place of Python's own forms."""

    model_config = ConfigDict(extra="forbid", json_schema_serialization_defaults_required=True)


class Asked(BaseModel):
    """What all queries share: a misspelt name is refused, not ignored."""

    model_config = ConfigDict(extra="forbid")


class Now(Answer):
    """The server's time: in the demo a season passes in minutes."""

    now: Time
    version: str


class Yard(Answer):
    """A place where hives stand."""

    id: str
    name: str
    latitude: float = Field(description="degrees, north positive")
    longitude: float = Field(description="degrees, east positive")
    timezone: str = Field(description="IANA name; local days are counted in it")
    hives: int = Field(description="how many hives stand there")


class Finding(Answer):
    """What the watch says of a hive, a yard or a device."""

    id: str
    kind: str
    subject: str = Field(description="`hive:ID`, `yard:ID` or `device:ID`")
    start: Time
    end: Time | None = Field(description="null while it lasts")
    detected_at: Time = Field(description="time of the reading that settled it")
    confidence: float = Field(ge=0, le=1)
    status: Status
    measures: dict[str, float | int | str | None] = Field(description="units stand in the names")
    evidence: list[str]
    explained_by: str | None = Field(description="the inspection that accounts for it")

    @classmethod
    def of(cls, told: Told) -> Self:
        """Bring a finding into the API's form."""
        return cls(
            id=told.id,
            kind=told.kind,
            subject=told.subject,
            start=moment(told.start_s),
            end=moment_or_none(told.end_s),
            detected_at=moment(told.detected_s),
            confidence=told.confidence,
            status=told.status,
            measures=dict(told.measures),
            evidence=list(told.evidence),
            explained_by=told.explained_by,
        )


class Hive(Answer):
    """A hive and how it stands now."""

    id: str
    yard: str
    frame: str
    frames: int
    boxes: int
    empty_kg: float | None = Field(description="hive without bees, brood and stores")
    weight_kg: float | None
    weight_at: Time | None
    change_day_kg: float | None = Field(description="since 24 h before the last weight")
    change_week_kg: float | None = Field(description="since 7 days before the last weight")
    nest_c: float | None
    nest_at: Time | None
    heard_at: Time | None = Field(description="when any of its devices was last heard")
    devices: list[str] = Field(description="devices that stand at it now")
    findings: list[Finding] = Field(description="open, or ended within the last two days")


class Device(Answer):
    """A device and where it stands now."""

    id: str
    hive: str | None = Field(description="null: nobody has placed it, or it was put away")
    since: Time | None
    heard_at: Time | None
    status: str | None = Field(description="`online` or `offline`, as it told the broker")
    status_at: Time | None


class Step(Answer):
    """The readings of one step of time."""

    time: Time = Field(description="where the step begins")
    mean: float
    low: float
    high: float
    total: float = Field(description="of counts: how many in all")
    count: int = Field(ge=1, description="readings in the step")


class Decision(Answer):
    """What was decided about an alert, and why."""

    at: Time
    what: str
    why: str
    channel: str | None


class Delivery(Answer):
    """What became of an alert on one channel."""

    channel: str
    state: str
    attempts: int
    next_try_at: Time | None
    sent_at: Time | None
    error: str | None


class Alert(Answer):
    """An alert, where it went, and every decision about it."""

    id: int
    finding: str
    kind: str
    subject: str
    yard: str | None
    urgency: str
    title: str
    body: str
    state: str
    folded_into: int | None
    created_at: Time
    due_at: Time | None
    sent_at: Time | None
    acknowledged_at: Time | None
    acknowledged_by: str | None
    snoozed_until: Time | None
    decisions: list[Decision]
    deliveries: list[Delivery]


class HeldFault(Answer):
    """Why one record, or all of a pack, was not admitted."""

    index: int | None = Field(description="of the record in its pack; null for the whole")
    reason: str
    detail: str


class Held(Answer):
    """A pack or line in quarantine."""

    id: int
    source: str = Field(description="the topic, or the file and line")
    device: str | None
    content_type: str | None
    size_bytes: int
    raw: str = Field(description="the bytes as they came, base64 (RFC 4648 section 4)")
    faults: list[HeldFault]
    received_at: Time
    times: int = Field(description="how often these very bytes came")
    admitted_at: Time | None


class Event(Answer):
    """One entry of a timeline."""

    at: Time
    what: Literal["finding", "inspection", "alert"]
    id: str
    finding: Finding | None = None
    inspection: dict[str, Any] | None = None
    alert: Alert | None = None


class Page(Answer, Generic[Item]):
    """One page of a list."""

    now: Time = Field(description="the server's time")
    items: list[Item]
    next: str | None = Field(description="give it as `after` to get what follows; null at the end")


def page_of(
    items: Sequence[Item], limit: int, now_s: int, mark: Callable[[Item], str]
) -> Page[Item]:
    """Make a page of up to `limit` items from a list that was read one item further.

    Parameters
    ----------
    mark : Callable
        Gives the `after` that continues behind an item.
    """
    shown = list(items[:limit])
    following = mark(shown[-1]) if len(items) > limit else None
    return Page(now=moment(now_s), items=shown, next=following)
