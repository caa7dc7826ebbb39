"""How long the detectors take over one hive-year, beside a bare numpy pass over the same arrays.

Run: python tests/bench/bench_detect.py
A hive-year at 5 min with seven quantities, two visits a week, rain, a fall and silences, looked at
as a whole. Best of seven. What one new reading costs is in bench_live.py.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from hivewatch.apiary import Hive, Yard
from hivewatch.detect.run import DETECTORS, detect
from hivewatch.signals.faults import clean
from hivewatch.signals.steps import find_moves
from hivewatch.signals.window import DeviceTrace, HiveWindow, Series

START_S = 1_767_225_600  # 2026-01-01T00:00:00Z
DAY_S = 86_400
BAR_S = 0.15  # a hive-year, all detectors
RUNS = 7


@dataclass(frozen=True)
class Limits:
    """The usual ones."""

    silent_after_min: int = 180
    low_battery_v: float = 3.5
    low_lead_battery_v: float = 11.8
    low_battery_percent: float = 20.0


def a_year(step_s: int = 300, days: int = 365) -> HiveWindow:
    """Make the year of one hive."""
    rng = np.random.default_rng(1)
    n = days * DAY_S // step_s
    time_s = START_S + np.arange(n, dtype=np.int64) * step_s
    hour = (time_s - START_S) / 3600 % 24
    weight = 40 + 5 * np.sin(np.arange(n) / n * np.pi) - 0.4 * np.exp(-(((hour - 12) / 3) ** 2))
    weight += rng.normal(0, 0.02, n)
    nest = 34.8 + rng.normal(0, 0.1, n)
    for day in range(3, days - 3, 4):
        at = (day * DAY_S + 14 * 3600) // step_s
        weight[at : at + 5] -= rng.uniform(5, 20)
        weight[at + 3 :] += rng.uniform(-0.5, 0.5)
        nest[at : at + 12] -= 4 * np.exp(-np.arange(12) / 4)
        wet = (day * DAY_S + 40 * 3600) // step_s
        weight[wet : wet + 60] += rng.uniform(0.3, 1.2) * np.exp(-np.arange(60) / 20)
    weight[-400:] = 2.0 + rng.normal(0, 0.02, 400)
    there = np.ones(n, np.bool_)
    for at in rng.integers(0, n, 20):
        there[at : at + 60] = False
    quantities = {
        "weight": weight,
        "nest": nest,
        "ambient": 12 + 8 * np.sin(hour / 24 * 2 * np.pi) + rng.normal(0, 0.3, n),
        "nest-humidity": 60 + rng.normal(0, 1, n),
        "bees-in": rng.poisson(40, n).astype(float),
        "bees-out": rng.poisson(40, n).astype(float),
        "rain": np.zeros(n),
    }
    time_s = time_s[there]
    volts = Series(time_s, 3.9 - np.linspace(0, 0.5, n)[there] + rng.normal(0, 0.02, len(time_s)))
    return HiveWindow(
        Hive("hazel-1", "hazel-end", "langstroth-deep", 10, 1, None),
        Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London"),
        int(time_s[-1]),
        {name: Series(time_s, value[there]) for name, value in quantities.items()},
        (DeviceTrace("scale-1", START_S, None, time_s, {"battery": volts}),),
    )


def bare_pass(window: HiveWindow) -> float:
    """Read every array once, and take its differences: the least that any detector does."""
    total = 0.0
    for series in window.series.values():
        total += float(np.abs(np.diff(series.value)).sum()) + float(np.diff(series.time_s).max())
    return total


def best_s(work: Callable[[], object]) -> float:
    """Give the shortest of some runs."""
    times = []
    for _ in range(RUNS):
        begun = time.process_time()  # of this process alone: other work on the machine is not ours
        work()
        times.append(time.process_time() - begun)
    return min(times)


def measure() -> dict[str, float]:
    """Give seconds by what was done."""
    window, limits = a_year(), Limits()
    weight = window.of("weight")
    taken = {
        "bare numpy pass over seven arrays": best_s(lambda: bare_pass(window)),
        "all detectors, a hive-year at 5 min": best_s(
            lambda: detect(replace(window), (), limits, window.as_of_s)  # knows nothing yet
        ),
        "moves of the weight alone": best_s(lambda: find_moves(weight.value, weight.time_s)),
        "one quantity cleaned": best_s(lambda: clean(weight, "weight")),
    }
    for detector in DETECTORS:
        name = detector.__name__.rsplit(".", 1)[-1]
        taken[f"{name} alone"] = best_s(
            lambda one=detector: one.find(window.at(window.as_of_s), (), limits)
        )
    return taken


def main() -> None:
    """Print what was measured."""
    window = a_year()
    found = detect(window, (), Limits(), window.as_of_s)
    kinds = sorted({one.kind for one in found})
    print(f"{len(found)} findings: {', '.join(kinds)}")
    for what, seconds in measure().items():
        print(f"{what:40} {seconds * 1000:8.2f} ms")
    print(f"{'bar for all detectors':40} {BAR_S * 1000:8.2f} ms")


if __name__ == "__main__":
    main()
