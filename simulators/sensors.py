"""What the devices make of the truth: sampled, rounded, noisy, late, wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators.heat import Nest, lag
from simulators.life import Life
from simulators.mass import Weight
from simulators.scenario import Floats, Ints, Scenario, YardPlan, local_s, rng
from simulators.traffic import Traffic
from simulators.weather import Weather

UNITS = {
    "weight": "kg", "nest": "Cel", "ambient": "Cel", "nest-humidity": "%RH",
    "ambient-humidity": "%RH", "bees-in": "count", "bees-out": "count", "rain": "mm",
    "battery": "V", "signal": "dBm",
}  # fmt: skip
DECIMALS = {"weight": 3, "battery": 3, "rain": 2, "bees-in": 0, "bees-out": 0, "signal": 0}


@dataclass(frozen=True)
class Feed:
    """The records of one device and quantity, in the order of measuring."""

    device: str
    quantity: str
    time_s: Ints
    value: Floats
    sent_s: Ints


@dataclass(frozen=True)
class Device:
    """A device and the hive it was set at."""

    id: str
    hive: str
    since_s: int


@dataclass(frozen=True)
class Watched:
    """What one hive's devices sent."""

    devices: list[Device]
    feeds: list[Feed]
    faults: list[dict[str, object]]


def watch(
    life: Life, weight: Weight, nest: Nest, traffic: Traffic, yard: YardPlan,
    weather: Weather, scenario: Scenario,
) -> Watched:  # fmt: skip
    """Let every device of one hive record its season."""
    plan = life.plan
    kit = plan.sensors
    start = int(weather.time_s[0])
    feeds: list[Feed] = []
    devices: list[Device] = []

    def device(kind: str) -> tuple[str, np.random.Generator, Ints]:
        name = f"{kind}-{plan.id}"
        chance = rng(scenario.seed, "device", name)
        every = round(kit.every_min * 60)
        offset = int(chance.integers(0, every))
        times = np.arange(start + offset, int(weather.time_s[-1]), every, dtype=np.int64)
        devices.append(Device(name, plan.id, start))
        return name, chance, times

    def at(times: Ints, values: Floats) -> Floats:
        return np.interp(times, weather.time_s, values)

    if kit.scale:
        name, chance, times = device("scale")
        gross = _off_scale(weight.gross_kg, life, weather, chance)
        cell = lag(weather.air_c, 8) + 0.008 * weather.sun_wm2
        gross = gross + kit.scale_drift_g_per_k * chance.normal(1, 0.3) * 1e-3 * (cell - 15)
        gross = gross + 0.003 * np.clip(weather.wind_ms - 4, 0, None) * chance.normal(
            size=cell.size
        )
        index = np.clip(np.searchsorted(weather.time_s, times, "right") - 1, 0, cell.size - 1)
        raw = gross[index] + chance.normal(0, kit.scale_noise_kg, times.size)
        spikes = chance.random(times.size) < kit.spikes_a_month / 30 / 1440 * kit.every_min
        raw = raw + spikes * chance.normal(0, 15, times.size)
        feeds.append(
            Feed(
                name, "weight", times, np.round(raw / kit.scale_step_kg) * kit.scale_step_kg, times
            )
        )
        feeds.append(
            Feed(
                name,
                "ambient",
                times,
                np.round(at(times, weather.air_c) + chance.normal(0, 0.1, times.size), 2),
                times,
            )
        )
        _supply(feeds, name, chance, times, weather, kit.every_min)
    if kit.probe:
        name, chance, times = device("probe")
        value = at(times, nest.nest_c) + chance.normal(0, kit.nest_noise_k, times.size)
        feeds.append(Feed(name, "nest", times, np.round(value, 2), times))
        wet = at(times, nest.humidity_pct) + chance.normal(0, 0.3, times.size)
        feeds.append(Feed(name, "nest-humidity", times, np.round(wet, 1), times))
        _supply(feeds, name, chance, times, weather, kit.every_min)
    if kit.counter:
        name, chance, times = device("counter")
        for quantity, bees, bias in (
            ("bees-in", traffic.bees_in, 1 - kit.counter_bias * chance.uniform(0.5, 1.5)),
            ("bees-out", traffic.bees_out, 1.0),
        ):
            passed = np.concatenate(([0.0], np.cumsum(bees)))
            edges = np.concatenate((weather.time_s, [weather.time_s[-1] + 300]))
            expect = np.diff(
                np.interp(np.concatenate(([times[0] - times[1] + times[0]], times)), edges, passed)
            )
            busy = chance.gamma(40, 1 / 40, times.size)
            counted = chance.poisson(np.clip(expect * bias * busy, 0, None))
            feeds.append(Feed(name, quantity, times, counted.astype(np.float64), times))
        _supply(feeds, name, chance, times, weather, kit.every_min)
    return _faults(Watched(devices, feeds, []), life, yard, scenario, weather)


def station(yard: YardPlan, hive: str, every_min: float, weather: Weather, seed: int) -> Watched:
    """Give the yard's rain gauge and hygrometer, standing at one of its hives."""
    name = f"weather-{yard.id}"
    chance = rng(seed, "device", name)
    every = round(every_min * 60)
    times = np.arange(
        int(weather.time_s[0]) + every, int(weather.time_s[-1]), every, dtype=np.int64
    )
    fallen = np.concatenate(([0.0], np.cumsum(weather.rain_mm)))
    edges = np.concatenate((weather.time_s, [weather.time_s[-1] + 300]))
    tips = np.floor(np.interp(times, edges, fallen) / 0.2)
    rain = np.diff(tips, prepend=tips[0]) * 0.2
    humid = np.interp(times, weather.time_s, weather.humidity_pct) + chance.normal(0, 1, times.size)
    feeds = [
        Feed(name, "rain", times, np.round(rain, 2), times),
        Feed(name, "ambient-humidity", times, np.round(np.clip(humid, 0, 100), 1), times),
    ]
    _supply(feeds, name, chance, times, weather, every_min)
    return Watched([Device(name, hive, int(weather.time_s[0]))], feeds, [])


def _supply(
    feeds: list[Feed], name: str, chance: np.random.Generator, times: Ints, weather: Weather,
    every_min: float,
) -> None:  # fmt: skip
    """Battery kept up by a small panel, and the radio level, each hour."""
    hourly = times[:: max(1, round(60 / every_min))]
    sun = np.interp(hourly, weather.time_s, lag(weather.sun_wm2, 24))
    volts = (
        3.92
        + 0.16 * np.tanh(sun / 250)
        + 0.003 * (np.interp(hourly, weather.time_s, weather.air_c) - 15)
    )
    feeds.append(
        Feed(
            name,
            "battery",
            hourly,
            np.round(volts + chance.normal(0, 0.006, hourly.size), 3),
            hourly,
        )
    )
    level: Floats = chance.uniform(-95, -72) + chance.normal(0, 2.5, hourly.size)
    feeds.append(Feed(name, "signal", hourly, np.round(level, 0), hourly))


def _off_scale(gross: Floats, life: Life, weather: Weather, chance: np.random.Generator) -> Floats:
    out = gross.copy()
    for begin_s, end_s, what in life.off_scale:
        a, b = np.searchsorted(weather.time_s, [begin_s, min(end_s, int(weather.time_s[-1]) + 1)])
        rest = chance.uniform(-0.2, 3.5) if what == "toppled" else chance.uniform(-0.1, 0.1)
        out[a:b] = rest
    return out


def _faults(
    watched: Watched, life: Life, yard: YardPlan, scenario: Scenario, weather: Weather
) -> Watched:
    """Put the scenario's device troubles into the feeds."""
    feeds, told = watched.feeds, watched.faults
    last = int(weather.time_s[-1])
    events = [event for event in life.plan.happenings if event.device]
    taken = [begin for begin, _, what in life.off_scale if what == "taken"]
    for event in events:
        begin = local_s(scenario.resolve(event.on), event.at, yard.timezone)
        end = (
            local_s(scenario.resolve(event.until), "12:00", yard.timezone) if event.until else last
        )
        name = f"{event.device}-{life.plan.id}"
        told.append(
            {
                "kind": event.what,
                "device": name,
                "start_s": begin,
                "end_s": end if event.until else None,
            }
        )
        feeds = [
            _fault(feed, event.what, begin, end) if feed.device == name else feed for feed in feeds
        ]
    for begin in taken:
        feeds = [
            _fault(feed, "silent", begin, last) if not feed.device.startswith("scale") else feed
            for feed in feeds
        ]
    return Watched(watched.devices, feeds, told)


def _fault(feed: Feed, what: str, begin: int, end: int) -> Feed:
    during = (feed.time_s >= begin) & (feed.time_s < end)
    value, time_s, sent_s = feed.value.copy(), feed.time_s, feed.sent_s
    if what == "silent":
        keep = ~during
        return Feed(feed.device, feed.quantity, time_s[keep], value[keep], sent_s[keep])
    if what == "low_battery" and feed.quantity == "battery":
        through = (time_s[during] - begin) / max(end - begin, 1)
        value[during] = np.round(
            3.9 - 0.75 * through - 0.2 * through**6 + (value[during] - 3.95), 3
        )
    return Feed(feed.device, feed.quantity, time_s, value, sent_s)
