"""A whole season: every hive of a scenario lived, weighed, warmed, counted and watched."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from simulators import forage, heat, keeper, mass, traffic, watching, weather
from simulators.life import Hive, Life
from simulators.plans import Scenario, YardPlan, rng
from simulators.sensors import Told


@dataclass(frozen=True)
class HiveSeason:
    """One hive's season: the truth and what the devices said."""

    yard: YardPlan
    told: Told
    watched: watching.Watched

    @property
    def life(self) -> Life:
        """What happened in the hive."""
        return self.told.life


def play(scenario: Scenario) -> Iterator[HiveSeason]:
    """Live the scenario yard by yard."""
    for yard in scenario.yards:
        hives = {told.life.plan.id: told for told in live(yard, scenario)}
        watched = watching.watch(yard, hives, scenario)
        for hive_id, told in hives.items():
            yield HiveSeason(yard, told, watched[hive_id])


def live(yard: YardPlan, scenario: Scenario) -> Iterator[Told]:
    """Live one yard's hives; the truth alone, without devices."""
    sky = weather.make(yard, scenario)
    country = forage.look(yard, sky, scenario)
    visits = keeper.rounds(yard, scenario, country.days, rng(scenario.seed, "visits", yard.id))
    for plan in yard.hives:
        country = forage.look(yard, sky, scenario, plan)
        life = Hive(plan, yard, sky, country, scenario).run(visits)
        weight = mass.weigh(life, sky, country, scenario.seed)
        nest = heat.warm(life, sky, scenario.seed)
        flights = traffic.pass_by(life, sky, country, scenario.seed)
        yield Told(life, sky, weight, nest, flights)
