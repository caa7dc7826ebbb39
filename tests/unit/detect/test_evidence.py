"""What a finding rests on: the readings around it and nothing later, and a picture of them."""

from __future__ import annotations

import io

import numpy as np
import pytest
from nests import DAY_S, HOUR_S, MadeUpNest

from hivewatch.detect.evidence import SHOWN, evidence_of, evidence_of_yard, plot
from hivewatch.detect.finding import KINDS, Finding
from hivewatch.signals.days import days_of
from hivewatch.signals.window import DeviceTrace, Series

NEST = MadeUpNest(days=40)


def found(kind, start_s, *, end_s=None, subject="hive:hazel-1", status="open"):
    return Finding(kind, subject, start_s, end_s, start_s + HOUR_S, 0.9, {}, ("so it was",), status)


def by_name(evidence):
    return {curve.name: curve for curve in evidence.curves}


def test_every_kind_of_the_contract_says_what_it_rests_on():
    assert set(SHOWN) == set(KINDS)
    assert all(shown.readings or shown.days for shown in SHOWN.values())


def test_a_short_thing_shows_the_readings_around_it():
    start_s = NEST.at(20, 12)
    one = found("handling", start_s, end_s=start_s, status="ended")
    seen = by_name(evidence_of(NEST.window(), one))
    assert set(seen) == {"weight", "nest"}
    times = seen["weight"].time_s
    assert (times[0], times[-1]) == (start_s - 4 * HOUR_S, start_s + 5 * HOUR_S)
    assert seen["weight"].value == pytest.approx(40.0, abs=0.1)


def test_nothing_later_than_the_moment_is_shown():
    start_s = NEST.at(20, 12)
    window = NEST.window(until_s=start_s + 2 * HOUR_S)
    seen = evidence_of(window, found("swarm", start_s))
    assert seen.to_s == start_s + 2 * HOUR_S
    assert max(curve.time_s[-1] for curve in seen.curves) <= seen.to_s


def test_a_long_thing_shows_days():
    one = found("brood_end", NEST.at(25))
    seen = by_name(evidence_of(NEST.window(), one))
    warmth = seen["nest, mean of the day"]
    assert warmth.unit == "Cel"
    assert 34 <= np.nanmedian(warmth.value) <= 36
    # it lasts: shown from three weeks before on, to the midnight (in summer time) of the last day
    assert warmth.time_s[0] == NEST.at(25 - 21)
    assert warmth.time_s[-1] == NEST.at(39, 23)


def test_a_line_breaks_where_readings_are_missing():
    nest = MadeUpNest(days=10)
    nest.silence(nest.at(5, 10), nest.at(5, 12))
    one = found("handling", nest.at(5, 9), end_s=nest.at(5, 9), status="ended")
    curve = by_name(evidence_of(nest.window(), one))["weight"]
    assert np.flatnonzero(np.isnan(curve.value)).size == 1
    assert np.all(np.diff(curve.time_s) > 0)


def test_a_silence_shows_how_often_the_device_was_heard():
    window = NEST.window()
    heard_s = np.arange(NEST.at(0), NEST.at(20), 600)
    battery = Series(heard_s, np.full(len(heard_s), 3.9))
    trace = DeviceTrace("scale-17", NEST.at(0), None, heard_s, {"battery": battery})
    placed = type(window)(window.hive, window.yard, window.as_of_s, window.series, (trace,))
    one = found("silent", int(heard_s[-1]), subject="device:scale-17")
    seen = by_name(evidence_of(placed, one))
    assert set(seen) == {"heard", "battery"}
    assert seen["heard"].value[:3].tolist() == [6, 6, 6]
    assert seen["heard"].value[-1] == 0


def test_a_yards_finding_shows_each_hive():
    days = days_of(NEST.window())
    one = found("nectar_flow", NEST.at(20), subject="yard:hazel-end")
    seen = evidence_of_yard("Europe/London", {"b": days, "a": days}, one, NEST.at(30))
    assert [curve.name.split(":")[0] for curve in seen.curves] == ["a", "b"]
    assert {curve.unit for curve in seen.curves} == {"kg a day"}


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_of_every_kind_can_be_drawn(kind):
    heard_s = np.arange(NEST.at(0), NEST.at(20), 3600)
    trace = DeviceTrace("d", NEST.at(0), None, heard_s)
    window = NEST.window()
    window = type(window)(window.hive, window.yard, window.as_of_s, window.series, (trace,))
    subject = "device:d" if kind in {"silent", "clock"} else "hive:hazel-1"
    figure = plot(evidence_of(window, found(kind, NEST.at(20, 12), subject=subject)))
    drawn = io.BytesIO()
    figure.savefig(drawn, dpi=40)
    assert drawn.getvalue().startswith(b"\x89PNG")
    title = figure.get_suptitle()
    assert title.startswith(kind.replace("_", " "))
    if kind == "low_battery":  # this hive has none: the span is drawn all the same
        assert len(figure.axes) == 1
    else:
        assert all(axes.lines for axes in figure.axes)
    assert figure.axes[0].get_xlim()[1] <= window.as_of_s / DAY_S
