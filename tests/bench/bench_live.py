"""What one new reading costs the watch, and what is kept of a hive, by the length of its history.

Run: python tests/bench/bench_live.py [--quick]
A hive with seven quantities at 5 min and visits of the keeper; a pack comes every five minutes and
the watch looks. Printed beside it: a bare numpy pass over the whole history in the same process,
the detectors alone, one look over everything with nothing kept, and the memory that is kept.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from threading import Event

import structlog
from bench_detect import START_S, a_year, bare_pass

from hivewatch import watch
from hivewatch.apiary import Apiary, Placement
from hivewatch.detect import run
from hivewatch.inspections import Inspection
from hivewatch.settings import Settings
from hivewatch.signals.window import HiveWindow
from hivewatch.store import apiary, inspections, readings, stale
from hivewatch.store.open import Store
from hivewatch.watch import Watcher
from hivewatch.wire.quantities import QUANTITIES

NEW = 288  # looks that are measured: a day's


class HandClock:
    """A clock that is turned by hand."""

    at_s = 0

    def now_s(self) -> int:
        """Give the time it was turned to."""
        return self.at_s

    def monotonic_s(self) -> float:
        """Give a time that only rises."""
        return time.monotonic()


def fill(store: Store, window: HiveWindow) -> None:
    """Write a hive, its history and a visit a fortnight."""
    hive = window.hive.id
    with store.write() as connection:
        placed = (Placement("scale-1", hive, START_S),)
        apiary.load(connection, Apiary((window.yard,), (window.hive,), placed))
        number = apiary.number_of(connection, "scale-1")
        series = dict(window.series) | {"battery": window.devices[0].series["battery"]}
        for name, one in series.items():
            quantity = QUANTITIES[name].number
            pairs = zip(one.time_s.tolist(), one.value.tolist(), strict=True)
            rows = [(number, quantity, t * 1000, value, t) for t, value in pairs]
            readings.insert(connection, rows)
        for at_s in range(START_S + 5 * 86_400, window.as_of_s, 14 * 86_400):
            at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(at_s))
            said = {"hive": hive, "at": at, "brood": {"eggs": 3000, "open": 6000, "capped": 12000}}
            inspections.add(connection, Inspection.model_validate(said, strict=False), at_s)


def each_ms(work: Callable[[int], object], times_s: range) -> list[float]:
    """Give what each call took. [ms]."""
    taken = []
    for at_s in times_s:
        begun = time.process_time()  # of this process alone: other work on the machine is not ours
        work(at_s)
        taken.append((time.process_time() - begun) * 1000)
    return taken


class Live:
    """The watch over one hive, and a pack that comes every five minutes."""

    def __init__(self, store: Store, coming: HiveWindow, at_s: int) -> None:
        """Begin at a moment; nothing was looked at yet."""
        self.store, self.coming, self.clock = store, coming, HandClock()
        self.clock.at_s = at_s
        self.watcher = Watcher(store, Settings(), self.clock)
        self.detect_ms: list[float] = []

    def pack(self, at_s: int) -> None:
        """Store what a device sends, as intake does."""
        with self.store.write() as connection:
            rows = [
                (
                    1,
                    QUANTITIES[name].number,
                    at_s * 1000,
                    float(one.between(at_s, at_s).value[0]),
                    at_s,
                )
                for name, one in self.coming.series.items()
                for value in one.between(at_s, at_s).value
            ]
            readings.insert(connection, rows)
            stale.mark(connection, [("device:scale-1", at_s * 1000)])
        self.clock.at_s = at_s

    def look(self, _at_s: int) -> None:
        """Look at what changed."""
        assert self.watcher.look_round(Event(), lambda: None) == 1

    def timed(self, find: Callable[..., object]) -> Callable[..., object]:
        """Wrap the detectors, to tell what they take of a look."""

        def wrapped(*args: object) -> object:
            begun = time.process_time()
            found = find(*args)
            self.detect_ms.append((time.process_time() - begun) * 1000)
            return found

        return wrapped


def kept_kb(watcher: Watcher) -> float:
    """Give what is kept of the hives, found by pickling it: arrays count as they are. [kB]."""
    import pickle  # noqa: PLC0415 - measured, never loaded

    kept = watcher._windows._kept.values(), watcher._known.values(), watcher._days.values()
    return sum(len(pickle.dumps(list(one), protocol=5)) for one in kept) / 1000


def measure(days: int) -> None:
    """Print what one length of history costs."""
    coming = a_year(days=days + 6)
    times_s = coming.of("weight").time_s
    times_s = times_s[times_s < START_S + days * 86_400]
    whole = coming.at(int(times_s[-1]))
    with tempfile.TemporaryDirectory() as folder:
        store = Store(Path(folder) / "hivewatch.db")
        fill(store, whole)
        end_s = whole.as_of_s
        live = Live(store, coming, end_s)
        [first] = each_ms(live.look, range(end_s, end_s + 1))
        later_s = coming.of("weight").time_s
        later_s = later_s[later_s > end_s][:NEW].tolist()
        find = watch.find
        watch.find = live.timed(find)  # type: ignore[assignment]
        looks = []
        for at_s in later_s:
            live.pack(at_s)
            looks += each_ms(live.look, range(at_s, at_s + 1))
        watch.find = find
        alone = replace(whole)
        bare = min(each_ms(lambda _: bare_pass(alone), range(5)))
        anew = min(
            each_ms(lambda _: run.detect(replace(whole), (), Settings().alerts, end_s), range(3))
        )
        look, detect = statistics.median(looks), statistics.median(live.detect_ms)
        print(
            f"{days:4} days: a look {look:6.2f} ms (worst {max(looks):.1f}), detectors of it "
            f"{detect:5.2f} ms; a bare pass {bare:5.2f} ms, all detectors anew {anew:6.1f} ms "
            f"({look / anew:.3f} of it), first look {first:6.0f} ms; "
            f"kept {kept_kb(live.watcher):,.0f} kB"
        )
        store.close()


def main() -> None:
    """Print a line for each length of history."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(40))
    for days in (14,) if "--quick" in sys.argv else (30, 120, 365):
        measure(days)


if __name__ == "__main__":
    main()
