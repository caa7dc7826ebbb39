"""One entry of a timeline, of whatever kind."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field

from hivewatch.api.forms import Answer, Time, moment
from hivewatch.api.models import Alert, Finding, Recorded, tag_of
from hivewatch.inspections import Inspection
from hivewatch.store.entries import Moved
from hivewatch.store.inspections import Stored
from hivewatch.timeline import asked
from hivewatch.timeline.asked import About
from hivewatch.timeline.merge import What


class Tap(Answer):
    """One answer to a question: the request to send, as it stands."""

    label: str
    method: Literal["POST", "PUT", "DELETE"]
    path: str = Field(description="below the API's root")
    if_match: str | None = Field(description="to be sent as If-Match, where it is not null")
    body: Inspection | None

    @classmethod
    def of(cls, given: asked.Answer, about: Stored | None) -> Self:
        """Say how to write an answer down, or how to correct the inspection it is about."""
        method: Literal["POST", "PUT", "DELETE"] = "PUT"
        if about is None:
            method = "POST"
        elif given.says is None:
            method = "DELETE"
        return cls(
            label=given.label,
            method=method,
            path="inspections" if about is None else f"inspections/{about.id}",
            if_match=None if about is None else tag_of(about),
            body=given.says,
        )


class Question(Answer):
    """Something that only the keeper knows."""

    id: str = Field(description="stays the same as long as the question does")
    about: About
    hive: str
    at: Time
    text: str
    yes: Inspection | None = Field(
        description="the inspection to post for a yes; its key stores it once"
    )
    answers: list[Tap] = Field(description="all that one tap can say")
    finding: str | None
    inspection: str | None

    @classmethod
    def of(cls, asked: asked.Question, about: Stored | None = None) -> Self:
        """Bring a question into the API's form.

        Parameters
        ----------
        about : Stored or None
            The inspection that it is about, or that an earlier answer wrote and somebody withdrew.
        """
        return cls(
            id=asked.id,
            about=asked.about,
            hive=asked.hive,
            at=moment(asked.at_s),
            text=asked.text,
            yes=asked.yes,
            answers=[Tap.of(one, about) for one in asked.answers],
            finding=asked.finding,
            inspection=asked.inspection,
        )


class DeviceMove(Answer):
    """A device that was put at a hive, or taken from one."""

    device: str
    hive: str | None = Field(description="null: it was put away")
    before: str | None = Field(description="the hive it stood at before")
    text: str


def moved_words(moved: Moved) -> DeviceMove:
    """Say where a device was put."""
    if moved.hive is None:
        text = f"{moved.device} taken from {moved.before}"
    elif moved.before is None:
        text = f"{moved.device} placed at {moved.hive}"
    else:
        text = f"{moved.device} moved from {moved.before} to {moved.hive}"
    return DeviceMove(device=moved.device, hive=moved.hive, before=moved.before, text=text)


class Event(Answer):
    """One entry of a timeline; that of its kind is not null, the others are."""

    at: Time
    what: What
    id: str
    finding: Finding | None = None
    inspection: Recorded | None = None
    alert: Alert | None = None
    question: Question | None = None
    device: DeviceMove | None = None
