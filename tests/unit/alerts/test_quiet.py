"""Quiet hours in the nights in which the clocks change.

Moments of the changes: IANA time zone database (tzdata 2024b, files europe, northamerica,
australasia): London 2026-03-29 and 2026-10-25 at 01:00 UTC; Toronto 2026-03-08 at 07:00 UTC and
2026-11-01 at 06:00 UTC; Sydney 2026-04-04 and 2026-10-03 at 16:00 UTC.
"""

from __future__ import annotations

from datetime import UTC, datetime, time

import pytest

from hivewatch.alerts.quiet import quiet_until_s
from hivewatch.settings import Quiet

NIGHT = Quiet(time(22), time(6, 30))


def utc(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


@pytest.mark.parametrize(
    ("zone", "begins", "ends"),
    [
        # ordinary nights
        ("Europe/London", "2026-01-10T22:00", "2026-01-11T06:30"),
        ("Europe/London", "2026-07-10T21:00", "2026-07-11T05:30"),
        ("America/Toronto", "2026-01-11T03:00", "2026-01-11T11:30"),
        ("Australia/Sydney", "2026-07-10T12:00", "2026-07-10T20:30"),
        # an hour shorter in spring, an hour longer in autumn
        ("Europe/London", "2026-03-28T22:00", "2026-03-29T05:30"),
        ("Europe/London", "2026-10-24T21:00", "2026-10-25T06:30"),
        ("America/Toronto", "2026-03-08T03:00", "2026-03-08T10:30"),
        ("America/Toronto", "2026-11-01T02:00", "2026-11-01T11:30"),
        ("Australia/Sydney", "2026-10-03T12:00", "2026-10-03T19:30"),
        ("Australia/Sydney", "2026-04-04T11:00", "2026-04-04T20:30"),
    ],
)
def test_a_night_lasts_from_its_start_to_its_end(zone, begins, ends):
    begins_s, ends_s = utc(begins), utc(ends)
    assert quiet_until_s(NIGHT, zone, begins_s - 1) is None
    for at_s in range(begins_s, ends_s, 60):
        assert quiet_until_s(NIGHT, zone, at_s) == ends_s
    assert quiet_until_s(NIGHT, zone, ends_s) is None


@pytest.mark.parametrize(
    ("quiet", "zone", "begins", "ends"),
    [
        # 01:30 does not exist in London on 29 March: it ends at 02:30, an hour after 00:30 UTC
        (Quiet(time(22), time(1, 30)), "Europe/London", "2026-03-28T22:00", "2026-03-29T01:30"),
        # 01:30 comes twice on 25 October: the first counts, and the second is not quiet again
        (Quiet(time(22), time(1, 30)), "Europe/London", "2026-10-24T21:00", "2026-10-25T00:30"),
        # it begins within the hour that comes twice: quiet from the first on
        (Quiet(time(1, 30), time(6)), "America/Toronto", "2026-11-01T05:30", "2026-11-01T11:00"),
        # within one day
        (Quiet(time(12), time(14)), "Australia/Sydney", "2026-07-10T02:00", "2026-07-10T04:00"),
    ],
)
def test_a_time_of_day_that_is_skipped_or_comes_twice(quiet, zone, begins, ends):
    begins_s, ends_s = utc(begins), utc(ends)
    spans = [quiet_until_s(quiet, zone, at) for at in range(begins_s - 3600, ends_s + 7200, 60)]
    assert spans.count(ends_s) == (ends_s - begins_s) // 60
    assert set(spans) == {None, ends_s}


def test_no_quiet_hours_and_no_zone():
    assert quiet_until_s(None, "Europe/London", 0) is None
    assert quiet_until_s(NIGHT, None, utc("2026-05-21T23:00")) == utc("2026-05-22T06:30")
    assert quiet_until_s(NIGHT, "Mars/Olympus", utc("2026-05-21T12:00")) is None


@pytest.mark.parametrize(
    ("zone", "evening"),
    [
        ("Europe/London", "2026-03-28T21:00"),
        ("Europe/London", "2026-10-24T21:00"),
        ("America/Toronto", "2026-03-07T21:00"),
        ("America/Toronto", "2026-10-31T21:00"),
        ("Australia/Sydney", "2026-10-03T21:00"),
        ("Australia/Sydney", "2026-04-04T21:00"),
    ],
)
def test_a_phone_rests_through_the_night_of_the_change(a_day, zone, evening):
    day = a_day(evening, zone)
    day.at("22:10").find("robbing")
    day.at("01:10").find("low_stores", "millrace-2")
    day.at("02:40").find("taken", "millrace-3")
    day.phone.heard_nothing_more(1)
    day.at("06:29").phone.heard_nothing_more(1)
    day.at("06:31").phone.heard("06:30", times=2)
