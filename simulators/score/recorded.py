"""What a readings file holds: when each device and each hive was heard."""

from __future__ import annotations

import csv
import gzip
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from simulators.plans import Ints

GROUPS = {
    "weight": ("weight",),
    "nest": ("nest", "nest-humidity"),
    "traffic": ("bees-in", "bees-out"),
}
NOTHING: Ints = np.empty(0, np.int64)


@dataclass(frozen=True)
class Heard:
    """Rising times of the readings by device, and by hive and quantity. [s]."""

    devices: dict[str, Ints]
    hives: dict[tuple[str, str], Ints]
    last_s: float

    def is_heard(self, hive: str, quantity: str, near_s: float, within_s: float) -> bool:
        """Say whether a hive was measured around a moment."""
        times = self.hives.get((hive, quantity), NOTHING)
        low, high = np.searchsorted(times, [near_s - within_s, near_s + within_s])
        return bool(high > low)

    def is_quiet(self, device: str, from_s: float, slack_s: float, least_s: float) -> bool:
        """Say whether a device sent nothing for so long from about a moment on."""
        times = self.devices.get(device, NOTHING)
        if not times.size:
            return True
        at = int(np.searchsorted(times, from_s - slack_s))
        around = np.concatenate((times[max(at - 1, 0) :], [round(self.last_s) + 1]))
        begins = around[:-1]
        gaps = np.diff(around)
        fits = (begins <= from_s + slack_s) & (begins + gaps >= from_s + least_s)
        return bool((fits & (gaps >= least_s)).any())

    def interval_s(self, hive: str, quantity: str = "weight") -> float:
        """Give the usual time between two readings of a hive; ten minutes if it has none."""
        times = self.hives.get((hive, quantity), NOTHING)
        if times.size < 2:
            return 600.0
        return float(np.median(np.diff(times)))


def open_text(path: Path) -> TextIO:
    """Open a text file, gzipped or not."""
    if path.suffix == ".gz":
        return gzip.open(path, "rt", encoding="utf-8")
    return path.open(encoding="utf-8")


def hear(path: Path, apiary: dict[str, Any]) -> Heard:
    """Read the times of a readings file."""
    stamps: dict[tuple[str, str], list[str]] = defaultdict(list)
    with open_text(path) as file:
        for when, device, quantity in _readings(csv.reader(file)):
            stamps[device, quantity].append(when)
    times = {key: _seconds(when) for key, when in stamps.items()}
    devices = {
        name: np.unique(np.concatenate([t for key, t in times.items() if key[0] == name]))
        for name in {key[0] for key in times}
    }
    hives: dict[tuple[str, str], Ints] = {}
    for (device, quantity), moments in times.items():
        for hive, part in _placed(apiary, device, moments):
            known = hives.get((hive, quantity), NOTHING)
            hives[hive, quantity] = np.union1d(known, part)
    last = max((int(t[-1]) for t in devices.values() if t.size), default=0)
    return Heard(devices, hives, float(last))


def _readings(rows: Iterator[list[str]]) -> Iterator[tuple[str, str, str]]:
    """Give time, device and quantity of each value of a long or a wide table."""
    heading = next(rows)
    if "quantity" in heading:
        when, device, quantity = (heading.index(n) for n in ("time", "device", "quantity"))
        for row in rows:
            yield row[when], row[device], row[quantity]
        return
    when, device = heading.index("time"), heading.index("device")
    named = [(i, name) for i, name in enumerate(heading) if i not in (when, device)]
    for row in rows:
        for i, name in named:
            if row[i]:
                yield row[when], row[device], name


def _seconds(when: list[str]) -> Ints:
    """Read times that are written in UTC with a Z."""
    bare = np.array([one.rstrip("Z") for one in when], dtype="datetime64[s]")
    return np.unique(bare.astype(np.int64))


def _placed(apiary: dict[str, Any], device: str, times: Ints) -> Iterator[tuple[str, Ints]]:
    """Give the hives at which a device stood, with its times there."""
    places = sorted(
        (place for place in apiary["device"] if place["id"] == device),
        key=lambda place: str(place["since"]),
    )
    since = [int(np.datetime64(str(p["since"]).rstrip("Z"), "s").astype(int)) for p in places]
    edges = [*since, 2**60]
    for place, low, high in zip(places, edges, edges[1:], strict=False):
        part = times[(times >= low) & (times < high)]
        if place.get("hive") and part.size:
            yield str(place["hive"]), part


def leave_out(path: Path, groups: tuple[str, ...]) -> None:
    """Take the readings of some quantities out of a long table, as if nobody had measured them."""
    words = tuple(f",{quantity}," for group in groups for quantity in GROUPS[group])
    kept = path.with_suffix(".kept")
    with path.open(encoding="utf-8") as file, kept.open("w", encoding="utf-8") as out:
        out.writelines(line for line in file if not any(word in line for word in words))
    kept.replace(path)
