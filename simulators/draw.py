"""Pictures of a season: the whole of it above, one week of it close up below."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import matplotlib as mpl
import matplotlib.dates as mdates
import numpy as np
from matplotlib import pyplot as plt

from simulators.plans import STEPS_A_DAY, Floats, Ints, Scenario
from simulators.season import HiveSeason, play
from simulators.sensors import Feed

mpl.use("Agg")
SHOWN = ("swarm", "handling", "toppled", "taken", "robbing", "queen_trouble", "dead_out")


def pictures(
    scenario: Scenario, out: Path, hive: str | None = None, week: str | None = None
) -> Iterator[Path]:
    """Draw each hive of a scenario (or one) into a folder."""
    out.mkdir(parents=True, exist_ok=True)
    day = scenario.day_of(week) if week else min(scenario.days // 2, scenario.days - 7)
    for season in play(scenario):
        name = season.life.plan.id
        if hive in (None, name):
            path = out / f"{scenario.name}-{name}.png"
            _picture(season, scenario, day, path)
            yield path


def _picture(season: HiveSeason, scenario: Scenario, week_day: int, path: Path) -> None:
    told = season.told
    figure, axes = plt.subplots(8, 1, figsize=(15, 20), layout="constrained")
    figure.suptitle(f"{scenario.title}: {season.life.plan.id} ({season.yard.climate}), {path.stem}")
    feeds = {feed.quantity: feed for feed in season.watched.feeds}
    whole = (int(told.weather.time_s[0]), int(told.weather.time_s[-1]))
    begin = whole[0] + week_day * 86_400
    week = (begin, begin + 7 * 86_400)
    _weight(axes[0], feeds, whole, season)
    _bees(axes[1], season)
    _line(axes[2], feeds.get("nest"), whole, "nest [Cel]", "tab:red")
    axes[2].plot(_when(told.weather.time_s[::12]), told.weather.air_c[::12], lw=0.4, color="grey")
    _stores(axes[3], season)
    _weight(axes[4], feeds, week, season)
    _line(axes[5], feeds.get("nest"), week, "nest [Cel]", "tab:red")
    _traffic(axes[6], feeds, week)
    _sky(axes[7], season, week)
    for axis in axes:
        axis.grid(alpha=0.3)
        form: Any = mdates.ConciseDateFormatter  # untyped in matplotlib
        axis.xaxis.set_major_formatter(form(axis.xaxis.get_major_locator()))
    figure.savefig(path, dpi=70)
    plt.close(figure)


def _when(time_s: Ints) -> list[datetime]:
    return [datetime.fromtimestamp(int(t), UTC) for t in time_s]


def _line(axis: Any, feed: Feed | None, span: tuple[int, int], label: str, colour: str) -> None:  # noqa: ANN401 - matplotlib
    if feed is not None:
        inside = (feed.time_s >= span[0]) & (feed.time_s < span[1])
        axis.plot(_when(feed.time_s[inside]), feed.value[inside], lw=0.6, color=colour)
    axis.set_ylabel(label)


def _weight(axis: Any, feeds: dict[str, Feed], span: tuple[int, int], season: HiveSeason) -> None:  # noqa: ANN401 - matplotlib
    _line(axis, feeds.get("weight"), span, "weight [kg]", "tab:blue")
    for event in season.life.events:
        when = datetime.fromisoformat(str(event["start"]))
        if event["kind"] in SHOWN and span[0] <= when.timestamp() < span[1]:
            axis.axvline(when, color="tab:orange", lw=0.6)
            axis.text(when, axis.get_ylim()[1], str(event["kind"]), rotation=90, va="top", size=7)


def _bees(axis: Any, season: HiveSeason) -> None:  # noqa: ANN401 - matplotlib
    for name in ("adults", "foragers", "winter", "capped", "open", "drones"):
        _daily(axis, season, season.life.columns[name], name)
    _daily(axis, season, 10 * season.life.columns["laid"], "laid x 10")
    axis.legend(loc="upper left", ncol=7, fontsize=8)


def _stores(axis: Any, season: HiveSeason) -> None:  # noqa: ANN401 - matplotlib
    column = season.life.columns
    for name in ("stores_kg", "nectar", "pollen_kg"):
        _daily(axis, season, column[name], name)
    _daily(axis, season, 10 * column["honey_eaten"], "honey eaten x 10")
    axis.legend(loc="upper left", ncol=4, fontsize=8)


def _daily(axis: Any, season: HiveSeason, values: Floats, label: str) -> None:  # noqa: ANN401 - matplotlib
    axis.plot(_when(season.told.weather.time_s[::STEPS_A_DAY]), values, lw=1, label=label)


def _traffic(axis: Any, feeds: dict[str, Feed], span: tuple[int, int]) -> None:  # noqa: ANN401 - matplotlib
    _line(axis, feeds.get("bees-out"), span, "bees a record", "tab:green")
    _line(axis, feeds.get("bees-in"), span, "bees a record", "tab:purple")


def _sky(axis: Any, season: HiveSeason, span: tuple[int, int]) -> None:  # noqa: ANN401 - matplotlib
    sky = season.told.weather
    inside = np.flatnonzero((sky.time_s >= span[0]) & (sky.time_s < span[1]))
    when = _when(sky.time_s[inside])
    axis.plot(when, sky.air_c[inside], color="tab:red", lw=0.8, label="air [Cel]")
    axis.plot(when, sky.sun_wm2[inside] / 50, color="gold", lw=0.6, label="sun [50 W/m2]")
    axis.plot(when, 10 * sky.flying[inside], color="tab:green", lw=0.6, label="flight x 10")
    axis.plot(when, 20 * sky.rain_mm[inside], color="tab:blue", lw=0.8, label="rain [mm/20 a step]")
    axis.plot(when, sky.wind_ms[inside], color="grey", lw=0.4, label="wind [m/s]")
    axis.legend(loc="upper left", ncol=5, fontsize=8)
