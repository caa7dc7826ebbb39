"""Quiet hours: when a phone rests, in the yard's own time."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from hivewatch.settings import Quiet


def zone(name: str | None) -> tzinfo:
    """Give a yard's time zone; UTC when there is none, or none that this machine knows."""
    if not name:
        return UTC
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return UTC


def quiet_until_s(quiet: Quiet | None, timezone: str | None, at_s: int) -> int | None:
    """Say when the quiet hours around a moment end, or None when it is not in any.

    The hours are spans between two moments, each a local time of day on a local date; the span of
    a night in which the clocks change is an hour longer or shorter, and never falls apart. A time
    of day that the clocks skip means the moment after the skip; one that comes twice, the first.

    Parameters
    ----------
    quiet : Quiet or None
        The keeper's quiet hours; None for none.
    timezone : str or None
        IANA name of the yard's zone; None for UTC.
    at_s : int
        The moment, Unix time. [s]

    Returns
    -------
    int or None
        Unix time at which the phone may ring again. [s]
    """
    if quiet is None:
        return None
    place = zone(timezone)
    today = datetime.fromtimestamp(at_s, place).date()
    over_midnight = timedelta(days=1 if quiet.end <= quiet.start else 0)
    # Yesterday's night may still last; a skipped hour may push its end past today's date.
    for day in (today - timedelta(days=1), today):
        begins_s = _moment_s(day, quiet.start, place)
        ends_s = _moment_s(day + over_midnight, quiet.end, place)
        if begins_s <= at_s < ends_s:
            return ends_s
    return None


def _moment_s(day: date, at: time, place: tzinfo) -> int:
    """Give the moment of a local time of day; fold 0 is the rule of the docstring (PEP 495)."""
    return round(datetime.combine(day, at, tzinfo=place).timestamp())
