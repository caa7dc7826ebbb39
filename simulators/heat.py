"""Temperature and humidity between the centre combs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators.forage import to_steps
from simulators.life import Life
from simulators.plans import Floats, rng
from simulators.weather import Weather

BROOD_C = 35.1  # published 34.5 +- 1.5, range 33 to 36


@dataclass(frozen=True)
class Nest:
    """One value a step."""

    nest_c: Floats
    humidity_pct: Floats


def warm(life: Life, weather: Weather, seed: int) -> Nest:
    """Give the nest's warmth: held near 35 over brood, loosening as brood shrinks."""
    chance = rng(seed, "heat", life.plan.id)
    brood = to_steps(life.columns["capped"] + life.columns["open"])
    adults = to_steps(life.columns["adults"])
    air = weather.air_c
    centre = chance.uniform(0.80, 1.0)  # how well the probe hangs in the brood nest
    target = BROOD_C + chance.normal(0, 0.25)
    slow = lag(air, 36)
    n = air.size

    hold = brood / (brood + 900) * adults / (adults + 1_500)
    loose = 1 - hold * centre
    lean = 0.002 + 0.06 * loose
    hot = 0.05 * np.clip(lag(air, 30) - 24, 0, None)  # afternoons that the fanners lose
    hot = hot + 0.2 * np.clip(lag(air, 6) - 35, 0, None)
    restless = (0.05 + 0.7 * loose) * np.exp(0.5 * drift(chance, n, 400))
    stir = 0.5 * drift(chance, n, 12) + 0.65 * drift(chance, n, 60) + 0.55 * drift(chance, n, 250)
    tended = target + lean * (slow - 24) + hot + restless * stir
    tended = tended + 0.025 * drift(chance, n, 3)

    crowd = adults / (adults + 1_500) * (0.75 + 0.25 * centre)
    core = 22.5 + 0.42 * np.clip(slow, 0, None) + 0.05 * np.clip(slow, None, 0)
    idle = core + 0.9 * drift(chance, n, 200) + 0.4 * drift(chance, n, 20)
    idle = idle * crowd + (1 - crowd) * slow
    sunny = lag(weather.sun_wm2, 18) * 0.006
    empty = lag(air, 18) + sunny
    bees = 1 - np.exp(-adults / 1_500)
    keep = np.clip(hold * (0.75 + 0.25 * centre) * 1.22 - 0.02, 0, 1)
    nest = bees * (keep * tended + (1 - keep) * idle) + (1 - bees) * empty

    nest = nest + _upsets(life, weather, nest, air, chance)
    humidity = chance.uniform(51, 59) + 1.5 * drift(chance, n, 1500) + 0.25 * drift(chance, n, 30)
    humidity = humidity + 4 * np.clip(to_steps(life.columns["nectar"]), 0, 1.5)
    humidity = humidity * bees + (1 - bees) * weather.humidity_pct
    humidity = humidity + 0.12 * (lag(weather.humidity_pct, 36) - 65)
    return Nest(nest, np.clip(humidity, 15, 98))


def _upsets(
    life: Life, weather: Weather, nest: Floats, air: Floats, chance: np.random.Generator
) -> Floats:
    total = np.zeros(air.size)
    minutes = (weather.time_s - weather.time_s[0]) / 60.0
    for opening in life.openings:
        since = minutes - (opening.time_s - weather.time_s[0]) / 60.0
        near = (since > 0) & (since < 360)
        depth = 1 - np.exp(-np.clip(since[near], 0, opening.minutes) / 25)
        heal = np.exp(-np.clip(since[near] - opening.minutes, 0, None) / chance.uniform(20, 45))
        total[near] += (air[near] + 4 - nest[near]) * chance.uniform(0.5, 1.2) * depth * heal
    for flight in life.flights:
        since = minutes - (flight.time_s - weather.time_s[0]) / 60.0
        rise = np.clip((since + chance.uniform(14, 24)) / 15, 0, 1) * (since < 10)
        total += chance.uniform(1.5, 3.4) * rise * (since > -25)
        total -= (
            chance.uniform(0.8, 2.0) * np.exp(-np.clip(since - 10, 0, None) / 150) * (since >= 10)
        )
    for begin_s, end_s, what in life.off_scale:
        share = 0.6 if what == "toppled" else 1.0
        cooled = _spell(minutes, weather, begin_s, end_s, (150, 240))
        total += share * (air - nest) * cooled
    for spell in life.spells:
        if spell.what == "lid off":
            cooled = _spell(minutes, weather, spell.begin_s, spell.end_s, (90, 150))
            total += 0.35 * (air - nest) * cooled
        elif spell.what == "shut in":
            heated = _spell(minutes, weather, spell.begin_s, spell.end_s, (60, 60))
            total += (3.0 + 0.25 * np.clip(air - 18, 0, 15)) * heated
    return total


def _spell(
    minutes: Floats, weather: Weather, begin_s: float, end_s: float, tau: tuple[float, float]
) -> Floats:
    """Rise towards 1 from a beginning on, fall back from the end on; time constants in minutes."""
    since = np.clip(minutes - (begin_s - weather.time_s[0]) / 60.0, 0, None)
    past = np.clip(minutes - (end_s - weather.time_s[0]) / 60.0, 0, None)
    return np.asarray((1 - np.exp(-since / tau[0])) * np.exp(-past / tau[1]), np.float64)


def lag(values: Floats, steps: float) -> Floats:
    """First-order low pass with a time constant in steps; long ones are reckoned coarsely."""
    block = max(int(steps // 6), 1)
    coarse = _blocks(values, block)
    taps = np.exp(-np.arange(int(5 * steps / block) + 1) * block / steps)
    padded = np.concatenate((np.full(taps.size - 1, coarse[0]), coarse))
    return _fine(np.convolve(padded, taps / taps.sum(), "valid"), block, values.size)


def drift(chance: np.random.Generator, n: int, steps: int) -> Floats:
    """Noise of unit variance wandering over some steps."""
    block = max(steps // 6, 1)
    kernel = np.hanning(4 * (steps // block) + 1)
    kernel /= np.sqrt(np.sum(kernel**2))
    noise = chance.normal(size=n // block + 2 + kernel.size - 1)
    return _fine(np.convolve(noise, kernel, "valid"), block, n)


def _blocks(values: Floats, block: int) -> Floats:
    whole = np.pad(values, (0, -values.size % block), mode="edge")
    return np.asarray(whole.reshape(-1, block).mean(axis=1), np.float64)


def _fine(coarse: Floats, block: int, n: int) -> Floats:
    if block == 1:
        return coarse[:n]
    return np.interp(np.arange(n), (np.arange(coarse.size) + 0.5) * block, coarse)
