"""Troubles that last: robbing, spraying, a hive shut in; from when to when, and what they do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from simulators.day import Day, Trouble
from simulators.forage import Country
from simulators.plans import STEPS_A_DAY, Happening, Scenario, YardPlan, local_s
from simulators.weather import Weather

ROBBED = ("robbing", "silent robbing")
LEAN_KG = 2.0  # own choice: robbers do not begin while a strong colony finds more than this a day
SPELLS = {*ROBBED, "robs", "dwindling", "shut in", "lid off", "sprayed"}
TOLD_AS = {
    "robbing": "robbing",
    "silent robbing": "robbing",
    "sprayed": "forager_loss",
    "lid off": "chilled_brood",
    "shut in": "overheating",
}


@dataclass(frozen=True)
class Spell:
    """A trouble from one time to another."""

    what: str
    begin_s: int
    end_s: int
    first: int  # its days, by number
    last: int
    size: float
    first_share: float = 1.0  # of the first day's flight, what is left at the beginning


def cast(
    event: Happening, yard: YardPlan, scenario: Scenario, weather: Weather, country: Country
) -> Spell | None:
    """Give a happening its hours: robbers begin when bees next fly and find little elsewhere."""
    first = scenario.day_of(event.on)
    last = scenario.day_of(event.until) if event.until else first
    begin_s, share = local_s(scenario.resolve(event.on), event.at, yard.timezone), 1.0
    if event.what in ROBBED:
        days = last - first
        wing = _on_the_wing(begin_s, weather, country)
        if wing is None:
            return None
        begin_s, first, share = wing
        last = first + days
    hour = "16:00" if event.what == "lid off" else "19:00"
    end_s = local_s(scenario.start + timedelta(days=last), hour, yard.timezone)
    end_s = max(end_s, begin_s + 3600)
    return Spell(event.what, begin_s, end_s, first, last, event.size, share)


def _on_the_wing(time_s: int, weather: Weather, country: Country) -> tuple[int, int, float] | None:
    """Give when bees next fly and find little, on which day, and what is left of its flight."""
    lean = np.array([day.nectar_kg < LEAN_KG for day in country.days])
    at = int(np.searchsorted(weather.time_s, time_s))
    raids = (country.out_shape > 0) & np.repeat(lean, STEPS_A_DAY)
    flown = np.flatnonzero(raids[at:])
    if not flown.size:
        return None
    at += int(flown[0])
    day = at // STEPS_A_DAY
    left = float(country.out_shape[at : (day + 1) * STEPS_A_DAY].sum())
    return max(time_s, int(weather.time_s[at])), day, left


def pressing(spells: list[Spell], day: Day) -> Trouble:
    """Give what presses on a colony on one day."""
    now = {
        spell.what: spell.size * (spell.first_share if day.number == spell.first else 1.0)
        for spell in spells
        if spell.first <= day.number <= spell.last
    }
    robbed_kg = sum(now.get(what, 0.0) for what in ROBBED)
    raided = min(day.fly_h / 5, 1.2)
    return Trouble(
        robbed_kg=robbed_kg * raided,
        plunder_kg=now.get("robs", 0.0) * raided,
        sprayed=now.get("sprayed", 0.0),
        sickness=now.get("dwindling", 1.0),
        chill=0.8 if "lid off" in now else 1.0,
        is_shut_in="shut in" in now,
    )
