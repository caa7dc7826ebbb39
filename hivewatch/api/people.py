"""What people saw: inspections written down, once however often they are sent."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Response
from pydantic import Field

from hivewatch.api.forms import Asked, Identity, Limit, Page, page_of
from hivewatch.api.models import Recorded
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here
from hivewatch.errors import StoreError, UsageError
from hivewatch.inspections import Inspection
from hivewatch.inspections.fields import Key
from hivewatch.store import inspections

router = APIRouter(tags=["inspections"])
IdempotencyKey = Annotated[
    Key | None, Header(description="names this visit, so that telling it twice stores it once")
]


class InspectionsAsked(Asked):
    """Which inspections."""

    hive: Identity | None = None
    limit: Limit = 100
    after: Annotated[str, Field(pattern=r"^[0-9a-zA-Z-]{1,64}$")] | None = None


@router.get("/inspections", responses=documented(422))
def list_inspections(here: Here, asked: Annotated[InspectionsAsked, Query()]) -> Page[Recorded]:
    """List the inspections by the time of the visit."""
    with here.store.read() as connection:
        found = inspections.read(
            connection, hive=asked.hive, after=asked.after, limit=asked.limit + 1
        )
    shown = [Recorded.of(one.id, one.inspection, one.recorded_s) for one in found]
    return page_of(shown, asked.limit, here.clock.now_s(), lambda one: one.id)


@router.post(
    "/inspections",
    status_code=201,
    responses={
        200: {"model": Recorded, "description": "It was written down before"},
        **documented(400, 403, 409, 413, 422),
    },
)
def write_down(
    here: Here, response: Response, said: Inspection, idempotency_key: IdempotencyKey = None
) -> Recorded:
    """Write an inspection down; the same one again is answered with what was stored first."""
    if said.key is None:
        said = said.model_copy(update={"key": idempotency_key})
    elif idempotency_key not in {None, said.key}:
        raise ProblemError(409, "idempotency-key: not the key of the body; give one of them.")
    try:
        with here.store.write() as connection:
            number, is_new = inspections.add(connection, said, here.clock.now_s())
            kept = inspections.by_id(connection, number)
    except UsageError as error:  # well said, and yet against what is known here
        raise ProblemError(409, str(error)) from error
    if kept is None:
        raise StoreError("inspection", number, "is gone again", "send it once more")
    if not is_new:
        response.status_code = 200
    return Recorded.of(number, kept.inspection, kept.recorded_s)
