"""Devices and their troubles; packs that say what was measured."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from simulators import faults, files, packs, scenario, season, sensors
from simulators.plans import Happening
from simulators.season import HiveSeason
from simulators.sensors import Feed

TODAY = date(2026, 11, 25)
CHANCE = np.random.default_rng(1)
HOUR, DAY = 3_600, 86_400


def feed(quantity: str = "weight", n: int = 288, value: float = 40.0) -> Feed:
    time_s = 1_777_593_600 + 600 * np.arange(n, dtype=np.int64)
    values = value + np.sin(np.arange(n))
    return Feed("scale-croft-1", quantity, time_s, values, time_s)


def suffer(what: str, of: Feed, size: float = 0.0, days: float = 1.0) -> Feed:
    begin = int(of.time_s[0]) + DAY // 2
    event = Happening(what, "05-01", device="scale", size=size)
    return faults.suffer(of, event, begin, begin + round(days * DAY), CHANCE)


def test_silence_leaves_a_gap_of_its_length() -> None:
    left = suffer("silent", feed())
    assert left.time_s.size == 288 - 144
    assert np.diff(left.time_s).max() == DAY + 600


def test_stuck_repeats_one_value() -> None:
    assert np.unique(suffer("stuck", feed()).value[72:216]).size == 1
    assert np.unique(suffer("stuck", feed("battery", value=3.9)).value).size > 100


def test_a_dead_battery_falls_and_then_nothing_comes() -> None:
    left = suffer("dead battery", feed("battery", value=3.9))
    assert left.time_s[-1] < feed().time_s[-1] - 10 * HOUR
    assert left.value[-20:].mean() < 3.4
    assert suffer("dead battery", feed()).time_s.size == left.time_s.size


def test_a_low_battery_goes_on_sending() -> None:
    assert suffer("low battery", feed("battery", value=3.9)).time_s.size == 288


def test_drift_stays() -> None:
    moved = suffer("drift", feed(), size=7.0).value - feed().value
    assert moved[:72] == pytest.approx(0, abs=1e-3)
    assert moved[-1] == pytest.approx(1.0, abs=0.02)


def test_spikes_are_few_and_wild() -> None:
    wild = np.abs(suffer("spikes", feed(n=2_000), size=0.02, days=13).value - feed(n=2_000).value)
    assert 5 < (wild > 1).sum() < 80


@pytest.mark.parametrize("what", ["clock", "wrong zone"])
def test_a_wrong_clock_stamps_wrong_and_sends_on_time(what: str) -> None:
    left = suffer(what, feed(), size=-2)
    assert np.array_equal(left.sent_s, feed().sent_s)
    assert set((left.time_s - feed().time_s).tolist()) == {0, -7_200}


def test_late_records_come_together_and_unchanged() -> None:
    left = suffer("late", feed())
    assert np.array_equal(left.time_s, feed().time_s)
    assert (left.sent_s >= left.time_s).all()
    assert np.unique(left.sent_s[72:216]).size == 1


def test_shuffled_records_are_all_there() -> None:
    left = suffer("shuffled", feed(), size=3)
    assert np.array_equal(np.sort(left.time_s), feed().time_s)
    assert (np.diff(left.sent_s) < 0).any()


def test_repeats_are_exact() -> None:
    left = suffer("repeats", feed(), size=0.3)
    assert left.time_s.size > 300
    pairs = set(zip(left.time_s.tolist(), left.value.tolist(), strict=True))
    assert len(pairs) == 288


def test_patchy_loses_about_its_share() -> None:
    left = suffer("patchy", feed(n=3_000), size=0.3, days=20)
    assert 1_900 < left.time_s.size < 2_500


@pytest.fixture(scope="module")
def faulty() -> list[HiveSeason]:
    return list(season.play(scenario.load("sensor-faults", TODAY)))


def test_every_fault_has_its_truth(faulty: list[HiveSeason]) -> None:
    told = {str(event["kind"]) for hive in faulty for event in hive.watched.events}
    assert {"silent", "stuck", "clock", "low_battery", "scale_drift"} <= told


def test_a_moved_probe_reads_the_other_hive(faulty: list[HiveSeason]) -> None:
    home, other = faulty[5], faulty[0]
    placed = [d for d in home.watched.devices if d.id == "probe-wheel-pool-6"]
    assert [d.hive for d in placed] == ["wheel-pool-6", "wheel-pool-1"]
    nest = next(f for f in home.watched.feeds if f.quantity == "nest")
    after = nest.time_s > placed[1].since_s + DAY
    sky = other.told.weather
    truth = [np.interp(nest.time_s, sky.time_s, h.told.nest.nest_c) for h in (home, other)]
    far = [np.abs(nest.value - t)[after].mean() for t in truth]
    assert far[1] < 0.1 < far[0]


def test_a_yard_s_radio_may_fail_for_all_devices_of_a_hive() -> None:
    *_, dark = season.play(scenario.load("bad-radio", TODAY))
    told = [event for event in dark.watched.events if event["kind"] == "silent"]
    assert {event["subject"] for event in told} == {
        f"device:{kind}-deep-combe-3" for kind in ("scale", "probe", "counter")
    }


def test_two_hives_on_one_scale_weigh_together() -> None:
    first, second, alone = season.play(scenario.load("two-on-one-scale", TODAY))
    by_name = {f.device for hive in (first, second, alone) for f in hive.watched.feeds}
    assert "scale-pound-lane-2" not in by_name
    weight = next(f for f in first.watched.feeds if f.quantity == "weight")
    both = first.told.weight.gross_kg + second.told.weight.gross_kg
    there = np.interp(weight.time_s, first.told.weather.time_s, both)
    assert np.median(np.abs(weight.value - there)) < 0.05


def test_intervals_from_a_minute_to_an_hour() -> None:
    (minute,) = season.play(scenario.load("every-minute", TODAY))
    weight = next(f for f in minute.watched.feeds if f.quantity == "weight")
    assert np.median(np.diff(weight.time_s)) == 60
    hourly = next(iter(season.play(scenario.load("poor-kit", TODAY))))
    weight = next(f for f in hourly.watched.feeds if f.quantity == "weight")
    assert np.median(np.diff(weight.time_s)) == 3_600


def test_counts_are_whole_and_add_up_whatever_the_interval() -> None:
    (minute,) = season.play(scenario.load("every-minute", TODAY))
    out = next(f for f in minute.watched.feeds if f.quantity == "bees-out")
    assert np.array_equal(out.value, np.round(out.value))
    assert out.value.sum() == pytest.approx(minute.told.traffic.bees_out.sum(), rel=0.03)


def test_packs_hold_each_record_once_in_the_order_of_sending(faulty: list[HiveSeason]) -> None:
    feeds = [feed for hive in faulty[:2] for feed in hive.watched.feeds]
    resolved: list[tuple[str, str, int, float]] = []
    last = 0
    for pack in packs.packs(feeds, files.in_sending_order(feeds), 7_200):
        assert pack.sent_s >= last
        last = pack.sent_s
        assert len(pack.records) <= packs.MOST_RECORDS
        base, begin = pack.records[0]["bn"], pack.records[0]["bt"]
        assert base == f"{pack.device}/"
        for record in pack.records:
            assert record["u"] == sensors.UNITS[record["n"]]
            when = begin + record.get("t", 0)
            resolved.append((pack.device, record["n"], when, record["v"]))
    assert len(resolved) == sum(feed.time_s.size for feed in feeds)
    sent = {(f.device, f.quantity, int(t)) for f in feeds for t in f.time_s}
    assert {entry[:3] for entry in resolved} == sent
