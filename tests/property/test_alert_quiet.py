"""Quiet hours at any moment of any zone agree with the clock on the wall."""

from __future__ import annotations

from datetime import datetime, time
from zoneinfo import ZoneInfo, available_timezones

from hypothesis import assume, given
from hypothesis import strategies as st

from hivewatch.alerts.quiet import quiet_until_s
from hivewatch.settings import Quiet

ZONES = sorted(zone for zone in available_timezones() if "/" in zone)
moments = st.integers(0, 4_000_000_000)  # [s] 1970 to 2096
minutes = st.integers(0, 24 * 60 - 1)


def a_quiet(start: int, end: int) -> Quiet:
    return Quiet(time(start // 60, start % 60), time(end // 60, end % 60))


def is_within(quiet: Quiet, at: time) -> bool:
    if quiet.start < quiet.end:
        return quiet.start <= at < quiet.end
    return at >= quiet.start or at < quiet.end


@given(moments, st.sampled_from(ZONES), minutes, minutes)
def test_it_is_quiet_when_the_clock_on_the_wall_says_so(at_s, name, start, end):
    assume(start != end)
    zone = ZoneInfo(name)
    offsets = {
        datetime.fromtimestamp(at_s + hours * 3600, zone).utcoffset() for hours in range(-49, 50, 1)
    }
    assume(len(offsets) == 1)  # nights of a change have tests of their own
    quiet = a_quiet(start, end)
    local = datetime.fromtimestamp(at_s, zone)
    until_s = quiet_until_s(quiet, name, at_s)
    assert (until_s is not None) == is_within(quiet, local.time())
    if until_s is not None:
        assert datetime.fromtimestamp(until_s, zone).time() == quiet.end
        assert at_s < until_s <= at_s + 86_400


@given(moments, st.sampled_from(ZONES), minutes, minutes)
def test_quiet_hours_end_and_what_they_end_with_is_not_quiet(at_s, name, start, end):
    assume(start != end)
    # Shorter than a day by more than any change of the clocks, so that two nights never touch;
    # zones that skipped a whole day (Apia 2011, Kwajalein 1993) are no change of that kind.
    assume((end - start) % 1440 <= 1440 - 180)
    assume(name not in {"Pacific/Apia", "Pacific/Fakaofo", "Pacific/Kwajalein"})
    assume(name not in {"Pacific/Enderbury", "Pacific/Kanton", "Pacific/Kiritimati"})
    until_s = quiet_until_s(a_quiet(start, end), name, at_s)
    if until_s is not None:
        assert at_s < until_s <= at_s + 86_400 + 3 * 3600
        assert quiet_until_s(a_quiet(start, end), name, until_s) is None
