"""What the country gives: blooms, flight, drying; one set of day shapes for a whole yard."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simulators.day import Day
from simulators.plans import STEPS_A_DAY, Bloom, Floats, HivePlan, Scenario, YardPlan, rng
from simulators.weather import Weather, wander

# How long a trip lasts, in steps of five minutes; mean 26 minutes (own choice).
TRIP = np.array([0.02, 0.06, 0.12, 0.17, 0.18, 0.15, 0.11, 0.08, 0.06, 0.03, 0.02])
TRIP_DELAY = 1


@dataclass(frozen=True)
class Country:
    """Day shapes and days of one yard."""

    days: list[Day]
    out_shape: Floats  # share of the day's departures in each step, shape (days * steps,)
    in_shape: Floats
    dried: Floats  # drying since midnight, exponent of the water pool, shape (days * steps,)


def season_of(day: Floats, late_days: float) -> tuple[Floats, Floats]:
    """Give how much a queen would lay (0 to 1) and whether the year rises.

    Form of HoPoMo (Schmickl & Crailsheim 2007); the dates are our own choice: half at the end
    of March and again in the last days of August.
    """
    rise = 1 / (1 + np.exp(-(day - 84 - late_days) / 14.0))
    fall = 1 / (1 + np.exp((day - 230 + 0.3 * late_days) / 16.0))
    rising: Floats = np.where(day < 172, 1.0, 0.0)
    return np.asarray(rise * fall, np.float64), rising


def look(
    yard: YardPlan, weather: Weather, scenario: Scenario, hive: HivePlan | None = None
) -> Country:
    """Make a yard's days from its weather and blooms, as one of its hives meets them."""
    chance = rng(scenario.seed, "country", scenario.start.year, yard.id)
    own = rng(scenario.seed, "patch", scenario.start.year, hive.id if hive else yard.id)
    daily = weather.daily
    keen = float(np.exp(own.normal(0, 0.2))) if hive else 1.0  # early risers and late ones
    flying = weather.flying**keen
    fly = daily(flying)
    fly_h = fly.sum(axis=1) / 12
    air = daily(weather.air_c)
    noon = air[:, 11 * 12 : 16 * 12].max(axis=1)
    season, rising = season_of(weather.season_day, weather.spring_late_days)

    rate = 0.022 + 0.0012 * np.clip(weather.air_c, 0, 32)
    rate = rate * (1.25 - 0.6 * weather.humidity_pct / 100)
    dried = np.cumsum(daily(rate / 12), axis=1)

    spread = np.concatenate((np.zeros(TRIP_DELAY), TRIP / TRIP.sum()))
    back = daily(np.convolve(flying, spread)[: fly.size])
    out_shape = fly / np.maximum(fly.sum(axis=1, keepdims=True), 1e-9)
    in_shape = back / np.maximum(back.sum(axis=1, keepdims=True), 1e-9)
    fresh = (in_shape * np.exp(dried - dried[:, -1:])).sum(axis=1)

    rain = daily(weather.rain_mm).sum(axis=1)
    moist = np.convolve(rain, np.exp(-np.arange(21) / 9.0))[: rain.size] / 9
    give = np.clip((noon - 9) / 8, 0, 1.15) * np.clip(0.72 + 0.16 * moist, 0.6, 1.1)
    give = give * np.clip(chance.normal(1, 0.16, rain.size), 0.4, 1.6)
    if hive:  # one colony finds a patch that the next one misses
        give = give * np.exp(0.3 * wander(own, rain.size, 0.7) - 0.045)
    blooms = tuple(
        replace(bloom, nectar_kg=bloom.nectar_kg * float(np.exp(own.normal(0, 0.2))))
        if hive
        else bloom
        for bloom in yard.blooms
    )
    nectar, sugar, pollen = _blooming(blooms, scenario, weather.days)
    days = [
        Day(
            number=i,
            season=float(season[i]),
            rising=bool(rising[i]),
            year_day=float(weather.season_day[i] - 0.5 * weather.spring_late_days),
            air_c=float(air[i].mean()),
            noon_c=float(noon[i]),
            fly_h=float(fly_h[i]),
            nectar_kg=float(nectar[i] * give[i]),
            sugar=float(np.clip(sugar[i] + 0.004 * (noon[i] - 20), 0.2, 0.65)),
            pollen=float(np.clip(pollen[i] * np.clip(noon[i] - 7, 0, 6) / 6, 0, 1)),
            water_stays=float(np.exp(-dried[i, -1])),
            fresh_stays=float(fresh[i]),
        )
        for i in range(weather.days)
    ]
    return Country(days, out_shape.ravel(), in_shape.ravel(), dried.ravel())


def _blooming(
    blooms: tuple[Bloom, ...], scenario: Scenario, days: int
) -> tuple[Floats, Floats, Floats]:
    nectar, pollen = np.full(days, 0.02), np.zeros(days)
    sweet = np.full(days, 0.35 * 0.02)
    number = np.arange(days)
    for bloom in blooms:
        for first, last in scenario.spans(bloom.start, bloom.end):
            inside = np.clip(np.minimum(number - first + 1, last - number + 1) / 4, 0, 1)
            nectar += bloom.nectar_kg * inside
            sweet += bloom.sugar * bloom.nectar_kg * inside
            pollen = np.maximum(pollen, bloom.pollen * inside)
    return nectar, sweet / nectar, pollen


def to_steps(per_day: Floats) -> Floats:
    """Draw a line through values that hold at each day's end."""
    ends = np.arange(1, per_day.size + 1) * STEPS_A_DAY
    return np.interp(np.arange(per_day.size * STEPS_A_DAY), ends, per_day)
