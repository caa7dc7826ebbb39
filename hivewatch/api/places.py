"""Yards, hives and devices: where they are and how they stand."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from typing import Annotated, Any, Literal, NamedTuple

from fastapi import APIRouter, Path, Query, Response
from pydantic_core import to_json
from sqlalchemy import Connection

from hivewatch.api.forms import Asked, Identity, Limit, Page, moment, moment_or_none, page_of
from hivewatch.api.models import Device, Finding, Hive, Now, Yard, finding_fields
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here, Rooms
from hivewatch.apiary import Hive as Place
from hivewatch.store import apiary, findings, news, standing

RECENT_S = 2 * standing.DAY_S  # [s] own choice: what ended yesterday still wants a look today

VERSION = version("hivewatch")

router = APIRouter(tags=["places"])
HiveId = Annotated[Identity, Path(description="the hive's id")]


class YardsAsked(Asked):
    """Which yards."""

    limit: Limit = 100
    after: Identity | None = None


class HivesAsked(YardsAsked):
    """Which hives."""

    yard: Identity | None = None


class DevicesAsked(Asked):
    """Which devices."""

    unplaced: bool = False
    limit: Limit = 100
    after: Annotated[str, Query(pattern=r"^[A-Za-z0-9._-]{1,64}$")] | None = None


@router.get("/now")
def now(here: Here) -> Now:
    """Tell the server's time."""
    return Now(now=moment(here.clock.now_s()), version=VERSION)


@router.get("/yards", responses=documented(422))
def yards(here: Here, asked: Annotated[YardsAsked, Query()]) -> Page[Yard]:
    """List the yards."""
    now_s = here.clock.now_s()
    with here.store.read() as connection:
        rows = standing.yards(connection, after=asked.after, limit=asked.limit + 1)
        told = _told_lately(here, connection, now_s)
    found = [
        Yard(
            id=one.id,
            name=one.name,
            latitude=one.latitude,
            longitude=one.longitude,
            timezone=one.timezone,
            hives=count,
            findings=[Finding(**finding) for finding in told[f"yard:{one.id}"]],
        )
        for one, count in rows
    ]
    return page_of(found, asked.limit, now_s, lambda one: one.id)


@router.get("/hives", response_model=Page[Hive], responses=documented(422))
def hives(here: Here, asked: Annotated[HivesAsked, Query()]) -> Response:
    """List the hives, each with its last weight, its nest temperature and its findings."""
    now_s = here.clock.now_s()
    with here.store.read() as connection:
        wanted = standing.hives(
            connection, yard=asked.yard, after=asked.after, limit=asked.limit + 1
        )
        shown = wanted[: asked.limit]
        items = _stand(here, connection, shown, now_s)  # no models: a thousand hives are many
    following = shown[-1].id if len(wanted) > len(shown) else None
    body = to_json({"now": moment(now_s), "items": items, "next": following})
    return Response(body, media_type="application/json")


@router.get("/hives/{hive_id}", responses=documented(404, 422))
def hive(here: Here, hive_id: HiveId) -> Hive:
    """Give one hive as it stands."""
    with here.store.read() as connection:
        wanted = standing.hives(connection, only=hive_id)
        found = _stand(here, connection, wanted, here.clock.now_s())
    if not found:
        raise no_hive(hive_id)
    return Hive(**found[0])


@router.get("/devices", responses=documented(422))
def devices(here: Here, asked: Annotated[DevicesAsked, Query()]) -> Page[Device]:
    """List the devices; `unplaced` leaves those that stand at no hive."""
    with here.store.read() as connection:
        rows = apiary.devices(
            connection, unplaced=asked.unplaced, after=asked.after, limit=asked.limit + 1
        )
    found = [
        Device(
            id=row.id,
            hive=row.hive,
            since=moment_or_none(row.since_s),
            heard_at=moment_or_none(row.heard_s),
            status=row.status,
            status_at=moment_or_none(row.status_s),
        )
        for row in rows
    ]
    return page_of(found, asked.limit, here.clock.now_s(), lambda one: one.id)


def no_hive(hive_id: str) -> ProblemError:
    """Say that there is no such hive."""
    return ProblemError(
        404, f'hive "{hive_id}": no such hive; `hivewatch apiary show` lists the hives.'
    )


def must_know(connection: Connection, hive_id: str) -> None:
    """Refuse a hive that is not in the apiary."""
    if not standing.hives(connection, only=hive_id):
        raise no_hive(hive_id)


def _stand(
    rooms: Rooms, connection: Connection, wanted: Sequence[Place], now_s: int
) -> list[dict[str, Any]]:
    """Put together how hives stand, with one query for each kind of thing."""
    names = [one.id for one in wanted]
    last = standing.read(connection, now_s, names)
    kit = standing.kit(connection, now_s, names)
    given = standing.given_away(connection, now_s, names)
    told = _told_lately(rooms, connection, now_s, names[0] if len(names) == 1 else None)
    found = []
    for one in wanted:
        here = kit.get(one.id, standing.NO_KIT)
        its = [*told.get(f"hive:{one.id}", ())]
        for device in here.devices:
            its += told.get(f"device:{device}", ())
        found.append(_hive(one, last.get(one.id, {}), here, given.get(one.id), its))
    return found


class _Told(NamedTuple):
    """What was open or ended lately: as of which news, since when; subject, end [s] and fields."""

    version: int
    since_s: int
    findings: Sequence[tuple[str, int | None, dict[str, Any]]]


def _told_lately(
    here: Rooms, connection: Connection, now_s: int, hive: str | None = None
) -> defaultdict[str, list[dict[str, Any]]]:
    """Give what is open or ended lately, by subject: the fields of `Finding`.

    What is told of all hives is kept until something is written of any.
    """
    since_s, version = now_s - RECENT_S, news.last(connection)
    kept = here.kept.get("told")
    if not isinstance(kept, _Told) or kept.version != version or kept.since_s > since_s:
        rows = findings.read(connection, hive=hive, since_s=since_s)
        kept = _Told(
            version,
            since_s,
            [
                (one.subject, one.end_s, finding_fields(one))
                for one in rows
                if one.status in {"open", "ended"}
            ],
        )
        if hive is None:
            here.kept["told"] = kept
    told: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
    for subject, end_s, fields in kept.findings:
        if end_s is None or end_s >= since_s:
            told[subject].append(fields)
    return told


def _hive(
    one: Place,
    last: Mapping[str, standing.Last],
    kit: standing.Kit,
    given_s: int | None,
    told: list[dict[str, Any]],
) -> dict[str, Any]:
    """Put together how one hive stands: the fields of `Hive`, in their order."""
    weight, nest = last.get("weight"), last.get("nest")
    return {
        "id": one.id,
        "yard": one.yard,
        "frame": one.frame,
        "frames": one.frames,
        "boxes": one.boxes,
        "empty_kg": one.empty_kg,
        "weight_kg": None if weight is None else weight.value,
        "weight_at": None if weight is None else moment(weight.time_s),
        "change_day_kg": _change(weight, 1),
        "change_week_kg": _change(weight, 7),
        "nest_c": None if nest is None else nest.value,
        "nest_at": None if nest is None else moment(nest.time_s),
        "heard_at": moment_or_none(kit.heard_s),
        "since": moment_or_none(kit.since_s),
        "given_away_at": moment_or_none(given_s),
        "devices": list(kit.devices),
        "findings": told,
    }


def _change(last: standing.Last | None, days: Literal[1, 7]) -> float | None:
    """Give what a weight changed by, to the gram."""
    if last is None:
        return None
    before = last.day_before if days == 1 else last.week_before
    return None if before is None else round(last.value - before, 3)
