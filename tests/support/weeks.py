"""Made-up hives of some weeks, with all that may happen to them and to their devices."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st

from hivewatch.apiary import Hive, Yard
from hivewatch.signals.window import DeviceTrace, HiveWindow, Series

DAY_S = 86_400
START_S = 1_777_593_600  # 2026-05-01T00:00:00Z
YARD = Yard("north", "North", 52.2, 0.12, "Europe/London")
HIVE = Hive("north-1", "north", "langstroth-deep", 10, 1, 22.0)
OF_SCALE = ("weight", "rain", "battery")
OF_PROBE = ("nest", "nest-humidity", "ambient")
OF_COUNTER = ("bees-in", "bees-out")


@dataclass(frozen=True)
class Life:
    """What happens to a hive, in days from the start."""

    seed: int
    days: int
    step_s: tuple[int, int, int]  # of scale, probe, counter
    mute: list[tuple[int, float, float]]  # device, from, to
    steps: list[tuple[float, float]]  # day, kg
    lifted: list[float]
    opened: list[float]
    fell: list[tuple[float, float]]
    robbed: list[int]
    empty_from: float | None
    no_brood: tuple[float, float] | None
    cold: list[float]
    stuck: list[tuple[str, float, float]]
    battery_fell: float | None

    def window(self) -> HiveWindow:
        """Make the whole of it."""
        rng = np.random.default_rng(self.seed)
        series: dict[str, Series] = {}
        devices = []
        names = (("scale", OF_SCALE), ("probe", OF_PROBE), ("counter", OF_COUNTER))
        for number, (device, quantities) in enumerate(names):
            step_s = self.step_s[number]
            time_s = START_S + np.arange(0, self.days * DAY_S, step_s) + rng.integers(0, 60)
            time_s = time_s + (rng.integers(-20, 20, len(time_s)) if self.seed % 2 else 0)
            at = (time_s - START_S) / DAY_S
            there = rng.random(len(at)) > 0.01
            for which, low, high in self.mute:
                if which == number:
                    there &= (at < low) | (at > high)
            made = self._made(rng, at, step_s)
            mine = {name: Series(time_s[there], made[name][there]) for name in quantities}
            mine = {name: one for name, one in mine.items() if len(one)}
            series |= mine
            own = {name: one for name, one in mine.items() if name == "battery"}
            devices.append(DeviceTrace(device, START_S, None, time_s[there], own))
        end_s = START_S + self.days * DAY_S
        return HiveWindow(HIVE, YARD, end_s, series, tuple(devices))

    def _made(self, rng: np.random.Generator, at: np.ndarray, step_s: int) -> dict[str, np.ndarray]:
        n, hour = len(at), at % 1 * 24
        light = np.clip(np.sin((hour - 5) / 16 * np.pi), 0, None) * ((hour > 5) & (hour < 21))
        weight = 40 + 0.3 * at - 0.4 * light + rng.normal(0, 0.01, n)
        air = 14 + 6 * np.sin((hour - 9) / 24 * 2 * np.pi) + rng.normal(0, 0.2, n)
        nest = 34.8 + rng.normal(0, 0.1, n)
        out = rng.poisson(np.clip(0.12 * step_s * light, 0, 5000)).astype(float)
        back = rng.poisson(np.clip(0.12 * step_s * light, 0, 5000)).astype(float)
        rain = np.where(rng.random(n) < 0.002, 0.6, 0.0)
        made = {
            "weight": weight,
            "rain": rain,
            "nest": nest,
            "nest-humidity": 60 + rng.normal(0, 1, n),
            "ambient": air,
            "bees-in": back,
            "bees-out": out,
            "battery": 3.9 + rng.normal(0, 0.01, n),
        }
        self._handle(at, made)
        self._trouble(at, made)
        return made

    def _handle(self, at: np.ndarray, made: dict[str, np.ndarray]) -> None:
        weight, nest, out = made["weight"], made["nest"], made["bees-out"]
        for day, kg in self.steps:
            weight[at >= day] += kg
            gone = (at >= day) & (at < day + 0.01)
            if -4 < kg < -0.8:
                out[gone] += 3000
        for day in self.lifted:
            weight[(at >= day) & (at < day + 0.02)] -= 12
        for day in self.opened:
            since = (at - day) * 24
            nest -= np.where((since >= 0) & (since < 2), 4 * np.exp(-np.clip(since, 0, 9)), 0)

    def _trouble(self, at: np.ndarray, made: dict[str, np.ndarray]) -> None:
        weight, nest, air = made["weight"], made["nest"], made["ambient"]
        out, back = made["bees-out"], made["bees-in"]
        for low, high in self.fell:
            weight[(at >= low) & (at < high)] = 4.0
        for day in self.robbed:
            robbed = (at >= day + 0.4) & (at < day + 0.75)
            weight -= 2.5 * np.clip((at - day - 0.4) / 0.35, 0, 1)
            out[robbed] *= 2
            back[robbed] *= 2
        if self.empty_from is not None:
            gone = at >= self.empty_from
            nest[gone], out[gone], back[gone] = air[gone] + 0.2, 0, 0
        if self.no_brood is not None:
            low, high = self.no_brood
            none = (at >= low) & (at < high)
            nest[none] = 24 + 0.3 * air[none]
        for day in self.cold:
            nest[(at >= day) & (at < day + 0.2)] = 26.0
        if self.battery_fell is not None:
            made["battery"][at >= self.battery_fell] -= 0.5
        for name, low, high in self.stuck:
            still = (at >= low) & (at < high)
            if still.any():
                made[name][still] = made[name][still][0] or 3.0


days = st.floats(0.5, 44.5).map(lambda day: round(day, 2))
noons = st.integers(1, 43).map(lambda day: day + 0.55)
spans = st.tuples(days, st.sampled_from([0.3, 1.2, 3.0, 9.0, 25.0])).map(lambda s: (s[0], sum(s)))
lives = st.builds(
    Life,
    seed=st.integers(0, 9),
    days=st.sampled_from([25, 45]),
    step_s=st.tuples(*[st.sampled_from([600, 900, 1800, 3600])] * 2, st.sampled_from([300, 600])),
    mute=st.lists(st.tuples(st.integers(0, 2), spans).map(lambda m: (m[0], *m[1])), max_size=3),
    steps=st.lists(st.tuples(noons | days, st.sampled_from([8.0, 1.5, -2.2, -12.0])), max_size=4),
    lifted=st.lists(noons, max_size=3),
    opened=st.lists(noons, max_size=3),
    fell=st.lists(spans, max_size=1),
    robbed=st.lists(st.integers(5, 43), max_size=2),
    empty_from=st.none() | days,
    no_brood=st.none() | spans,
    cold=st.lists(days, max_size=1),
    stuck=st.lists(
        st.tuples(st.sampled_from(["weight", "nest", "bees-in"]), spans).map(
            lambda s: (s[0], *s[1])
        ),
        max_size=1,
    ),
    battery_fell=st.none() | days,
)
