"""What the devices make of the truth: sampled, rounded, noisy, drifting with the warmth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators.forage import to_steps
from simulators.heat import Nest, lag
from simulators.life import Life
from simulators.mass import Weight
from simulators.plans import Floats, Ints, rng
from simulators.traffic import Traffic
from simulators.weather import Weather

UNITS = {
    "weight": "kg",
    "nest": "Cel",
    "ambient": "Cel",
    "nest-humidity": "%RH",
    "ambient-humidity": "%RH",
    "bees-in": "count",
    "bees-out": "count",
    "rain": "mm",
    "battery": "V",
    "signal": "dBm",
}
DECIMALS = {"weight": 3, "battery": 3, "rain": 2, "bees-in": 0, "bees-out": 0, "signal": 0}
CREEP_S = 1_200.0  # time constant of a load cell's creep; own choice within OIML R 60's 30 min
PANEL_V, FULL_V = 0.16, 3.92  # own choice: a lithium cell kept up by a small panel


@dataclass(frozen=True)
class Feed:
    """The records of one device and quantity, in the order of measuring."""

    device: str
    quantity: str
    time_s: Ints
    value: Floats
    sent_s: Ints


@dataclass(frozen=True)
class Placed:
    """A device and the hive it stands at from a time on."""

    id: str
    hive: str
    since_s: int


@dataclass(frozen=True)
class Told:
    """A hive as the sensors meet it."""

    life: Life
    weather: Weather
    weight: Weight
    nest: Nest
    traffic: Traffic


def clock(every_min: float, weather: Weather, chance: np.random.Generator) -> Ints:
    """Give the times at which a device measures, at its own second of the interval."""
    every = round(every_min * 60)
    start, stop = int(weather.time_s[0]), int(weather.time_s[-1])
    return np.arange(start + int(chance.integers(0, every)), stop, every, dtype=np.int64)


def scale(name: str, hives: list[Told], seed: int) -> list[Feed]:
    """Weigh what stands on one scale: usually one hive, sometimes two."""
    first = hives[0]
    kit, weather = first.life.plan.sensors, first.weather
    chance = rng(seed, "device", name)
    times = clock(kit.every_min, weather, chance)
    load = np.zeros(weather.time_s.size)
    for hive in hives:
        load = load + _standing(hive, chance)
    cell_c = lag(weather.air_c, 8) + 0.008 * weather.sun_wm2
    creep = kit.scale_creep_g * 1e-3 * (lag(load, CREEP_S / 300) - load) / 60.0
    gross = load + creep
    gross = gross + kit.scale_drift_g_per_k * chance.normal(1, 0.3) * 1e-3 * (cell_c - 15)
    shake = 0.003 * np.clip(weather.wind_ms - 4, 0, None)
    index = np.clip(np.searchsorted(weather.time_s, times, "right") - 1, 0, load.size - 1)
    noise = np.hypot(kit.scale_noise_kg, shake[index])
    after = (times - weather.time_s[index]) / 300.0
    follow = np.append(np.diff(gross), 0.0)
    follow[np.abs(follow) > 1.9] = 0.0  # a step stays a step between two points of the grid
    raw = gross[index] + after * follow[index] + noise * chance.normal(size=times.size)
    short = chance.random(times.size) < kit.scale_jitter
    raw = raw - short * chance.exponential(0.07, times.size)
    spikes = chance.random(times.size) < kit.spikes_a_month / 30 / 1440 * kit.every_min
    raw = raw + spikes * chance.normal(0, 15, times.size)
    grain = kit.scale_step_kg
    out = [Feed(name, "weight", times, np.round(raw / grain) * grain, times)]
    if kit.ambient:
        air = np.interp(times, weather.time_s, weather.air_c + 0.0012 * weather.sun_wm2)
        air = np.round(air + chance.normal(0, 0.1, times.size), 2)
        out.append(Feed(name, "ambient", times, air, times))
    return out + supply(name, chance, times, weather, kit.every_min)


def probe(name: str, hive: Told, seed: int) -> list[Feed]:
    """Feel the nest's warmth and moisture."""
    kit, weather = hive.life.plan.sensors, hive.weather
    chance = rng(seed, "device", name)
    times = clock(kit.every_min, weather, chance)
    nest_c, humidity = hive.nest.nest_c, hive.nest.humidity_pct
    if kit.probe_place != "nest":  # above the crown board, or beside the bees
        share = {"lid": 0.35, "edge": 0.6}[kit.probe_place]
        outside = lag(weather.air_c, 18) + 0.004 * weather.sun_wm2
        nest_c = share * nest_c + (1 - share) * outside
        humidity = share * humidity + (1 - share) * weather.humidity_pct
    warm = np.interp(times, weather.time_s, nest_c) + chance.normal(0, kit.nest_noise_k, times.size)
    wet = np.interp(times, weather.time_s, humidity) + chance.normal(0, 0.05, times.size)
    out = [Feed(name, "nest", times, np.round(warm, 2), times)]
    out.append(Feed(name, "nest-humidity", times, np.round(wet, 2), times))
    return out + supply(name, chance, times, weather, kit.every_min)


def counter(name: str, hive: Told, seed: int) -> list[Feed]:
    """Count bees at the entrance; the two directions do not quite agree."""
    kit, weather = hive.life.plan.sensors, hive.weather
    chance = rng(seed, "device", name)
    times = clock(kit.every_min, weather, chance)
    every = round(kit.every_min * 60)
    edges = np.concatenate((weather.time_s, [weather.time_s[-1] + 300]))
    mild = np.interp(times, weather.time_s, np.clip((weather.air_c - 9) / 6, 0, 1))
    people = np.interp(times, weather.time_s, to_steps(hive.life.columns["adults"])) / 25_000
    walk = 0.4 * kit.every_min * mild * np.clip(people, 0, 1.5)  # bees at the door by night
    missed = kit.counter_bias * chance.uniform(0.5, 1.5)
    out = []
    for quantity, bees, seen in (
        ("bees-in", hive.traffic.bees_in, 1 - missed),
        ("bees-out", hive.traffic.bees_out, 1.0),
    ):
        passed = np.concatenate(([0.0], np.cumsum(np.clip(bees, 0, None))))
        at = np.interp(np.concatenate(([times[0] - every], times)), edges, passed)
        crowd = chance.gamma(40, 1 / 40, times.size)
        counted = chance.poisson(np.diff(at) * seen * crowd + walk * chance.random(times.size))
        out.append(Feed(name, quantity, times, counted.astype(np.float64), times))
    return out + supply(name, chance, times, weather, kit.every_min)


def station(name: str, every_min: float, weather: Weather, seed: int) -> list[Feed]:
    """Read a yard's tipping-bucket rain gauge and hygrometer."""
    chance = rng(seed, "device", name)
    times = clock(every_min, weather, chance)
    fallen = np.concatenate(([0.0], np.cumsum(weather.rain_mm)))
    edges = np.concatenate((weather.time_s, [weather.time_s[-1] + 300]))
    tips = np.floor(np.interp(times, edges, fallen) / 0.2)
    rain = np.diff(tips, prepend=tips[0]) * 0.2
    humid = np.interp(times, weather.time_s, weather.humidity_pct) + chance.normal(0, 1, times.size)
    feeds = [
        Feed(name, "rain", times, np.round(rain, 2), times),
        Feed(
            name,
            "ambient-humidity",
            times,
            np.asarray(np.clip(humid, 0, 100).round(1), float),
            times,
        ),
    ]
    return feeds + supply(name, chance, times, weather, every_min)


def supply(
    name: str, chance: np.random.Generator, times: Ints, weather: Weather, every_min: float
) -> list[Feed]:
    """Read the battery, kept up by a small panel, and the radio level, each hour."""
    hourly = times[:: max(1, round(60 / every_min))]
    sun = np.interp(hourly, weather.time_s, lag(weather.sun_wm2, 24))
    air = np.interp(hourly, weather.time_s, weather.air_c)
    volts = FULL_V + PANEL_V * np.tanh(sun / 250) + 0.003 * (air - 15)
    volts = np.round(volts + chance.normal(0, 0.006, hourly.size), 3)
    level = np.asarray(chance.uniform(-95, -72) + chance.normal(0, 2.5, hourly.size), np.float64)
    battery = Feed(name, "battery", hourly, volts, hourly)
    return [battery, Feed(name, "signal", hourly, np.round(level, 0), hourly)]


def _standing(hive: Told, chance: np.random.Generator) -> Floats:
    """Give the load, less while the hive is knocked over or gone."""
    load = hive.weight.gross_kg.copy()
    for begin_s, end_s, what in hive.life.off_scale:
        span = [begin_s, min(end_s, int(hive.weather.time_s[-1]) + 300)]
        a, b = np.searchsorted(hive.weather.time_s, span)
        load[a:b] = chance.uniform(-0.2, 3.5) if what == "toppled" else chance.uniform(-0.1, 0.1)
    return load
