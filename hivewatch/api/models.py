"""What the API gives: one model a noun, units in the names."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, Self

from pydantic import Field

from hivewatch.alerts import answers
from hivewatch.api.forms import Answer, Time, moment, moment_or_none
from hivewatch.detect.finding import Finding as Told
from hivewatch.detect.finding import Status
from hivewatch.inspections import Inspection
from hivewatch.store.inspections import Stored
from hivewatch.store.inspections import Version as KeptVersion


class Now(Answer):
    """The server's time: in the demo a season passes in minutes."""

    now: Time
    version: str


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
        return cls(**finding_fields(told))


def finding_fields(told: Told) -> dict[str, Any]:
    """Give the fields of `Finding`, in their order."""
    return {
        "id": told.id,
        "kind": told.kind,
        "subject": told.subject,
        "start": moment(told.start_s),
        "end": moment_or_none(told.end_s),
        "detected_at": moment(told.detected_s),
        "confidence": told.confidence,
        "status": told.status,
        "measures": dict(told.measures),
        "evidence": list(told.evidence),
        "explained_by": told.explained_by,
    }


class Yard(Answer):
    """A place where hives stand."""

    id: str
    name: str
    latitude: float = Field(description="degrees, north positive")
    longitude: float = Field(description="degrees, east positive")
    timezone: str = Field(description="IANA name; local days are counted in it")
    hives: int = Field(description="how many hives stand there")
    findings: list[Finding] = Field(description="of the whole yard; open, or ended lately")


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
    since: Time | None = Field(description="when its first device was placed")
    given_away_at: Time | None = Field(
        description="when its colony was given away or sold; null where there is one again"
    )
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
    reason: str = Field(description="in a few words, of a closed set")
    why: str = Field(description="the same as a sentence")
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
    hive: str | None
    yard: str | None
    urgency: str
    title: str
    body: str
    state: str = Field(description="held, waiting, folded, sent, failed or dropped")
    reason: str = Field(description="of the last decision, in a few words")
    folded_into: int | None
    created_at: Time
    due_at: Time | None
    sent_at: Time | None
    acknowledged_at: Time | None
    acknowledged_by: str | None
    snoozed_until: Time | None
    finding_status: str | None = Field(description="open, ended, explained or withdrawn")
    finding_end_at: Time | None = Field(description="null while it lasts")

    @classmethod
    def of(cls, kept: answers.Alert) -> Self:
        """Bring an alert into the API's form."""
        return cls.model_validate(_alert(kept))


class AlertStory(Alert):
    """An alert with every decision about it, in their order, and where it went."""

    decisions: list[Decision]
    deliveries: list[Delivery]

    @classmethod
    def told(cls, story: answers.Story) -> Self:
        """Bring an alert with its story into the API's form."""
        decisions = [
            Decision(
                at=moment(one.at_s),
                what=one.what,
                reason=one.reason,
                why=one.why,
                channel=one.channel,
            )
            for one in story.decisions
        ]
        deliveries = [
            Delivery(
                channel=one.channel,
                state=one.state,
                attempts=one.attempts,
                next_try_at=moment(one.next_try_s) if one.state == "waiting" else None,
                sent_at=moment_or_none(one.sent_s),
                error=one.error,
            )
            for one in story.deliveries
        ]
        return cls.model_validate(
            _alert(story.alert) | {"decisions": decisions, "deliveries": deliveries}
        )


_ALERT = tuple(one.name for one in fields(answers.Alert))


def _alert(kept: answers.Alert) -> dict[str, Any]:
    """Give an alert's fields, with times instead of seconds."""
    values: dict[str, Any] = {name: getattr(kept, name) for name in _ALERT}
    for name in ("created", "due", "sent", "acknowledged", "finding_end"):
        values[f"{name}_at"] = moment_or_none(values.pop(f"{name}_s"))
    values["snoozed_until"] = moment_or_none(values.pop("snoozed_until_s"))
    return values


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


class Recorded(Inspection):
    """An inspection as it was written down, or last corrected."""

    id: str
    recorded_at: Time = Field(description="when it was first written down")
    version: int = Field(ge=1, description="counts its corrections; its ETag rests on it")
    withdrawn: bool = Field(description="it counts for nothing any more")

    @classmethod
    def of(cls, stored: Stored) -> Self:
        """Bring a stored inspection into the API's form."""
        return cls.model_construct(
            **dict(stored.inspection),
            id=stored.id,
            recorded_at=moment(stored.recorded_s),
            version=stored.version,
            withdrawn=stored.withdrawn,
        )


class Version(Inspection):
    """What an inspection said from one moment on."""

    version: int = Field(ge=1)
    withdrawn: bool
    from_at: Time = Field(description="when it was changed to this")
    changed_by: str | None = Field(description="null of the first version: see `by`")
    why: str | None

    @classmethod
    def of(cls, kept: KeptVersion) -> Self:
        """Bring a version into the API's form."""
        return cls.model_construct(
            **dict(kept.inspection),
            version=kept.version,
            withdrawn=kept.withdrawn,
            from_at=moment(kept.recorded_s),
            changed_by=kept.by,
            why=kept.why,
        )


def tag_of(kept: Stored) -> str:
    """Give the strong ETag of an inspection (RFC 9110 section 8.8.3)."""
    return f'"{kept.id}-{kept.version}"'
