"""The records of the apiary file, read and edited one by one: yards, hives, where devices stand.

A record is given whole and written whole; its ETag changes only when it does, whatever its hive
weighs meanwhile. There is no taking away: what was measured at a place stays true of it. A device
is put away by a last stay without a hive.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Annotated, Any, Self, TypeVar

from fastapi import APIRouter, Header, Path, Response
from pydantic import Field, TypeAdapter, ValidationError
from sqlalchemy import Connection

from hivewatch.api.forms import Asked, Identity, Time, Whole, moment, moment_or_none
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here
from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.mistakes import WrongValueError, told
from hivewatch.moments import read_seconds, written_s
from hivewatch.store import apiary

STAYS_MOST = 1000  # own choice: a device that is moved every day for years

router = APIRouter(tags=["places"])
YardId = Annotated[Identity, Path(description="the yard's id")]
HiveId = Annotated[Identity, Path(description="the hive's id")]
DeviceId = Annotated[
    str, Path(pattern=r"^[A-Za-z0-9._-]{1,64}$", description="the device's id, as in its topic")
]
IfMatch = Annotated[
    str | None,
    Header(description="the ETag of the record that is to be changed, or *; none for a new one"),
]
READ = documented(404, 422)
WRITTEN: dict[int | str, dict[str, Any]] = {
    201: {"description": "It is new"},
    **documented(400, 403, 409, 412, 413, 422, 428),
}


class YardRecord(Asked):
    """A yard as the apiary file has it."""

    name: str = Field(min_length=1, max_length=200)
    latitude: float = Field(strict=True, ge=-90, le=90, description="degrees, north positive")
    longitude: float = Field(strict=True, ge=-180, le=180, description="degrees, east positive")
    timezone: str = Field(description="IANA name")

    @classmethod
    def of(cls, one: Yard) -> Self:
        """Bring a yard into this form."""
        return cls(
            name=one.name, latitude=one.latitude, longitude=one.longitude, timezone=one.timezone
        )


class HiveRecord(Asked):
    """A hive as the apiary file has it."""

    yard: Identity
    frame: str = Field(description="a key of the frame table")
    frames: Whole = Field(ge=1, le=40, description="in one brood box")
    boxes: Whole = Field(ge=1, le=10, description="brood boxes")
    empty_kg: float | None = Field(
        default=None, strict=True, ge=0, le=200, description="hive without bees, brood and stores"
    )
    since: Time | None = Field(default=None, description="when it began; no visit is from before")

    @classmethod
    def of(cls, one: Hive) -> Self:
        """Bring a hive into this form."""
        return cls(
            yard=one.yard,
            frame=one.frame,
            frames=one.frames,
            boxes=one.boxes,
            empty_kg=one.empty_kg,
            since=moment_or_none(one.since),
        )


class Stay(Asked):
    """From a moment on a device stands at a hive, or at none, until its next stay."""

    since: Time
    hive: Identity | None = Field(default=None, description="null: it was put away")


class DeviceRecord(Asked):
    """Where a device stood and stands."""

    stays: list[Stay] = Field(min_length=1, max_length=STAYS_MOST)

    @classmethod
    def of(cls, placements: Sequence[Placement]) -> Self:
        """Bring the placements of one device into this form."""
        ordered = sorted(placements, key=lambda one: one.since_s)
        return cls.model_construct(
            stays=[Stay(since=moment(one.since_s), hive=one.hive) for one in ordered]
        )


Record = TypeVar("Record", YardRecord, HiveRecord, DeviceRecord)


@router.get("/yards/{yard_id}/record", responses=READ)
def yard_record(here: Here, response: Response, yard_id: YardId) -> YardRecord:
    """Give a yard as the apiary file has it."""
    with here.store.read() as connection:
        return _given(response, _yard(connection, yard_id), f'yard "{yard_id}"')


@router.put("/yards/{yard_id}/record", responses=WRITTEN)
def write_yard(
    here: Here, response: Response, yard_id: YardId, said: YardRecord, if_match: IfMatch = None
) -> YardRecord:
    """Write a yard down, or change it."""
    with here.store.write() as connection:
        before = _yard(connection, yard_id)
        one = _checked(Yard, {"id": yard_id, **said.model_dump()})
        return _write(
            connection, response, before, YardRecord.of(one), if_match, Apiary(yards=(one,))
        )


@router.get("/hives/{hive_id}/record", responses=READ)
def hive_record(here: Here, response: Response, hive_id: HiveId) -> HiveRecord:
    """Give a hive as the apiary file has it."""
    with here.store.read() as connection:
        return _given(response, _hive(connection, hive_id), f'hive "{hive_id}"')


@router.put("/hives/{hive_id}/record", responses=WRITTEN)
def write_hive(
    here: Here, response: Response, hive_id: HiveId, said: HiveRecord, if_match: IfMatch = None
) -> HiveRecord:
    """Write a hive down, or change it."""
    with here.store.write() as connection:
        before = _hive(connection, hive_id)
        if _yard(connection, said.yard) is None:
            raise ProblemError(409, f'body.yard: no yard "{said.yard}"; write it down first.')
        one = _checked(Hive, {"id": hive_id, **said.model_dump()})
        return _write(
            connection, response, before, HiveRecord.of(one), if_match, Apiary(hives=(one,))
        )


@router.get("/devices/{device_id}/record", responses=READ)
def device_record(here: Here, response: Response, device_id: DeviceId) -> DeviceRecord:
    """Give where a device stood and stands; one that nobody has placed yet has no record."""
    with here.store.read() as connection:
        return _given(response, _device(connection, device_id), f'device "{device_id}"')


@router.put("/devices/{device_id}/record", responses=WRITTEN)
def place_device(
    here: Here,
    response: Response,
    device_id: DeviceId,
    said: DeviceRecord,
    if_match: IfMatch = None,
) -> DeviceRecord:
    """Place a device, move it, or put it away: all its stays, in any order."""
    with here.store.write() as connection:
        before = _device(connection, device_id)
        hives = apiary.known_hives(connection, {one.hive for one in said.stays if one.hive})
        for n, stay in enumerate(said.stays):
            if stay.hive is not None and stay.hive not in hives:
                wrong = f'body.stays.{n}.hive: no hive "{stay.hive}"; write it down first.'
                raise ProblemError(409, wrong)
        placements = [
            Placement(device_id, stay.hive, _seconds(f"body.stays.{n}.since", stay.since))
            for n, stay in enumerate(said.stays)
        ]
        if len({one.since_s for one in placements}) < len(placements):
            wrong = "body.stays: two begin at the same time; a device stands at one hive."
            raise ProblemError(409, wrong)
        given = Apiary(placements=tuple(placements))
        return _write(connection, response, before, DeviceRecord.of(placements), if_match, given)


def _yard(connection: Connection, yard_id: str) -> YardRecord | None:
    found = [one for one in apiary.read(connection).yards if one.id == yard_id]
    return YardRecord.of(found[0]) if found else None


def _hive(connection: Connection, hive_id: str) -> HiveRecord | None:
    found = apiary.read_around(connection, hive_id).hives
    return HiveRecord.of(found[0]) if found else None


def _device(connection: Connection, device_id: str) -> DeviceRecord | None:
    found = apiary.read_device(connection, device_id).placements
    return DeviceRecord.of(found) if found else None


def _checked(kind: type[Any], values: dict[str, Any]) -> Any:  # noqa: ANN401 - a yard or a hive
    """Check what the apiary file would check, too: names of frames and zones, text that prints."""
    if values.get("since") is not None:
        values["since"] = written_s(_seconds("body.since", values["since"]))
    try:
        return TypeAdapter(kind).validate_python(values)
    except ValidationError as error:
        detail = error.errors()[0]
        wrong = "; ".join(part for part in told(detail) if part)
        raise ProblemError(409, f"body.{detail['loc'][0]}: {wrong}.") from error


def _seconds(where: str, at: Time) -> int:
    try:
        return read_seconds(at)
    except WrongValueError as error:
        raise ProblemError(409, f"{where}: {error}.") from error


def _given(response: Response, found: Record | None, name: str) -> Record:
    if found is None:
        raise ProblemError(404, f"{name}: no such record; PUT one here to make it.")
    response.headers["etag"] = _tag(found)
    return found


def _write(
    connection: Connection,
    response: Response,
    before: Record | None,
    after: Record,
    if_match: str | None,
    given: Apiary,
) -> Record:
    """Write a record, unless it is changed by somebody who has not seen what it is now.

    What is so already is no fault: the answer to the first try was lost.
    """
    tags = [one.strip() for one in (if_match or "").split(",")]
    if before is None:
        if if_match is not None:
            raise ProblemError(412, "if-match: there is no such record yet; leave it out.")
        response.status_code = 201
    elif before != after:
        if if_match is None:
            raise ProblemError(428, "if-match: missing; send the ETag of the record you saw.")
        if "*" not in tags and _tag(before) not in tags:
            raise ProblemError(412, "if-match: it was changed since; read it again, decide anew.")
    apiary.load(connection, given)
    response.headers["etag"] = _tag(after)
    return after


def _tag(record: Asked) -> str:
    """Give the strong ETag of a record (RFC 9110 section 8.8.3)."""
    digest = hashlib.blake2b(record.model_dump_json().encode(), digest_size=12)
    return f'"{digest.hexdigest()}"'
