"""A yard's devices: which stand at which hive, and what troubles them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from simulators import faults, sensors
from simulators.plans import Happening, Scenario, ScenarioError, YardPlan, instant, local_s, rng
from simulators.sensors import Feed, Placed, Told


@dataclass
class Watched:
    """What the devices of one hive sent, and the truth about the devices."""

    devices: list[Placed] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)


def watch(yard: YardPlan, hives: dict[str, Told], scenario: Scenario) -> dict[str, Watched]:
    """Let every device of a yard record its season."""
    found: dict[str, Watched] = {}
    carried = {told.life.plan.shares_scale_with for told in hives.values()}
    for number, (hive_id, told) in enumerate(hives.items()):
        plan = told.life.plan
        kit, watched = plan.sensors, Watched()
        start = int(told.weather.time_s[0])
        if kit.scale and not plan.shares_scale_with:
            both = [told]
            if hive_id in carried:
                both += [t for t in hives.values() if t.life.plan.shares_scale_with == hive_id]
            watched.feeds += sensors.scale(f"scale-{hive_id}", both, scenario.seed)
        if kit.probe:
            watched.feeds += sensors.probe(f"probe-{hive_id}", told, scenario.seed)
        if kit.counter:
            watched.feeds += sensors.counter(f"counter-{hive_id}", told, scenario.seed)
        if number == 0:
            name = f"weather-{yard.id}"
            watched.feeds += sensors.station(name, kit.every_min, told.weather, scenario.seed)
        for name in sorted({feed.device for feed in watched.feeds}):
            watched.devices.append(Placed(name, hive_id, start))
        found[hive_id] = watched
    for hive_id, told in hives.items():
        _trouble(found[hive_id], told, hives, yard, scenario)
    return found


def _trouble(
    watched: Watched, told: Told, hives: dict[str, Told], yard: YardPlan, scenario: Scenario
) -> None:
    plan = told.life.plan
    last = int(told.weather.time_s[-1]) + 1
    for event in plan.happenings:
        if not event.device:
            continue
        begin = local_s(scenario.resolve(event.on), event.at, yard.timezone)
        end = last
        if event.until:
            end = local_s(scenario.resolve(event.until), "12:00", yard.timezone)
        names = sorted({feed.device for feed in watched.feeds})
        if event.device != "all":
            names = [name for name in names if name == f"{event.device}-{plan.id}"]
        if not names:
            raise ScenarioError(f"{plan.id}: device {event.device!r}: there is none")
        for name in names:
            chance = rng(scenario.seed, "trouble", name, event.on)
            if event.what == "moved":
                _move(watched, event, name, begin, hives, scenario.seed)
            else:
                watched.feeds = [
                    faults.suffer(feed, event, begin, end, chance) if feed.device == name else feed
                    for feed in watched.feeds
                ]
            kind = faults.KINDS[event.what]
            ended = instant(end) if event.until and event.what != "dead battery" else None
            span = {"start": instant(begin), "end": ended, "hive": plan.id}
            label = {"kind": kind or f"device {event.what}", "subject": f"device:{name}"}
            watched.events.append(label | span | {"what": event.what, "size": event.size})
    for begin, _, what in told.life.off_scale:
        if what == "taken":  # probe and counter go with the hive
            gone = Happening("silent", "")
            chance = rng(scenario.seed, "taken", plan.id)
            watched.feeds = [
                feed
                if feed.device.startswith(("scale", "weather"))
                else faults.suffer(feed, gone, begin, last, chance)
                for feed in watched.feeds
            ]


def _move(
    watched: Watched,
    event: Happening,
    name: str,
    begin: int,
    hives: dict[str, Told],
    seed: int,
) -> None:
    """Carry a probe or counter over to another hive; the apiary file says so."""
    if event.device not in ("probe", "counter") or event.to not in hives:
        raise ScenarioError(f"{name}: only a probe or counter moves, to a hive of the same yard")
    other = hives[event.to]
    make = sensors.probe if event.device == "probe" else sensors.counter
    there = {feed.quantity: feed for feed in make(name, other, seed)}
    for i, feed in enumerate(watched.feeds):
        if feed.device == name:
            new = there[feed.quantity]
            value = feed.value.copy()
            since = feed.time_s >= begin
            value[since] = new.value[since]
            watched.feeds[i] = replace(feed, value=value)
    watched.devices.append(Placed(name, event.to, begin))
