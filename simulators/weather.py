"""Weather of a yard on the model's grid: air, sun, rain, wind, from latitude and day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulators.plans import (
    STEP_S,
    STEPS_A_DAY,
    Floats,
    Ints,
    Scenario,
    YardPlan,
    rng,
    standard_offset_s,
)


@dataclass(frozen=True)
class Climate:
    """A climate by its seasons; temperatures in degrees, rain as share of wet days."""

    mean_c: float
    season_k: float  # half the difference of warmest and coldest month
    clear_day_k: float  # half the daily swing under a clear sky
    front_k: float  # standard deviation of the weather from day to day
    wet_winter: float
    wet_summer: float
    shower_mm: float
    wind_ms: float
    cloud_winter: float
    cloud_summer: float
    spring_shift_days: float  # how much later the bees' spring comes than in the oceanic climate


# own choice, shaped on the look of monthly means in such climates
CLIMATES = {
    "oceanic": Climate(10.5, 6.8, 7.0, 2.6, 0.52, 0.36, 2.6, 3.6, 0.74, 0.58, 0),
    "continental": Climate(8.8, 13.0, 7.8, 3.8, 0.38, 0.36, 3.8, 3.0, 0.68, 0.48, 8),
    "mediterranean": Climate(15.8, 7.6, 7.2, 2.3, 0.34, 0.06, 5.0, 2.8, 0.50, 0.20, -28),
    "southern": Climate(14.8, 5.4, 7.0, 2.6, 0.40, 0.24, 3.4, 3.6, 0.58, 0.42, -15),
    "desert": Climate(17.5, 9.0, 8.5, 2.4, 0.07, 0.12, 5.0, 2.6, 0.30, 0.22, -40),
}

# what kind of year: spring K, summer K, rain factor
YEARS = {
    "ordinary": (0.0, 0.0, 1.0),
    "early": (2.6, 0.5, 0.8),
    "late": (-2.6, 0.0, 1.2),
    "wet": (-0.6, -1.2, 1.9),
    "dry": (0.8, 1.2, 0.4),
    "hot": (1.0, 5.5, 0.35),
}


@dataclass(frozen=True)
class Weather:
    """A yard's weather; every array has one value a step, shape (days * STEPS_A_DAY,)."""

    time_s: Ints
    solar_h: Floats  # true solar time, hours
    air_c: Floats
    sun_wm2: Floats
    rain_mm: Floats  # in the step
    snow_mm: Floats  # water of the snow lying
    wind_ms: Floats
    humidity_pct: Floats
    flying: Floats  # share of full flight, 0 to 1
    season_day: Floats  # day of the year as in the north, shape (days,)
    spring_late_days: float
    days: int

    def daily(self, values: Floats) -> Floats:
        """See a grid as (days, steps)."""
        return values.reshape(self.days, STEPS_A_DAY)


def make(yard: YardPlan, scenario: Scenario) -> Weather:
    """Make the weather of one yard; yards of one scenario share their fronts."""
    climate = CLIMATES[yard.climate]
    start, days, seed = scenario.start, scenario.days, scenario.seed
    offset_s = standard_offset_s(yard.timezone, start.year)
    start_s = int(np.datetime64(start, "s").astype(np.int64)) - offset_s
    time_s = start_s + STEP_S * np.arange(days * STEPS_A_DAY, dtype=np.int64)
    first = start.timetuple().tm_yday
    south = yard.latitude < 0
    day = np.asarray((first + np.arange(days) - 1 + (182.6 if south else 0)) % 365.25, np.float64)
    solar_h, elevation = sun_position(time_s, yard.latitude, yard.longitude)

    region = rng(seed, "weather", start.year)
    local = rng(seed, "weather", start.year, yard.id)
    spring_k, summer_k, rain_factor = YEARS[yard.year]
    spring_k += region.normal(0, 0.9)
    summer_k += region.normal(0, 0.7)
    warm = np.cos(2 * np.pi * (day - 203) / 365.25)  # 1 at the height of summer
    summer = (1 + warm) / 2

    front = wander(region, days, 0.72) * 0.9 + wander(local, days, 0.5) * 0.2
    wetness = (climate.wet_winter * (1 - summer) + climate.wet_summer * summer) * rain_factor
    wet_rank = wander(region, days, 0.45) + 0.15 * local.normal(size=days)
    is_wet = wet_rank > _normal_quantile(1 - np.clip(wetness, 0.01, 0.9))
    told = {what: _told(yard, scenario, what) for what in ("rain", "heat", "cold")}
    is_wet = (is_wet | (told["rain"] > 0)) & (told["heat"] == 0)
    cloud = climate.cloud_winter * (1 - summer) + climate.cloud_summer * summer
    cloud = cloud + 0.27 * wander(region, days, 0.35) + 0.1 * local.normal(size=days)
    cloud = cloud - 0.5 * (told["heat"] > 0) + 0.3 * (told["rain"] > 0)
    cloud = np.clip(np.where(is_wet, np.maximum(cloud + 0.2, 0.7), cloud - 0.12), 0.0, 1.0)

    near_spring = np.exp(-(((day - 100) / 35) ** 2))
    base = climate.mean_c + climate.season_k * warm + climate.front_k * front
    base = base + spring_k * near_spring + summer_k * summer**2
    base = base - np.where(is_wet, 1.8 * summer, -0.6 * (1 - summer))
    base = base + told["heat"] - told["cold"]
    swing = climate.clear_day_k * (1 - 0.7 * cloud) * (0.68 + 0.32 * summer)

    showers = np.where(told["rain"] > 0, 4.1, 1.1)
    rain_mm = _showers(
        region, local, is_wet, climate.shower_mm * (0.7 + 0.6 * summer), showers, 2.2 - 1.2 * summer
    )
    slow = np.interp(np.arange(days * STEPS_A_DAY) / STEPS_A_DAY, np.arange(days) + 0.6, base)
    daily_swing = np.interp(
        np.arange(days * STEPS_A_DAY) / STEPS_A_DAY - 0.5, np.arange(days), swing
    )
    air = slow + daily_swing * _day_shape(solar_h)
    shade = np.convolve(rain_mm, np.ones(12), "same")
    air = air - 2.2 * np.tanh(shade) * (air > 8) + 0.35 * _smooth(local, air.size, 18)
    patch = np.clip(np.repeat(cloud, STEPS_A_DAY) + 0.22 * _smooth(local, air.size, 9), 0, 1)
    clear = 1_080 * np.clip(np.sin(elevation), 0, None) ** 1.15
    sun = clear * (1 - 0.75 * patch**3.0)
    gusty = np.clip(1 + 0.35 * wander(region, days, 0.5), 0.2, 3.0) * climate.wind_ms
    wind = np.repeat(gusty, STEPS_A_DAY) * (0.75 + 0.45 * np.clip(_day_shape(solar_h), -0.6, 1))
    wind = np.asarray(np.clip(wind * np.exp(0.25 * _smooth(local, air.size, 6)), 0, 25), np.float64)
    dew = np.repeat(base - swing * (0.55 + 0.9 * (1 - cloud)), STEPS_A_DAY)
    humidity = np.clip(100 * np.exp(17.6 * (dew / (243 + dew) - air / (243 + air))), 12, 100)
    humidity = np.where(shade > 0.2, np.maximum(humidity, 90), humidity)
    return Weather(
        time_s,
        solar_h,
        air,
        sun,
        rain_mm,
        _snow(air, rain_mm),
        wind,
        np.asarray(humidity, np.float64),
        flying(air, sun, rain_mm, wind),
        day,
        climate.spring_shift_days - 3.5 * spring_k,
        days,
    )


def flying(air_c: Floats, sun_wm2: Floats, rain_mm: Floats, wind_ms: Floats) -> Floats:
    """Give the share of full flight: light, warmth (none below 9 Cel), rain and wind gate it."""
    light = 0.3 * np.clip((sun_wm2 - 15) / 110, 0, 1) + 0.7 * np.clip(sun_wm2 / 650, 0, 1) ** 0.7
    warm_need = 9.0 + np.clip(2.5 - sun_wm2 / 200, 0, 2.5)
    warmth = np.clip((air_c - warm_need) / 13, 0, 1) ** 0.6
    heat = np.clip(1 - (air_c - 35) / 9, 0.25, 1)
    calm = np.clip(1 - (wind_ms - 4) / 5, 0, 1)
    rain = np.convolve(rain_mm, np.array([0.2, 0.4, 0.4]), "same")
    dry = np.clip(1 - rain / 0.08, 0, 1)
    gate: Floats = light * warmth * heat * calm * dry
    return gate


def _told(yard: YardPlan, scenario: Scenario, what: str) -> Floats:
    """Degrees of the weather that the scenario asks for, by day."""
    degrees = np.zeros(scenario.days)
    for spell in yard.spells:
        if spell.what == what:
            for first, last in scenario.spans(spell.start, spell.end):
                degrees[max(first, 0) : max(last + 1, 0)] = spell.kelvin
    return degrees


def sun_position(time_s: Ints, latitude: float, longitude: float) -> tuple[Floats, Floats]:
    """Give true solar time [h] and the sun's elevation [rad], to a fraction of a degree."""
    days = time_s / 86_400.0 - 10_957.5  # since 2000-01-01 12:00 UTC
    anomaly = np.radians(357.529 + 0.98560028 * days)
    mean = 280.459 + 0.98564736 * days
    ecliptic = np.radians(mean + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly))
    tilt = np.radians(23.439)
    declination = np.arcsin(np.sin(tilt) * np.sin(ecliptic))
    ascension = np.degrees(np.arctan2(np.cos(tilt) * np.sin(ecliptic), np.cos(ecliptic)))
    time_equation_h = ((mean - ascension + 180) % 360 - 180) / 15
    solar = (time_s % 86_400 / 3_600 + longitude / 15 + time_equation_h) % 24
    hour_angle = np.radians(15 * (solar - 12))
    place = np.radians(latitude)
    sine = np.sin(place) * np.sin(declination)
    sine = sine + np.cos(place) * np.cos(declination) * np.cos(hour_angle)
    return solar, np.arcsin(sine)


def _day_shape(solar_h: Floats) -> Floats:
    angle = 2 * np.pi * (solar_h - 14.8) / 24
    return np.asarray((np.cos(angle) + 0.22 * np.cos(2 * angle + 0.5)) / 1.1)


def wander(chance: np.random.Generator, n: int, keep: float) -> Floats:
    """First-order autoregressive noise of unit variance."""
    noise = chance.normal(size=n)
    out = np.empty(n)
    last = noise[0] if n else 0.0
    fresh = np.sqrt(1 - keep**2)
    for i in range(n):
        last = keep * last + fresh * noise[i]
        out[i] = last
    return out


def _smooth(chance: np.random.Generator, n: int, width: int) -> Floats:
    """Noise of unit variance, smooth over some steps."""
    kernel = np.hanning(2 * width + 1)
    kernel /= np.sqrt(np.sum(kernel**2))
    return np.convolve(chance.normal(size=n), kernel, "same")


def _normal_quantile(share: Floats) -> Floats:
    """Approximate the normal quantile by a scaled logit (within 0.1 between 2 and 98 %)."""
    return np.asarray(np.log(share / (1 - share)) / 1.702)


def _showers(
    region: np.random.Generator,
    local: np.random.Generator,
    is_wet: NDArrayBool,
    mean_mm: Floats,
    showers: Floats,
    lasting: Floats,
) -> Floats:
    rain = np.zeros(is_wet.size * STEPS_A_DAY)
    for day in np.flatnonzero(is_wet):
        for _ in range(1 + int(region.poisson(showers[day]))):
            begin = int(day * STEPS_A_DAY + region.integers(STEPS_A_DAY)) + int(
                local.integers(-6, 7)
            )
            length = int(np.clip(region.lognormal(2.6, 0.8) * lasting[day], 2, 160))
            amount = mean_mm[day] * region.gamma(0.9) * local.uniform(0.7, 1.3)
            place = slice(max(begin, 0), min(begin + length, rain.size))
            size = max(place.stop - place.start, 0)
            if size:
                share = local.gamma(1.2, size=size)
                rain[place] += amount * share / max(share.sum(), 1e-9)
    return rain


def _snow(air_c: Floats, rain_mm: Floats) -> Floats:
    """Let snow lie and melt, hour by hour."""
    hourly_air = air_c.reshape(-1, 12).mean(axis=1)
    hourly_fall = rain_mm.reshape(-1, 12).sum(axis=1) * (hourly_air < 0.8)
    lying = np.empty(hourly_air.size)
    last = 0.0
    melt = 0.25 * np.clip(hourly_air, 0, None) + 0.01
    for i in range(lying.size):
        last = min(max(0.992 * last + hourly_fall[i] - melt[i], 0.0), 22.0)  # wind takes it
        lying[i] = last
    hours = np.arange(air_c.size) / 12
    return np.interp(hours, np.arange(1, lying.size + 1), lying)


NDArrayBool = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
