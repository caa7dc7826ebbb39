"""Which device sent some readings, where a finding is of the device and not of the hive."""

from __future__ import annotations

import numpy as np

from hivewatch.signals.window import DeviceTrace, HiveWindow, Series


def sender_of(window: HiveWindow, series: Series, from_s: int, to_s: int) -> str:
    """Name the device whose readings these are: the one that was heard at their times."""
    low, high = series.time_s.searchsorted([from_s, to_s + 1])
    times = series.time_s[low:high]

    def heard(trace: DeviceTrace) -> tuple[float, int]:
        return float(np.isin(times, trace.heard_s).mean()) if len(times) else 0.0, trace.from_s

    best = max(window.devices, key=heard, default=None)
    return best.device if best is not None else f"of-{window.hive.id}"
