"""What was not admitted, and trying it again after a fix."""

from __future__ import annotations

from base64 import b64encode
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import Field

from hivewatch.api.forms import (
    Answer,
    Asked,
    Limit,
    Number,
    Page,
    Whole,
    moment,
    moment_or_none,
    page_of,
)
from hivewatch.api.models import Held, HeldFault
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here
from hivewatch.clock import SHIFT_MOST_S
from hivewatch.store import quarantine

router = APIRouter(tags=["quarantine"])


class HeldAsked(Asked):
    """Which packs."""

    waiting: Annotated[bool, Field(description="leave out what was admitted since")] = True
    reason: Annotated[str, Field(min_length=1, max_length=32)] | None = None
    limit: Limit = 100
    after: Number | None = None


class Again(Asked):
    """How to try a pack again."""

    shift_s: Whole = Field(
        default=0,
        ge=-SHIFT_MOST_S,
        le=SHIFT_MOST_S,
        description=(
            "what to add to the times that a wrong clock gave, -86400 for a day back; then only "
            "what was refused for its clock is tried"
        ),
    )


class Readmitted(Answer):
    """What became of a pack that was tried again."""

    id: int
    admitted: bool = Field(description="nothing of it stays in quarantine")
    stored: int = Field(description="readings that are new in the store")
    repeats: int = Field(description="readings that were there already")
    quarantined: int = Field(description="records that stay in quarantine")


@router.get("/quarantine", responses=documented(422))
def list_held(here: Here, asked: Annotated[HeldAsked, Query()]) -> Page[Held]:
    """List what is in quarantine, oldest first, with the bytes and the reasons."""
    with here.store.read() as connection:
        rows = quarantine.read(
            connection,
            reason=asked.reason,
            waiting=asked.waiting,
            after=asked.after or 0,
            limit=asked.limit + 1,
        )
    held = [_held(one) for one in rows]
    return page_of(held, asked.limit, here.clock.now_s(), lambda one: str(one.id))


@router.post("/quarantine/{number}/readmit", responses=documented(400, 403, 404, 413, 422))
def readmit(here: Here, number: Number, asked: Again | None = None) -> Readmitted:
    """Try one pack again, as if it had come when it first came; with a shift, its times moved."""
    shift_s = 0 if asked is None else asked.shift_s
    for _, done in here.readmit(here.clock.now_s(), [number], shift_s=shift_s):
        return Readmitted(
            id=number,
            admitted=done.quarantined == 0,
            stored=done.stored,
            repeats=done.repeats,
            quarantined=done.quarantined,
        )
    why = " not refused for its clock," if shift_s else ""
    raise ProblemError(
        404, f"pack {number}: not waiting in quarantine,{why} or never to be admitted."
    )


def _held(one: quarantine.Held) -> Held:
    return Held(
        id=one.id,
        source=one.source,
        device=one.device,
        content_type=one.content_type,
        size_bytes=len(one.raw),
        raw=b64encode(one.raw).decode("ascii"),
        faults=[
            HeldFault(index=index, reason=reason, detail=detail)
            for index, reason, detail in one.faults
        ],
        received_at=moment(one.received_s),
        times=one.times,
        admitted_at=moment_or_none(one.admitted_s),
    )
