"""Push: phones that ask to ring (Web Push, RFC 8030, 8291, 8292), and how each was reached last."""

from __future__ import annotations

from typing import Annotated, Self

from fastapi import APIRouter, Path, Response
from pydantic import AfterValidator, Field

from hivewatch.alerts import phones, webpush
from hivewatch.api.forms import Answer, Asked, Time, moment, moment_or_none
from hivewatch.api.problems import ProblemError, documented
from hivewatch.api.rooms import Here
from hivewatch.store import phones as kept

router = APIRouter(tags=["push"])

# A name, not an address, and no port: `alerts/phones.py` asks what it stands for when it sends.
ENDPOINT = r"^https://([a-z0-9-]{1,63}\.)+[a-z][a-z0-9-]{1,62}/[!-~]{0,1000}$"
Name = Annotated[str, Path(pattern=r"^phone-[0-9a-f]{12}$")]


def _check_point(text: str) -> str:
    try:
        webpush.public_key(webpush.bytes_of(text))
    except ValueError:
        raise ValueError("not a point of P-256, uncompressed, in base64url") from None
    return text


class Keys(Asked):
    """What a message is sealed with (RFC 8291)."""

    p256dh: Annotated[
        str, Field(pattern=r"^B[A-Za-z0-9_-]{86}=?$"), AfterValidator(_check_point)
    ] = Field(description="the phone's public key")
    auth: Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{21}[AQgw](==)?$")] = Field(
        description="the secret that the phone shares with us"
    )


class Subscription(Asked):
    """A PushSubscription as the browser gives it, and what to call the phone."""

    endpoint: Annotated[str, Field(pattern=ENDPOINT, max_length=1200)]
    keys: Keys
    expirationTime: float | None = None  # noqa: N815 - the standard's name
    label: Annotated[str, Field(pattern=r"^[^\x00-\x1f\x7f]{1,100}$")] = "phone"


class Phone(Answer):
    """A phone that asked to ring."""

    id: str = Field(description="`phone-`, and 12 hex digits of the endpoint's SHA-256")
    label: str
    since: Time
    heard: Time | None = Field(description="when its push service took a message last")
    error: str | None = Field(description="why it was not reached, if the last attempt failed")
    error_at: Time | None
    ended: Time | None = Field(description="since when it rings no more: its subscription is gone")

    @classmethod
    def of(cls, one: kept.Phone) -> Self:
        """Bring a phone into the API's form, without what is secret."""
        return cls(
            id=one.name,
            label=one.label,
            since=moment(one.since_s),
            heard=moment_or_none(one.heard_s),
            error=one.error,
            error_at=moment_or_none(one.error_s),
            ended=moment_or_none(one.ended_s),
        )


class Push(Answer):
    """What a browser needs to ask, and who asked."""

    now: Time
    key: str = Field(description="our public key, the browser's `applicationServerKey`")
    phones: list[Phone]


class Trial(Answer):
    """What became of a trial."""

    rang: bool
    said: str


@router.get("/push")
def push(here: Here) -> Push:
    """Give our public key, and the phones that asked to ring."""
    key = webpush.text_of(webpush.point(webpush.own_key(here.store.path)))
    with here.store.read() as connection:
        known = [Phone.of(one) for one in kept.read(connection)]
    return Push(now=moment(here.clock.now_s()), key=key, phones=known)


@router.post(
    "/push",
    status_code=201,
    responses={
        200: {"model": Phone, "description": "It had asked before"},
        **documented(400, 403, 409, 413, 422),
    },
)
def subscribe(here: Here, response: Response, said: Subscription) -> Phone:
    """Let a phone ring; one that asks again stays the same phone."""
    name = kept.name_of(said.endpoint)
    one = kept.Phone(
        name=name,
        endpoint=said.endpoint,
        p256dh=said.keys.p256dh,
        auth=said.keys.auth,
        label=said.label,
        since_s=here.clock.now_s(),
    )
    with here.store.write() as connection:
        if kept.by_name(connection, name) is not None:
            response.status_code = 200
        if not kept.keep(connection, one):
            raise ProblemError(409, f"{kept.PHONES_MAX} phones ring already; switch one off first.")
        known = kept.by_name(connection, name) or one
    return Phone.of(known)


@router.delete("/push/{name}", responses=documented(400, 403, 404, 413, 422))
def unsubscribe(here: Here, name: Name) -> Phone:
    """Let a phone ring no more, and forget it."""
    with here.store.write() as connection:
        one = kept.by_name(connection, name)
        kept.remove(connection, name)
    if one is None:
        raise ProblemError(404, f"{name}: no such phone.")
    return Phone.of(one)


@router.post("/push/{name}/trial", responses=documented(400, 403, 404, 413, 422))
def try_out(here: Here, name: Name) -> Trial:
    """Let a phone ring once, now; nothing is retried."""
    ringing = phones.channels(here.store, here.settings.api.public_url)
    one = next((one for one in ringing if one.name == name), None)
    if one is None:
        raise ProblemError(404, f"{name}: no such phone, or it rings no more.")
    now_s = here.clock.now_s()
    outcome = phones.try_out(one)
    with here.store.write() as connection:
        phones.note(connection, name, outcome, now_s)
    return Trial(rang=outcome.state == "sent", said=outcome.line)
