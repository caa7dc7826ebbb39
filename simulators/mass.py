"""Gross weight on the grid: what the colony weighs, what is out flying, what lies on the lid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators.forage import Country
from simulators.life import Life
from simulators.nature import BEE_KG, HONEY_SUGAR
from simulators.plans import STEP_S, STEPS_A_DAY, Floats, rng
from simulators.spells import ROBBED
from simulators.weather import Weather

LID_M2 = 0.24  # own choice: 0.44 m by 0.55 m


@dataclass(frozen=True)
class Weight:
    """A hive's weight by its parts, one value a step."""

    gross_kg: Floats
    outside: Floats  # bees away
    lid_kg: Floats
    wood_kg: Floats  # moisture taken up or given off


def weigh(life: Life, weather: Weather, country: Country, seed: int) -> Weight:
    """Integrate the day's flows on the grid, so that each evening meets the colony's own books."""
    column = life.columns
    days = weather.days
    shape = (days, STEPS_A_DAY)
    through = (np.arange(STEPS_A_DAY) + 1) / STEPS_A_DAY
    came = np.cumsum(country.in_shape.reshape(shape), axis=1)
    went = np.cumsum(country.out_shape.reshape(shape), axis=1)

    ripe = column["sugar"] / HONEY_SUGAR + column["pollen"] + column["plunder"]
    spent = column["respired"] + column["carried_kg"]
    flows = ripe[:, None] * came - spent[:, None] * through
    flows = flows - column["robbed"][:, None] * from_the_hour(life, weather, went, *ROBBED)
    dry = (flows + _before(flows[:, -1])[:, None]).ravel()

    water = _water(life, weather, country)
    away = column["trips"][:, None] * went
    away = away - (column["trips"] - column["foragers_lost"])[:, None] * came
    away = away + column["sprayed"][:, None] * from_the_hour(life, weather, came, "sprayed")
    lost = _before(away[:, -1])
    gone = (away + lost[:, None]).ravel()

    lid = _lid(weather, rng(seed, "lid", life.plan.id))
    gross = life.start_kg + dry + water - gone * BEE_KG + stepped(life, weather) + lid
    wood = _drying_wood(weather)
    gross = gross + _open(life, weather) + wood
    return Weight(gross, np.clip(away, 0, None).ravel(), lid, wood)


def from_the_hour(life: Life, weather: Weather, through: Floats, *whats: str) -> Floats:
    """Bend a day's course, shape (days, steps), so that it starts at a trouble's first hour."""
    bent = through
    for spell in life.spells:
        if spell.what in whats:
            at = int(np.searchsorted(weather.time_s, spell.begin_s))
            day, step = divmod(min(at, weather.time_s.size - 1), STEPS_A_DAY)
            bent = bent.copy()
            done = through[day, step]
            bent[day] = np.clip(through[day] - done, 0, None) / max(1 - done, 1e-9)
    return bent


def _before(daily: Floats) -> Floats:
    return np.concatenate(([0.0], np.cumsum(daily)[:-1]))


def _water(life: Life, weather: Weather, country: Country) -> Floats:
    """Follow the excess water: nectar brings it by day, it dries by day and night."""
    shape = (weather.days, STEPS_A_DAY)
    grown = np.exp(country.dried.reshape(shape))
    fresh = life.columns["wet"][:, None] * country.in_shape.reshape(shape)
    for step in life.steps:
        if step.wet_kg:
            day, at = divmod(int((step.time_s - weather.time_s[0]) // STEP_S), STEPS_A_DAY)
            fresh[day, at] += step.wet_kg
    pool = np.cumsum(fresh * grown, axis=1)
    out = np.empty(shape)
    evening = 0.0
    for day in range(weather.days):
        out[day] = (evening + pool[day]) / grown[day]
        evening = out[day, -1]
    fed = np.zeros(out.size)
    for step in life.steps:  # the step itself already counts this water
        if step.wet_kg:
            fed[int((step.time_s - weather.time_s[0]) // STEP_S) :] += step.wet_kg
    return out.ravel() - fed


def stepped(life: Life, weather: Weather) -> Floats:
    """Add up what was put on and taken off so far, and what swarms weighed."""
    total = np.zeros(weather.time_s.size)
    for step in life.steps:
        first = int(np.searchsorted(weather.time_s, step.time_s))
        total[first:] += step.kg
        if step.takes_s:
            past = weather.time_s[first : first + 12] - step.time_s
            total[first : first + 12] -= step.kg * np.clip(1 - past / step.takes_s, 0, 1)
    return total


def _open(life: Life, weather: Weather) -> Floats:
    """Lids and boxes lifted off while a hive stands open."""
    total = np.zeros(weather.time_s.size)
    for opening in life.openings:
        begin, end = np.searchsorted(
            weather.time_s, [opening.time_s, opening.time_s + 60 * opening.minutes]
        )
        total[begin:end] -= opening.lifted_kg
    return total


def _lid(weather: Weather, chance: np.random.Generator) -> Floats:
    """Rain held by the lid and the wood, drying off over hours; snow lying on it."""
    holds = chance.uniform(0.25, 0.8)  # [kg] own choice; recordings show 0.6 to 1.3 in downpours
    hourly = weather.rain_mm.reshape(-1, 12).sum(axis=1) * (weather.air_c.reshape(-1, 12)[:, 0] > 0)
    dry_h = 0.10 + 0.0008 * weather.sun_wm2.reshape(-1, 12).mean(axis=1)
    wet = np.empty(hourly.size)
    last = 0.0
    for i in range(wet.size):
        last += (holds - last) * (1 - np.exp(-hourly[i] * LID_M2 * 1.2 / holds))
        last *= np.exp(-dry_h[i] * (0.3 + weather.wind_ms[12 * i] / 6))
        wet[i] = last
    hours = np.arange(weather.time_s.size) / 12
    return np.interp(hours, np.arange(wet.size) + 1, wet) + weather.snow_mm * LID_M2 * 0.7


def _drying_wood(weather: Weather) -> Floats:
    """Wood takes up moisture by night and gives it by day, and more in a damp week."""
    hourly = weather.humidity_pct.reshape(-1, 12).mean(axis=1)
    total = np.zeros(hourly.size)
    for hours, kg_per_pct in ((30.0, 0.003), (5.0, 0.0009)):  # own choice
        kernel = np.exp(-np.arange(int(4 * hours)) / hours)
        padded = np.concatenate((np.full(kernel.size - 1, hourly[0]), hourly))
        total += kg_per_pct * (np.convolve(padded, kernel / kernel.sum(), "valid") - 70)
    return np.interp(np.arange(weather.time_s.size) / 12, np.arange(total.size), total)
