"""What was measured and what was found: readings by steps, findings, a hive's timeline."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import APIRouter, Query, Response
from pydantic import Field
from pydantic_core import to_json

from hivewatch.api.forms import Answer, Asked, Identity, Limit, Page, Time, moment, page_of, seconds
from hivewatch.api.models import Finding, Step
from hivewatch.api.places import HiveId, must_know
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here
from hivewatch.detect.finding import KINDS, Status
from hivewatch.mistakes import Allowed
from hivewatch.store import findings, history
from hivewatch.wire.quantities import QUANTITIES, TOTAL_OF

STEPS_MAX = 10_000  # own choice: a year by the hour
STEPS_WANTED = 700  # own choice: about the columns of a chart on a desk
WEEK_S = 7 * 86_400
_UNIT_S = {"m": 60, "h": 3600, "d": 86_400}
_LADDER = ("1m", "5m", "15m", "1h", "3h", "6h", "1d", "7d", "30d")
_TOTALS = {total.name for total in TOTAL_OF.values()}
SHOWN = sorted(QUANTITIES.keys() - _TOTALS)

router = APIRouter(tags=["history"])


class ReadingsAsked(Asked):
    """Which readings of a hive."""

    quantity: Annotated[str, Field(json_schema_extra={"enum": list(SHOWN)})]
    from_: Annotated[Time | None, Field(alias="from", description="included; else a week ago")] = (
        None
    )
    to: Annotated[Time | None, Field(description="excluded; else now")] = None
    step: Annotated[
        str | None,
        Field(
            pattern=r"^[1-9][0-9]{0,3}[mhd]$",
            description="such as 15m, 1h, 1d, from 1970 on in UTC; else what suits the span",
        ),
        Allowed("a number of minutes, hours or days, such as 15m, 1h, 1d"),
    ] = None
    limit: Annotated[int, Field(ge=1, le=STEPS_MAX, description="how many steps at most")] = (
        STEPS_MAX
    )
    after: Annotated[Time | None, Field(description="only steps that begin later")] = None


class Readings(Answer):
    """One quantity of a hive over a span, by steps of time."""

    now: Time
    hive: str
    quantity: str
    unit: str = Field(description="as registered by RFC 8428 or RFC 8798")
    from_: Time = Field(serialization_alias="from")
    to: Time
    step: str
    items: list[Step]
    next: Time | None = Field(description="give it as `after` to get what follows; null at the end")


class FindingsAsked(Asked):
    """Which findings."""

    hive: Identity | None = None
    yard: Identity | None = None
    kind: Annotated[str, Field(json_schema_extra={"enum": list(KINDS)})] | None = None
    status: Status | None = None
    since: Annotated[Time | None, Field(description="still so at this time, or later")] = None
    until: Annotated[Time | None, Field(description="begun before this time")] = None
    limit: Limit = 100
    after: Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")] | None = None


@router.get("/hives/{hive_id}/readings", response_model=Readings, responses=documented(404, 422))
def readings(here: Here, hive_id: HiveId, asked: Annotated[ReadingsAsked, Query()]) -> Response:
    """Give one quantity of a hive by steps of time, summed up in the store."""
    quantity = QUANTITIES.get(asked.quantity)
    if quantity is None or quantity.name in _TOTALS:
        known = ", ".join(SHOWN)
        raise ProblemError(422, f'quantity "{asked.quantity}": no such quantity; use {known}.')
    now_s = here.clock.now_s()
    to_s = now_s + 1 if asked.to is None else seconds(asked.to)
    from_s = max(0, to_s - WEEK_S) if asked.from_ is None else seconds(asked.from_)
    step = asked.step or _suits(to_s - from_s)
    step_s = length_s(step)
    with here.store.read() as connection:
        must_know(connection, hive_id)
        steps = history.read(connection, hive_id, quantity, from_s, min(to_s, now_s + 1), step_s)
    if asked.after is not None:
        steps = [one for one in steps if one.time_s > seconds(asked.after)]
    shown = steps[: asked.limit]
    answer = Readings(
        now=moment(now_s),
        hive=hive_id,
        quantity=quantity.name,
        unit=quantity.unit,
        from_=moment(from_s),
        to=moment(to_s),
        step=step,
        items=[],
        next=moment(shown[-1].time_s) if len(steps) > len(shown) else None,
    )
    items = [
        {
            "time": moment(one.time_s),
            "mean": one.mean,
            "low": one.low,
            "high": one.high,
            "total": one.total,
            "count": one.readings,
        }
        for one in shown
    ]  # no models: a year by the hour is long
    body = to_json(answer.model_dump(by_alias=True) | {"items": items})
    return Response(body, media_type="application/json")


@router.get("/findings", responses=documented(422))
def list_findings(here: Here, asked: Annotated[FindingsAsked, Query()]) -> Page[Finding]:
    """List findings by their start."""
    if asked.kind is not None and asked.kind not in KINDS:
        raise ProblemError(422, f'kind "{asked.kind}": no such kind; use {", ".join(KINDS)}.')
    with here.store.read() as connection:
        found = findings.read(
            connection,
            hive=asked.hive,
            yard=asked.yard,
            kind=asked.kind,
            status=asked.status,
            since_s=None if asked.since is None else seconds(asked.since),
            until_s=None if asked.until is None else seconds(asked.until),
            after=asked.after,
            limit=asked.limit + 1,
        )
    shown = [Finding.of(one) for one in found]
    return page_of(shown, asked.limit, here.clock.now_s(), lambda one: one.id)


@router.get("/findings/{finding_id}", responses=documented(404, 422))
def one_finding(
    here: Here, finding_id: Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
) -> Finding:
    """Give one finding."""
    with here.store.read() as connection:
        found = findings.by_id(connection, finding_id)
    if found is None:
        raise ProblemError(404, f'finding "{finding_id}": no such finding.')
    return Finding.of(found)


def length_s(step: str) -> int:
    """Give the length of a step such as 15m in seconds."""
    return int(re.sub(r"\D", "", step)) * _UNIT_S[step[-1]]


def _suits(span_s: int) -> str:
    """Choose the shortest step that gives about as many points as a chart can show."""
    return next((step for step in _LADDER if span_s / length_s(step) <= STEPS_WANTED), _LADDER[-1])
