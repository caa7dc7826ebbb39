"""What is carried from look to look says, reading by reading, what one look over everything says.

Made-up hives of some weeks: several devices, gaps, devices that die and come back, counters that
are set to another step, visits, falls, swarms, cold and empty nests, dead batteries; readings come
late, twice and in blocks. The window is kept as the store's keeper keeps it, and cut as it cuts it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hivewatch.apiary import Hive, Yard
from hivewatch.detect import run
from hivewatch.signals.carried import AHEAD_S, NOTHING, RAW_S
from hivewatch.signals.window import DeviceTrace, HiveWindow, Series

DAY_S = 86_400
START_S = 1_777_593_600  # 2026-05-01T00:00:00Z
YARD = Yard("north", "North", 52.2, 0.12, "Europe/London")
HIVE = Hive("north-1", "north", "langstroth-deep", 10, 1, 22.0)
OF_SCALE = ("weight", "rain", "battery")
OF_PROBE = ("nest", "nest-humidity", "ambient")
OF_COUNTER = ("bees-in", "bees-out")


@dataclass(frozen=True)
class Limits:
    """The usual ones."""

    silent_after_min: int = 180
    low_battery_v: float = 3.5
    low_lead_battery_v: float = 11.8
    low_battery_percent: float = 20.0


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
        if self.battery_fell is not None:
            made["battery"][at >= self.battery_fell] -= 0.5
        for name, low, high in self.stuck:
            still = (at >= low) & (at < high)
            if still.any():
                made[name][still] = made[name][still][0] or 3.0
        return made


class Kept:
    """A window that grows, as the keeper of the store keeps it."""

    def __init__(self) -> None:
        """Begin with nothing."""
        self.carried = NOTHING
        self.was_cut = False

    def look(self, whole: HiveWindow, at_s: int, changed_s: int) -> list[object]:
        """Look at a moment; readings from `changed_s` on are new."""
        if changed_s < self.carried.until_s + AHEAD_S:
            self.carried = NOTHING
        window = whole.at(at_s)
        if self.carried.until_s:
            hive_s, device_s = run.asked_from_s(self.carried)
            window = replace(
                window,
                carried=self.carried,
                series={name: one.since(hive_s, RAW_S) for name, one in window.series.items()},
                devices=tuple(one.since(device_s, RAW_S) for one in window.devices),
            )
            self.was_cut |= any(one.skipped for one in window.series.values())
        found = run.detect(window, (), Limits(), at_s)
        self.carried = run.carry(window)
        return list(found)


def without(window: HiveWindow, device: int, low_s: int, high_s: int) -> HiveWindow:
    """Give a window to which some of a device's readings have not come yet."""
    names = (OF_SCALE, OF_PROBE, OF_COUNTER)[device]

    def cut(series: Series) -> Series:
        there = (series.time_s < low_s) | (series.time_s >= high_s)
        return Series(series.time_s[there], series.value[there])

    series = {
        name: cut(one) if name in names else one
        for name, one in window.series.items()
        if name not in names or len(cut(one))
    }
    devices = list(window.devices)
    heard_s = devices[device].heard_s
    devices[device] = replace(
        devices[device],
        heard_s=heard_s[(heard_s < low_s) | (heard_s >= high_s)],
        series={name: cut(one) for name, one in devices[device].series.items()},
    )
    return replace(window, series=series, devices=tuple(devices))


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
lates = st.none() | st.tuples(
    st.integers(0, 2), days, st.sampled_from([0.3, 0.9, 2.0]), st.sampled_from([0.0, 0.8, 6.0])
)
HARD = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def moments(life: Life, seed: int, count: int) -> list[int]:
    rng = np.random.default_rng(seed)
    return sorted((START_S + rng.uniform(0.2, life.days, count) * DAY_S).astype(int).tolist())


@HARD
@given(life=lives, late=lates, seed=st.integers(0, 99), count=st.sampled_from([12, 40]))
def test_what_is_carried_says_what_a_look_over_everything_says(life, late, seed, count):
    whole, kept = life.window(), Kept()
    before_s = 0
    for at_s in moments(life, seed, count):
        here, changed_s = whole, before_s
        if late is not None:
            device, day, long, after = late
            low_s = START_S + round(day * DAY_S)
            high_s, come_s = low_s + round(long * DAY_S), low_s + round((long + after) * DAY_S)
            if at_s < come_s:
                here = without(whole, device, low_s, high_s)
            elif before_s < come_s:
                changed_s = min(before_s, low_s)
        found = kept.look(here, at_s, changed_s)
        assert found == run.detect(here.at(at_s), (), Limits(), at_s)
        before_s = at_s


@pytest.mark.parametrize("seed", [0, 1])
def test_so_it_does_reading_by_reading(seed):
    life = Life(
        seed, 45, (900, 600, 300), [(0, 20.1, 23.4), (2, 30.2, 30.9)], [(12.55, -2.2), (33.6, 8.0)],
        [18.55], [25.5], [(36.3, 37.4)], [15, 16], None, (22.0, 40.0), [9.1], [("nest", 41, 43)], 34.0,
    )  # fmt: skip
    whole, kept = life.window(), Kept()
    before_s, told = 0, set()
    for at_s in range(START_S + 39 * DAY_S, START_S + 44 * DAY_S, 2700):
        found = kept.look(whole, at_s, before_s)
        assert found == run.detect(whole.at(at_s), (), Limits(), at_s)
        told |= {one.kind for one in found}
        before_s = at_s
    assert kept.was_cut, "readings of weeks ago were not looked at any more"
    assert {"handling", "toppled", "silent", "low_battery", "stuck"} <= told
