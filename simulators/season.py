"""A whole season: every hive of a scenario lived, weighed, warmed, counted and watched."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from simulators import forage, heat, keeper, mass, sensors, traffic, weather
from simulators.life import Hive, Life
from simulators.scenario import Scenario, YardPlan, rng


@dataclass(frozen=True)
class HiveSeason:
    """One hive's season: the truth and what the devices said."""

    yard: YardPlan
    life: Life
    weather: weather.Weather
    weight: mass.Weight
    nest: heat.Nest
    traffic: traffic.Traffic
    watched: sensors.Watched


def play(scenario: Scenario) -> Iterator[HiveSeason]:
    """Live the scenario hive by hive."""
    for yard in scenario.yards:
        sky = weather.make(yard, scenario.start, scenario.days, scenario.seed)
        country = forage.look(yard, sky, scenario)
        visits = keeper.rounds(yard, scenario, country.days, rng(scenario.seed, "visits", yard.id))
        for number, plan in enumerate(yard.hives):
            life = Hive(plan, yard, sky, country, scenario).run(visits)
            weight = mass.weigh(life, sky, country, scenario.seed)
            nest = heat.warm(life, sky, scenario.seed)
            flights = traffic.pass_by(life, sky, country, scenario.seed)
            watched = sensors.watch(life, weight, nest, flights, yard, sky, scenario)
            if number == 0:
                air = sensors.station(yard, plan.id, plan.sensors.every_min, sky, scenario.seed)
                watched.devices.extend(air.devices)
                watched.feeds.extend(air.feeds)
            yield HiveSeason(yard, life, sky, weight, nest, flights, watched)
