"""What is carried from look to look says, reading by reading, what one look over everything says.

Made-up hives of some weeks: several devices, gaps, devices that die and come back, counters that
are set to another step, visits, falls, swarms, cold and empty nests, dead batteries; readings come
late, twice and in blocks. The window is kept as the store's keeper keeps it, and cut as it cuts it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from threading import Event

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lived import HandClock
from weeks import DAY_S, HIVE, OF_COUNTER, OF_PROBE, OF_SCALE, START_S, YARD, Life, days, lives

from hivewatch.apiary import Apiary, Placement
from hivewatch.detect import run
from hivewatch.detect.carrying import asked_from_s
from hivewatch.inspections import Inspection
from hivewatch.replay import find as replayed
from hivewatch.settings import Settings
from hivewatch.signals.carried import AHEAD_S, NOTHING, RAW_S
from hivewatch.signals.window import HiveWindow, Series
from hivewatch.store import apiary, findings, inspections, readings, stale
from hivewatch.store.open import Store
from hivewatch.watch import Watcher
from hivewatch.wire.quantities import QUANTITIES


@dataclass(frozen=True)
class Limits:
    """The usual ones."""

    silent_after_min: int = 180
    low_battery_v: float = 3.5
    low_lead_battery_v: float = 11.8
    low_battery_percent: float = 20.0


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
            hive_s, device_s = asked_from_s(self.carried)
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
        seed=seed,
        days=45,
        step_s=(900, 600, 300),
        mute=[(0, 20.1, 23.4), (2, 30.2, 30.9)],
        steps=[(12.55, -2.2), (33.6, 8.0)],
        lifted=[18.55],
        opened=[25.5],
        fell=[(36.3, 37.4)],
        robbed=[15, 16],
        empty_from=None,
        no_brood=(22.0, 40.0),
        cold=[9.1],
        stuck=[("nest", 41, 43)],
        battery_fell=34.0,
    )
    whole, kept = life.window(), Kept()
    before_s, told = 0, set()
    for at_s in range(START_S + 39 * DAY_S, START_S + 44 * DAY_S, 2700):
        found = kept.look(whole, at_s, before_s)
        assert found == run.detect(whole.at(at_s), (), Limits(), at_s)
        told |= {one.kind for one in found}
        before_s = at_s
    assert kept.was_cut, "readings of weeks ago were not looked at any more"
    assert {"handling", "toppled", "silent", "low_battery", "stuck"} <= told


def reading_rows(window: HiveWindow) -> dict[str, list[tuple[int, int, float]]]:
    """Give each device's readings: time, quantity, value; a second scale takes over half way."""
    rows: dict[str, list[tuple[int, int, float]]] = {name: [] for name in DEVICES}
    middle_s = START_S + (window.as_of_s - START_S) // 2
    for device, names in zip(DEVICES, (OF_SCALE, OF_PROBE, OF_COUNTER), strict=False):
        for name in names:
            one = window.of(name)
            for time_s, value in zip(one.time_s.tolist(), one.value.tolist(), strict=True):
                is_second = device == "scale" and time_s >= middle_s
                at = "scale-2" if is_second else device
                rows[at].append((time_s, QUANTITIES[name].number, value))
    return rows


DEVICES = ("scale", "probe", "counter", "scale-2")


@pytest.mark.parametrize("seed", range(3))
def test_the_watch_tells_of_weeks_what_a_replay_tells(tmp_path, seed):
    """In the store: late blocks, a scale that is replaced, a restart, a visit in between."""
    rng = np.random.default_rng(seed)
    life = Life(
        seed=seed,
        days=25,
        step_s=(900, 900, 600),
        mute=[(int(rng.integers(0, 3)), 9.3, 11.0)],
        steps=[(6.55, 8.0), (15.55, -2.2)],
        lifted=[12.6],
        opened=[17.55],
        fell=[(20.3, 21.0)],
        robbed=[9],
        empty_from=None,
        no_brood=None,
        cold=[18.2],
        stuck=[],
        battery_fell=14.0,
    )
    store, clock = Store(tmp_path / "hivewatch.db"), HandClock()
    middle_s = START_S + life.days * DAY_S // 2
    with store.write() as connection:
        places = [Placement(name, HIVE.id, START_S) for name in DEVICES[:3]]
        places += [Placement("scale-2", HIVE.id, middle_s), Placement("scale", None, middle_s)]
        apiary.load(connection, Apiary((YARD,), (HIVE,), tuple(places)))
        numbers = apiary.numbers(connection)
    rows = reading_rows(life.window())
    watcher, sent_s = Watcher(store, Settings(), clock), dict.fromkeys(DEVICES, 0)
    for look, at_s in enumerate(range(START_S + DAY_S, START_S + life.days * DAY_S, DAY_S // 5)):
        clock.at_s = at_s
        late = DEVICES[int(rng.integers(0, 4))] if look % 3 else None  # sends next time
        with store.write() as connection:
            for device in DEVICES:
                new = [one for one in rows[device] if sent_s[device] <= one[0] < at_s]
                if device == late or not new or (device == "probe" and 40 < look < 75):
                    continue  # the probe once sends for a week at once
                coming = [(numbers[device], q, t * 1000, value, at_s) for t, q, value in new]
                readings.insert(connection, coming)
                stale.mark(connection, [(f"device:{device}", min(one[2] for one in coming))])
                sent_s[device] = at_s
            if look == 60:
                said = Inspection(hive=HIVE.id, at=datetime.fromtimestamp(at_s - 900, UTC))
                inspections.add(connection, said, at_s)
        if look == 90:
            watcher = Watcher(store, Settings(), clock)
        while watcher.look_round(Event(), lambda: None):
            pass
        if look % 10 == 0 or look > 110:
            with store.read() as connection:
                told = [one for one in findings.read(connection) if one.status != "withdrawn"]
            anew = replayed(store, Settings().alerts, as_of_s=at_s, is_replay=True)
            assert bare(told) == bare(anew)
    [kept] = watcher._windows._kept.values()
    assert kept.carried.until_s > START_S + 18 * DAY_S
    store.close()


def bare(found):
    return sorted(
        (replace(one, id="") for one in found), key=lambda one: (one.start_s, one.kind, one.subject)
    )
