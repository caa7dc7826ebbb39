"""Is the device itself well: `silent`, `low_battery`, `clock`.

Every placement of a device is looked at by itself, so that a device that moved to another hive is
judged there and no longer here: what lasts when it is moved ends with the move.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.window import EMPTY, DeviceTrace, Floats, HiveWindow, Ints, Series

NEVER_HEARD_S = 86_400  # [s] own choice: people write the day of a placement, not the hour
DAYS_FROM_H = 72.0  # [h] own choice: from here on silence is said in days
LEAD_V = 6.0  # [V] common practice, no source: above it a lead battery, below it one lithium cell
BATTERY_MARGIN = 0.03  # own choice: of the limit, above the sag of a sending radio
BATTERY_MARGIN_PERCENT = 5.0  # [%] own choice
BATTERY_READINGS = 2  # own choice: one low reading is a sending radio; tests/unit/detect
BATTERY_WELL_S = 86_400  # [s] own choice: a solar panel lifts a failing battery every noon
BACK_S = 2 * 86_400  # [s] as for `hivewatch.signals.carried`
CLOCK_QUIET_S = 6 * 3600  # [s] own choice: a clock set right stays right this long


def find(window: HiveWindow, _inspections: Sequence[Inspection], limits: Limits) -> list[Finding]:
    """Say what is wrong with the devices that stand, or stood, at the hive.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`.
    limits : Limits
        How long a silence may last, when a battery is low.

    Returns
    -------
    list[Finding]
        Of kind `silent`, `low_battery` and `clock`; the subject is the device.
    """
    found: list[Finding] = []
    for whole in window.devices:
        if whole.from_s <= window.as_of_s:
            trace = whole.since(window.carried.until_s, BACK_S)
            found += _silences(trace, limits.silent_after_min * 60, window.as_of_s)
            found += _low_batteries(trace, limits, window.carried.until_s)
            found += _wrong_clocks(trace, window.carried.until_s)
    return found


def next_silence_s(window: HiveWindow, limits: Limits) -> int | None:
    """Give the first moment after `window.as_of_s` at which a device falls silent by time alone."""
    moments = []
    for trace in window.devices:
        if trace.from_s > window.as_of_s or _left_s(trace, window.as_of_s) is not None:
            continue
        last_s, allowed_s = _last_word(trace, limits.silent_after_min * 60)
        moments.append(last_s + allowed_s + 1)
    return min((moment for moment in moments if moment > window.as_of_s), default=None)


def _left_s(trace: DeviceTrace, as_of_s: int) -> int | None:
    """Give the moment a device was moved away, None while it stands here."""
    return trace.until_s if trace.until_s is not None and trace.until_s <= as_of_s else None


def _last_word(trace: DeviceTrace, silent_after_s: int) -> tuple[int, int]:
    """Give when a device was last heard here, and how long it may be silent from then on."""
    if len(trace.heard_s):
        return int(trace.heard_s[-1]), silent_after_s
    return trace.from_s, max(silent_after_s, NEVER_HEARD_S)


def _silences(trace: DeviceTrace, silent_after_s: int, as_of_s: int) -> Iterator[Finding]:
    """Find the spans longer than `silent_after_s` without any reading."""
    heard_s = trace.heard_s
    if len(heard_s):
        never_s = max(silent_after_s, NEVER_HEARD_S)
        if heard_s[0] - trace.from_s > never_s:
            yield _silence(trace, trace.from_s, int(heard_s[0]), never_s, "put here")
        for i in np.flatnonzero(np.diff(heard_s) > silent_after_s):
            yield _silence(trace, int(heard_s[i]), int(heard_s[i + 1]), silent_after_s, "heard")
    last_s, allowed_s = _last_word(trace, silent_after_s)
    left_s = _left_s(trace, as_of_s)
    if (as_of_s if left_s is None else left_s) - last_s > allowed_s:
        since = "heard last" if len(heard_s) else "put here"
        yield _silence(trace, last_s, left_s, allowed_s, since)


def _silence(
    trace: DeviceTrace, start_s: int, end_s: int | None, allowed_s: int, since: str
) -> Finding:
    """Make one `silent`; while it lasts, its start says how long, and nothing in it grows."""
    hours = (allowed_s if end_s is None else end_s - start_s) / 3600
    long = f"{hours:.1f} h" if hours < DAYS_FROM_H else f"{hours / 24:.0f} days"
    said = f"no reading for {long} since it was {since}"
    if end_s is None:
        said = f"no reading since it was {since}"
    return Finding(
        kind="silent",
        subject=f"device:{trace.device}",
        start_s=start_s,
        end_s=end_s,
        detected_s=start_s + allowed_s,
        confidence=1.0,
        measures={"hours" if end_s is not None else "told_after_hours": round(hours, 2)},
        evidence=(said,),
        status="open" if end_s is None else "ended",
    )


def _low_batteries(trace: DeviceTrace, limits: Limits, until_s: int) -> list[Finding]:
    """Find the spans with a low battery, by its voltage or else by its charge."""
    volts, charge = (trace.series.get(name, EMPTY) for name in ("battery", "battery-level"))
    bounds: list[tuple[Series, Floats, Floats, str]] = []
    if len(volts):
        low_v, lead_v = limits.low_battery_v, limits.low_lead_battery_v
        well = low_v + BATTERY_MARGIN * low_v, lead_v + BATTERY_MARGIN * lead_v
        bounds.append((volts, _by_supply(volts, low_v, lead_v), _by_supply(volts, *well), "v"))
    if len(charge):
        low = np.full(len(charge), limits.low_battery_percent)
        bounds.append((charge, low, low + BATTERY_MARGIN_PERCENT, "percent"))
    found = [
        _low_battery(trace, series, float(low[span[0]]), unit, span)
        for series, low, well, unit in bounds
        for span in low_spans(series, low, well)
    ]
    return _one_at_a_time([one for one in found if one.detected_s >= until_s])


def _by_supply(volts: Series, cell_v: float, lead_v: float) -> Floats:
    """Give a bound for each reading: that of one cell, or of a lead battery.

    A supply is lead once it has been above 6 V, and stays so: it does not become a smaller one.
    """
    leads = np.flatnonzero(volts.value > LEAD_V)
    if not len(leads):
        return np.full(len(volts), cell_v)
    return np.where(np.arange(len(volts)) < leads[0], cell_v, lead_v)


def _low_battery(
    trace: DeviceTrace, series: Series, low: float, unit: str, span: tuple[int, int, int]
) -> Finding:
    """Make one `low_battery`."""
    first, told, last = span
    end_s = int(series.time_s[last + 1]) if last + 1 < len(series) else None
    worst = float(series.value[first : last + 1].min())
    said = f"{worst:.2f} V, the limit is {low:g} V"
    if unit == "percent":
        said = f"{worst:.0f} %, the limit is {low:g} %"
    return Finding(
        kind="low_battery",
        subject=f"device:{trace.device}",
        start_s=int(series.time_s[first]),
        end_s=end_s,
        detected_s=int(series.time_s[told]),
        confidence=0.95,
        measures={f"lowest_{unit}": round(worst, 3)},
        evidence=(f"battery down to {said}",),
        status="open" if end_s is None else "ended",
    )


def low_spans(series: Series, low: Floats, well: Floats) -> list[tuple[int, int, int]]:
    """Find where a battery is low, with hysteresis.

    It is low from `BATTERY_READINGS` readings in a row below `low`, until it has stayed at or
    above `well` for `BATTERY_WELL_S`.

    Parameters
    ----------
    series : Series
        Voltage or charge.
    low, well : Floats
        Where the trouble begins and where it is over, `low` < `well`, one a reading.

    Returns
    -------
    list[tuple[int, int, int]]
        Indices of the first low reading, of the reading that told it, and of the last reading
        before the battery was well again.
    """
    time_s, value = series.time_s, series.value
    runs = _runs_of(value < low, BATTERY_READINGS)
    if not len(runs):
        return []
    # a spell at or above `well` ends the finding when a whole day passes in it; of a battery that
    # stays low there is none, however long it has been so
    good = np.flatnonzero(value >= well)
    before = good[np.diff(good, prepend=-2) > 1] - 1
    after = good[np.diff(good, append=len(value) + 1) > 1] + 1
    spell_s = time_s[np.minimum(after, len(value) - 1)] - time_s[before]
    ends = before[(spell_s > BATTERY_WELL_S) & (before >= 0)]
    spans: list[tuple[int, int, int]] = []
    free_from = 0
    while (at := int(runs.searchsorted(free_from))) < len(runs):
        first = int(runs[at])
        over = int(ends.searchsorted(first))
        last = int(ends[over]) if over < len(ends) else len(value) - 1
        spans.append((first, first + BATTERY_READINGS - 1, last))
        free_from = last + 1
    return spans


def _runs_of(true: np.ndarray[tuple[int], np.dtype[np.bool_]], length: int) -> Ints:
    """Give the index of each first element of `length` in a row that are true."""
    if len(true) < length:
        return np.empty(0, np.int64)
    run = true[: len(true) - length + 1].copy()
    for i in range(1, length):
        run &= true[i : len(true) - length + 1 + i]
    return np.flatnonzero(run).astype(np.int64)


def _one_at_a_time(found: Sequence[Finding]) -> list[Finding]:
    """Leave out what overlaps an earlier one: voltage and charge tell of the same battery."""
    kept: list[Finding] = []
    for finding in sorted(found, key=lambda one: one.start_s):
        if not kept or (kept[-1].end_s is not None and kept[-1].end_s <= finding.start_s):
            kept.append(finding)
    return kept


def _wrong_clocks(trace: DeviceTrace, until_s: int) -> Iterator[Finding]:
    """Find the spans in which a device dated its readings ahead of the time they came."""
    if not len(trace.ahead_s) + len(trace.refused_s):
        return
    events_s = np.union1d(trace.ahead_s, trace.refused_s)
    events_s = events_s[events_s >= until_s]
    if not len(events_s):
        return
    right_s = np.setdiff1d(trace.heard_s, trace.ahead_s)
    latest_s = max(int(events_s[-1]), int(trace.heard_s[-1]) if len(trace.heard_s) else 0)
    next_right = right_s.searchsorted(events_s, side="right")
    # a new span begins after a long time without a wrong date, with a right one in it
    new = np.diff(events_s) > CLOCK_QUIET_S
    new &= next_right[:-1] < right_s.searchsorted(events_s[1:], side="left")
    edges = np.concatenate(([0], np.flatnonzero(new) + 1, [len(events_s)]))
    for begin, end in pairwise(edges):
        first_s, last_s = int(events_s[begin]), int(events_s[end - 1])
        right = int(next_right[end - 1])
        quiet = end < len(events_s) or latest_s - last_s > CLOCK_QUIET_S
        end_s = int(right_s[right]) if quiet and right < len(right_s) else None
        inside = (trace.ahead_s >= first_s) & (trace.ahead_s <= last_s)
        refused = int(np.sum((trace.refused_s >= first_s) & (trace.refused_s <= last_s)))
        most_min = float(trace.ahead_by_s[inside].max()) / 60 if inside.any() else None
        evidence = []
        if most_min is not None:
            evidence.append(f"readings dated up to {most_min:.0f} min after they came")
        if refused:
            records = "record" if refused == 1 else "records"
            evidence.append(f"{refused} {records} refused, dated more than a day ahead")
        yield Finding(
            kind="clock",
            subject=f"device:{trace.device}",
            start_s=first_s,
            end_s=end_s,
            detected_s=first_s,
            confidence=0.99,
            measures={
                "ahead_min": None if most_min is None else round(most_min, 1),
                "records_refused": refused,
            },
            evidence=tuple(evidence),
            status="open" if end_s is None else "ended",
        )
