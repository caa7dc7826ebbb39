"""The forms that all answers share: times RFC 3339 in UTC, numbers in bounds, lists in pages."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from typing import Annotated, Generic, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer

# RFC 3339 section 5.6, with an offset; a leap second (…:60) counts as the second before it.
_RFC3339 = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:(\d\d)(\.\d{1,9})?([Zz]|[+-]([01]\d|2[0-3]):[0-5]\d)"
)
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FAR_S = 253_370_764_799
LIMIT_MAX = 1000
PAGE_MAX = 500  # own choice: so that no page takes long; whoever asks for more gets `next`


def _read_time(value: object) -> object:
    """Take a time as text with its offset; numbers and bare local times are not one."""
    if isinstance(value, datetime):
        return value
    match = _RFC3339.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise ValueError('not a time; use RFC 3339 with an offset: "2026-05-21T13:05:00Z"')
    text = value.upper() if isinstance(value, str) else ""
    return text[:17] + "59" + text[19:] if match[1] == "60" else text


def _read_day(value: object) -> object:
    """Take a day as text; a number of seconds, or a moment, is none."""
    if value is None or type(value) is date:
        return value
    if not isinstance(value, str) or _DAY.fullmatch(value) is None:
        raise ValueError('not a day; write it as "2026-05-21"')
    return value


def _read_whole(value: object) -> object:
    """Take 2.0 for 2, as JSON does."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _write_time(value: datetime) -> str:
    return value.astimezone(UTC).isoformat()[:19] + "Z"


Time = Annotated[
    datetime, BeforeValidator(_read_time), PlainSerializer(_write_time, return_type=str)
]
Whole = Annotated[int, Field(strict=True), BeforeValidator(_read_whole)]
LocalDay = Annotated[date, BeforeValidator(_read_day)]
Item = TypeVar("Item")
Identity = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,64}$")]
Number = Annotated[int, Field(ge=1, lt=2**53)]
Limit = Annotated[
    int,
    Field(ge=1, le=LIMIT_MAX, description=f"how many at most; a page holds {PAGE_MAX}"),
    AfterValidator(lambda limit: min(limit, PAGE_MAX)),
]


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
