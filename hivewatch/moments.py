"""Times as people and files write them: read with their offset to UTC, and written again."""

from __future__ import annotations

from datetime import UTC, date, datetime

from hivewatch.mistakes import WrongValueError

EARLIEST = datetime(1970, 1, 1, tzinfo=UTC)
DAY_CHARS = 10  # of a day alone, 2026-05-01
LATEST = datetime(2200, 1, 1, tzinfo=UTC)


def read_moment(value: object) -> datetime:
    """Take a time with its offset, as text or as a TOML time.

    Raises
    ------
    WrongValueError
        If it is no time, has no offset, or lies outside the years 1970 to 2199.
    """
    if isinstance(value, str):
        text = value
        try:
            value = datetime.fromisoformat(text)
        except ValueError:
            raise WrongValueError("not a date and time") from None
        if len(text) <= DAY_CHARS:
            remedy = f'write it as "{value:%Y-%m-%d}T00:00:00Z"'
            raise WrongValueError("a day without a time", remedy)
    if not isinstance(value, datetime):
        raise WrongValueError("not a date and time")
    if value.tzinfo is None:
        raise WrongValueError("without an offset", 'end it with "Z", or an offset such as "+01:00"')
    try:
        value = value.astimezone(UTC)
    except OverflowError:
        value = LATEST
    if not EARLIEST <= value < LATEST:
        raise WrongValueError("out of range", "use a year from 1970 to 2199")
    return value


def read_seconds(value: object) -> int:
    """Take a time with its offset to Unix seconds."""
    return int(read_moment(value).timestamp() // 1)


def written(moment: datetime) -> str:
    """Give a time as RFC 3339 in UTC."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def written_s(time_s: int) -> str:
    """Give Unix seconds as RFC 3339 in UTC."""
    return written(datetime.fromtimestamp(time_s, UTC))


def spoken(day: date) -> str:
    """Say a day as people do: 3 June."""
    return f"{day.day} {day:%B}"
