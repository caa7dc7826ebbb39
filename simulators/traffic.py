"""Bees through the entrance, expected numbers a step, in and out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators.forage import Country
from simulators.life import Life
from simulators.mass import from_the_hour
from simulators.plans import STEPS_A_DAY, Floats, rng
from simulators.spells import ROBBED
from simulators.weather import Weather

ROBBER_LOAD_KG = 4.0e-5  # own choice: a crop nearly full of honey


@dataclass(frozen=True)
class Traffic:
    """Bees a step."""

    bees_in: Floats
    bees_out: Floats
    orientation: list[tuple[int, int, float]]  # start, end, bees


def pass_by(life: Life, weather: Weather, country: Country, seed: int) -> Traffic:
    """Add up foragers, first flights, drones and swarms."""
    chance = rng(seed, "traffic", life.plan.id)
    column = life.columns
    shape = (weather.days, STEPS_A_DAY)
    out = column["trips"][:, None] * country.out_shape.reshape(shape)
    came = country.in_shape.reshape(shape)
    back = (column["trips"] - column["foragers_lost"])[:, None] * came
    missed = from_the_hour(life, weather, np.cumsum(came, axis=1), "sprayed")
    back = back - column["sprayed"][:, None] * np.diff(missed, axis=1, prepend=0.0)
    raid = from_the_hour(
        life, weather, np.cumsum(country.out_shape.reshape(shape), axis=1), *ROBBED
    )
    raid = np.diff(raid, axis=1, prepend=0.0)
    robbers = (column["robbed"] / ROBBER_LOAD_KG)[:, None] * raid  # they stay some minutes
    out, back = out + robbers, back + np.roll(robbers, -1, axis=1)
    hour = weather.solar_h.reshape(shape)
    flying = weather.flying.reshape(shape)

    own_hour = chance.uniform(12.3, 14.8)
    burst = np.exp(-(((hour - own_hour - chance.normal(0, 0.2, (weather.days, 1))) / 0.16) ** 2))
    burst = burst * (flying > 0.35)
    young = column["young"] * chance.uniform(0.05, 0.22, weather.days)
    first = young[:, None] * burst / max(float(burst.sum(axis=1).max()), 1e-9)
    lads = np.exp(-(((hour - 14.2) / 1.3) ** 2)) * flying * column["drones"][:, None] * 0.05
    hours = np.maximum(flying.sum(axis=1, keepdims=True), 24)
    airing = 0.5 * column["winter"][:, None] * flying / hours  # winter bees on a mild day
    out, back = (out + first + lads + airing).ravel(), back.ravel()
    back += np.roll((first + lads + airing).ravel(), 2)

    flown = []
    for day in np.flatnonzero(first.sum(axis=1) > 150):
        steps = np.flatnonzero(first[day] > 0.1 * first[day].max()) + day * STEPS_A_DAY
        flown.append(
            (int(weather.time_s[steps[0]]), int(weather.time_s[steps[-1]]), float(first[day].sum()))
        )
    for flight in life.flights:
        begin = int(np.searchsorted(weather.time_s, flight.time_s))
        length = max(int(flight.minutes / 5), 1)
        out[begin : begin + length] += flight.bees / length
    for begin_s, end_s, what in life.off_scale:
        a, b = np.searchsorted(weather.time_s, [begin_s, min(end_s, int(weather.time_s[-1]) + 1)])
        share = 0.05 if what == "toppled" else 0.0
        out[a:b] *= share
        back[a:b] *= share
    return Traffic(back, out, flown)
