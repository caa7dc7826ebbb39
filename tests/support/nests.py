"""A made-up nest of a few months: air, brood, bees; nothing of the simulators."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from hivewatch.apiary import Hive, Yard
from hivewatch.signals.window import HiveWindow, Series

DAY_S, HOUR_S = 86_400, 3600
YARDS = {
    "north": Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London"),
    "south": Yard("ti-tree", "Ti tree", -37.6, 145.3, "Australia/Melbourne"),
}


@dataclass
class MadeUpNest:
    """A nest by days: `brood` is the share of a full brood nest, `bees` whether there are any.

    With brood it is held at 34.8 Cel within 0.15 K; a cluster without follows the air by a third,
    21 Cel in frost and 27 Cel at 16 Cel outside; an empty box follows it within the hour. A probe
    off the centre shows a share of what the nest is warmer than the air.
    """

    first: str = "2026-03-01"
    days: int = 60
    step_s: int = 600
    seed: int = 0
    air_cel: float = 8.0
    swing_k: float = 5.0
    share: float = 1.0
    yard: str = "north"
    flights: float = 20_000.0
    brood: np.ndarray = field(init=False)
    bees: np.ndarray = field(init=False)
    air_by_day: np.ndarray = field(init=False)
    extra_k: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.start_s = int(datetime.fromisoformat(f"{self.first}T00:00:00+00:00").timestamp())
        n = self.days * DAY_S // self.step_s
        rng = np.random.default_rng(self.seed)
        self.time_s = self.start_s + self.step_s * np.arange(n, dtype=np.int64)
        self.brood, self.bees = np.ones(self.days), np.ones(self.days)
        self.air_by_day = self.air_cel + np.cumsum(rng.normal(0, 1.0, self.days)) * 0.3
        self.extra_k = np.zeros(n)
        self.gone = np.zeros(n, np.bool_)
        self.weight = np.full(n, 40.0)

    def at(self, day: int, hour: float = 0) -> int:
        """Give a moment."""
        return self.start_s + day * DAY_S + round(hour * HOUR_S)

    def has_brood(self, days: Sequence[int] | slice, share: float | np.ndarray = 1.0) -> None:
        """Set the brood of some days."""
        self.brood[days] = share

    def add(self, from_s: int, to_s: int, kelvin: float, hours: float = 0.5) -> None:
        """Cool or warm the nest for a time; it comes and goes within some hours."""
        t = self.time_s
        came = 1 - np.exp(-np.clip((t - from_s) / (hours * HOUR_S), 0, 50))
        left = 1 - np.exp(-np.clip((t - to_s) / (hours * HOUR_S), 0, 50))
        self.extra_k += kelvin * (came - left)

    def lose(self, at_s: int, kg: float) -> None:
        """Let the weight step down for good."""
        self.weight[self.time_s >= at_s] -= kg

    def silence(self, from_s: int, to_s: int) -> None:
        """Take readings away."""
        self.gone |= (self.time_s >= from_s) & (self.time_s < to_s)

    def window(
        self,
        quantities: Sequence[str] = ("nest", "ambient", "weight", "bees-in", "bees-out"),
        until_s: int | None = None,
    ) -> HiveWindow:
        """Give the window."""
        rng = np.random.default_rng(self.seed + 1)
        t, n = self.time_s, len(self.time_s)
        place = (t - self.start_s) / DAY_S - 0.5
        smooth = lambda by_day: np.interp(place, np.arange(self.days), by_day)  # noqa: E731
        hour = ((t - self.start_s) / HOUR_S + YARDS[self.yard].longitude / 15) % 24
        daily = np.sin((hour - 9) / 24 * 2 * np.pi)
        air = smooth(self.air_by_day) + self.swing_k * daily
        lagged = smooth(self.air_by_day) + self.swing_k * np.sin((hour - 11) / 24 * 2 * np.pi)
        cluster = 21.0 + 0.37 * np.clip(lagged, -20, 40)
        held = 34.8 + 0.1 * daily
        nest = cluster + (held - cluster) * smooth(self.brood)
        nest = air + (nest - air) * self.share
        alive = np.repeat(self.bees, DAY_S // self.step_s) > 0
        since = np.maximum.accumulate(np.where(alive, t, 0))
        kept = np.where(alive, 1.0, np.exp(-(t - since) / (4 * HOUR_S)))
        nest = air + (nest - air) * kept + self.extra_k + rng.normal(0, 0.05, n)
        flies = np.clip(daily, 0, None) * (air > 11) * alive
        out = rng.poisson(self.flights * flies * self.step_s / (8 * HOUR_S))
        series = {
            "nest": nest,
            "ambient": air + rng.normal(0, 0.1, n),
            "weight": self.weight + rng.normal(0, 0.01, n),
            "bees-in": out.astype(np.float64),
            "bees-out": out.astype(np.float64),
        }
        there = ~self.gone
        window = HiveWindow(
            Hive("hazel-1", "hazel-end", "langstroth-deep", 10, 1, None),
            YARDS[self.yard],
            int(t[-1]),
            {name: Series(t[there], series[name][there]) for name in quantities},
        )
        return window if until_s is None else window.at(until_s)


def day_of(nest: MadeUpNest, time_s: int) -> float:
    """Give the place of a moment in the season. [d]."""
    return (time_s - nest.start_s) / DAY_S


def told(found: Sequence[object]) -> list[tuple[object, ...]]:
    """Give what must not change once it was told."""
    return [(one.kind, one.start_s, one.detected_s) for one in found]  # type: ignore[attr-defined]
