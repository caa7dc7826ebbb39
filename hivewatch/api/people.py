"""What people saw: inspections written down, once however often sent, and corrected."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Path, Query, Response
from pydantic import BeforeValidator, Field
from sqlalchemy import Connection

from hivewatch.api.forms import Asked, Identity, Limit, Page, page_of
from hivewatch.api.models import Recorded, Version, tag_of
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here
from hivewatch.errors import StoreError, UsageError
from hivewatch.inspections import Change, Inspection, fields
from hivewatch.store import inspections
from hivewatch.store.inspections import Stored

router = APIRouter(tags=["inspections"])
InspectionId = Annotated[fields.Identity, Path(description="the inspection's id")]
IfMatch = Annotated[
    str | None,
    Header(description="the ETag of the version that is to be changed, or *; 428 without it"),
]


def _bare(key: object) -> object:
    """Take the quotation marks off a key, which some clients send it in and some do not."""
    is_quoted = isinstance(key, str) and len(key) > len('""') and key[0] == key[-1] == '"'
    return key[1:-1] if isinstance(key, str) and is_quoted else key


IdempotencyKey = Annotated[
    fields.Key | None,
    BeforeValidator(_bare),
    Header(description="names this visit, so that telling it twice stores it once"),
]


class InspectionsAsked(Asked):
    """Which inspections."""

    hive: Identity | None = None
    limit: Limit = 100
    withdrawn: bool = Field(default=False, description="the withdrawn ones, too")
    after: Annotated[str, Field(pattern=r"^[0-9a-zA-Z-]{1,64}$")] | None = None


class Correction(Inspection):
    """All that an inspection is to say from now on, who says so, and why."""

    changed_by: fields.Person | None = None
    why: fields.Why | None = None

    @property
    def change(self) -> Change:
        """Give who and why."""
        return Change(changed_by=self.changed_by, why=self.why)

    @property
    def seen(self) -> Inspection:
        """Give what was seen."""
        names = Inspection.model_fields
        return Inspection.model_construct(
            self.model_fields_set & names.keys(), **{name: getattr(self, name) for name in names}
        )


class WithdrawalAsked(Asked):
    """Who withdraws an inspection, and why."""

    by: fields.Person | None = None
    why: fields.Why | None = None


@router.get("/inspections", responses=documented(422))
def list_inspections(here: Here, asked: Annotated[InspectionsAsked, Query()]) -> Page[Recorded]:
    """List the inspections by the time of the visit."""
    with here.store.read() as connection:
        found = inspections.read(
            connection,
            hive=asked.hive,
            withdrawn=asked.withdrawn,
            after=asked.after,
            limit=asked.limit + 1,
        )
    shown = [Recorded.of(one) for one in found]
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
    response.headers["etag"] = tag_of(kept)
    return Recorded.of(kept)


@router.get("/inspections/{inspection_id}", responses=documented(404, 422))
def inspection(here: Here, response: Response, inspection_id: InspectionId) -> Recorded:
    """Give one inspection as it stands now, a withdrawn one too."""
    with here.store.read() as connection:
        kept = _kept(connection, inspection_id)
    response.headers["etag"] = tag_of(kept)
    return Recorded.of(kept)


@router.get("/inspections/{inspection_id}/versions", responses=documented(404, 422))
def inspection_versions(here: Here, inspection_id: InspectionId) -> Page[Version]:
    """Give all that an inspection has said, the first version first."""
    with here.store.read() as connection:
        _kept(connection, inspection_id)
        found = inspections.versions(connection, inspection_id)
    shown = [Version.of(one) for one in found]
    return page_of(shown, len(shown), here.clock.now_s(), lambda one: str(one.version))


@router.put(
    "/inspections/{inspection_id}",
    responses=documented(400, 403, 404, 409, 412, 413, 422, 428),
)
def correct(
    here: Here,
    response: Response,
    inspection_id: InspectionId,
    said: Correction,
    if_match: IfMatch = None,
) -> Recorded:
    """Correct an inspection; what it said before is kept. A withdrawn one stands again.

    Of several at once the first is taken, the others are told that theirs is of an older version.
    Sent again for want of an answer, it is answered with what stands.
    """
    now_s = here.clock.now_s()
    try:
        with here.store.write() as connection:
            kept = _kept(connection, inspection_id)
            if said.key not in {None, kept.inspection.key}:
                raise ProblemError(409, "body.key: the key of an inspection stays; leave it out.")
            seen = said.seen.model_copy(update={"key": kept.inspection.key})
            is_done = not kept.withdrawn and seen == kept.inspection
            demand(if_match, kept, is_done=is_done)
            kept = inspections.correct(connection, kept, seen, now_s, said.change)
    except UsageError as error:
        raise ProblemError(409, str(error)) from error
    response.headers["etag"] = tag_of(kept)
    return Recorded.of(kept)


@router.delete(
    "/inspections/{inspection_id}", responses=documented(400, 403, 404, 412, 413, 422, 428)
)
def withdraw(
    here: Here,
    response: Response,
    inspection_id: InspectionId,
    asked: Annotated[WithdrawalAsked, Query()],
    if_match: IfMatch = None,
) -> Recorded:
    """Withdraw an inspection: it counts for nothing any more, and what it said is kept."""
    now_s = here.clock.now_s()
    change = Change(changed_by=asked.by, why=asked.why)
    with here.store.write() as connection:
        kept = _kept(connection, inspection_id)
        demand(if_match, kept, is_done=kept.withdrawn)
        kept = inspections.withdraw(connection, kept, now_s, change)
    response.headers["etag"] = tag_of(kept)
    return Recorded.of(kept)


def _kept(connection: Connection, number: str) -> Stored:
    kept = inspections.by_id(connection, number)
    if kept is None:
        wrong = "no such inspection; GET inspections lists them."
        raise ProblemError(404, f'inspection "{number}": {wrong}')
    return kept


def demand(if_match: str | None, kept: Stored, *, is_done: bool) -> None:
    """Refuse an edit of a version that is not the present one (RFC 9110 section 13.1.1).

    What was asked for and is so already is no fault: the answer to the first try was lost.
    """
    if if_match is None:
        raise ProblemError(428, "if-match: missing; send the ETag of the version you saw.")
    tags = [one.strip() for one in if_match.split(",")]
    if not is_done and "*" not in tags and tag_of(kept) not in tags:
        raise ProblemError(
            412, "if-match: somebody has changed it since; read it again and decide anew."
        )
