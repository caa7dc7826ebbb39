"""What a finding rests on, as curves: the readings or days that its detector weighed.

`evidence_of` gives numbers, so that a page and a picture show the same; `plot` draws them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.signals.days import DAY_S, HOUR_S, Days, days_of
from hivewatch.signals.usual import usual_step_s
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series
from hivewatch.wire.quantities import QUANTITIES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEGEND = 4  # own choice: names side by side
GAP_STEPS = 4  # own choice: a line breaks where so many readings in a row are missing
INK, SPAN, FAINT = "#24505f", "#b4552d", "#8b979b"

DAILY = {
    "dawn_kg": ("weight before sunrise", "kg"),
    "gain_kg": ("gain from dawn to dawn", "kg a day"),
    "nest_cel": ("nest, mean of the day", "Cel"),
    "nest_sd_k": ("nest, standard deviation of the day", "K"),
    "ambient_cel": ("outside, mean of the day", "Cel"),
    "bees_out": ("bees out", "bees a day"),
    "bees_in": ("bees in", "bees a day"),
}
"""Daily figures that are shown: what they are called, and their unit."""


class Shown(NamedTuple):
    """What is shown of a kind: readings by quantity, or daily figures; and how much around it."""

    readings: tuple[str, ...]
    days: tuple[str, ...]
    before_s: int
    after_s: int


def _near(hours: float, *readings: str) -> Shown:
    return Shown(readings, (), int(hours * HOUR_S), int(hours * HOUR_S))


def _long(before_d: int, after_d: int, *days: str) -> Shown:
    return Shown((), days, before_d * DAY_S, after_d * DAY_S)


HEARD = "heard"
"""How often the device of the finding was heard; every quantity of it counts."""
WARMTH = ("nest_cel", "nest_sd_k", "ambient_cel")
SHOWN: Mapping[str, Shown] = {
    "nectar_flow": _long(10, 7, "gain_kg"),
    "dearth": _long(10, 7, "gain_kg"),
    "brood_onset": _long(21, 14, *WARMTH),
    "brood_end": _long(21, 14, *WARMTH),
    "swarm": _near(4, "weight", "bees-out", "bees-in", "nest"),
    "swarm_risk": _long(21, 7, "dawn_kg", "bees_out", "nest_cel"),
    "robbing": _near(18, "weight", "bees-in", "bees-out"),
    "queen_trouble": _long(28, 7, *WARMTH, "bees_out"),
    "low_stores": _long(28, 7, "dawn_kg", "gain_kg"),
    "dead_out": _long(14, 3, *WARMTH, "dawn_kg", "bees_out"),
    "toppled": _near(6, "weight", "nest"),
    "taken": _near(6, "weight", "nest"),
    "handling": _near(4, "weight", "nest"),
    "orientation_flight": _near(3, "bees-out", "bees-in"),
    "forager_loss": _long(14, 3, "bees_out", "bees_in", "gain_kg"),
    "chilled_brood": _near(24, "nest", "ambient"),
    "overheating": _near(24, "nest", "ambient"),
    "silent": Shown((HEARD, "battery", "battery-level", "signal"), (), 3 * DAY_S, DAY_S),
    "clock": Shown((HEARD, "battery", "battery-level"), (), 3 * DAY_S, DAY_S),
    "stuck": Shown(("weight", "nest", "ambient", "bees-out"), (), 3 * DAY_S, DAY_S),
    "low_battery": Shown(("battery", "battery-level"), (), 14 * DAY_S, DAY_S),
    "scale_drift": Shown(("weight", "ambient"), ("dawn_kg",), 14 * DAY_S, 3 * DAY_S),
}
"""Every kind. Margins are own choices: enough around it to see what was usual before."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One curve of the evidence.

    Parameters
    ----------
    name, unit : str
        What it is, and in what unit.
    time_s : Ints
        Unix time, UTC, shape (n,); for a daily figure the day's local midnight. [s]
    value : Floats
        NaN where the line breaks, shape (n,).
    drawn : str
        ``line``, ``bars`` (counts since the one before) or ``days`` (so until the next one).
    """

    name: str
    unit: str
    time_s: Ints
    value: Floats
    drawn: Literal["line", "bars", "days"]


@dataclass(frozen=True, slots=True)
class Evidence:
    """The curves behind a finding, over the span that they are shown for [s]."""

    finding: Finding
    from_s: int
    to_s: int
    timezone: str
    curves: tuple[Curve, ...]


def evidence_of(window: HiveWindow, finding: Finding) -> Evidence:
    """Give the curves behind a finding of a hive, or of a device that stood at it.

    Parameters
    ----------
    window : HiveWindow
        The hive up to the moment of which it is told; nothing later is shown.
    finding : Finding
        With `hive:` or `device:` as its subject.

    Returns
    -------
    Evidence
        Curves without a reading in the span are left out.
    """
    shown = SHOWN[finding.kind]
    from_s, to_s = _span(finding, shown, window.as_of_s)
    curves = [_curve(window, finding, name, from_s, to_s) for name in shown.readings]
    if shown.days:
        days = days_of(window)
        curves += [_daily(*DAILY[name], days, name, from_s, to_s) for name in shown.days]
    kept = tuple(one for one in curves if np.isfinite(one.value).any())
    return Evidence(finding, from_s, to_s, window.yard.timezone, kept)


def evidence_of_yard(
    timezone: str, days: Mapping[str, Days], finding: Finding, as_of_s: int
) -> Evidence:
    """Give the curves behind a finding that the hives of a yard make together.

    Parameters
    ----------
    timezone : str
        The yard's, an IANA name.
    days : Mapping
        Hive -> its days.
    finding : Finding
        As `detect.run.detect_yard` gives it.
    as_of_s : int
        The moment of which it is told. [s]

    Returns
    -------
    Evidence
        One curve a hive and daily figure.
    """
    shown = SHOWN[finding.kind]
    from_s, to_s = _span(finding, shown, as_of_s)
    curves = [
        _daily(f"{hive}: {DAILY[name][0]}", DAILY[name][1], days[hive], name, from_s, to_s)
        for name in shown.days or ("gain_kg",)
        for hive in sorted(days)
    ]
    kept = tuple(one for one in curves if np.isfinite(one.value).any())
    return Evidence(finding, from_s, to_s, timezone, kept)


def plot(evidence: Evidence) -> Figure:
    """Draw the evidence: one panel a unit, what was found shaded, the moment it was told marked.

    Raises
    ------
    ImportError
        If matplotlib is not installed.
    """
    from matplotlib import dates, figure  # noqa: PLC0415 - an optional library

    one, zone = evidence.finding, ZoneInfo(evidence.timezone)
    units = list(dict.fromkeys(curve.unit for curve in evidence.curves)) or [""]
    groups = [[curve for curve in evidence.curves if curve.unit == unit] for unit in units]
    height = sum(1.8 + 0.2 * -(-len(group) // LEGEND) for group in groups)
    drawn = figure.Figure(figsize=(9, 1.0 + height + 0.2 * len(one.evidence)), layout="constrained")
    panels = drawn.subplots(len(units), 1, sharex=True, squeeze=False)[:, 0]
    for unit, group, axes in zip(units, groups, panels, strict=True):
        _panel(axes, evidence, group)
        axes.set_ylabel(unit)
    last = panels[-1]
    last.set_xlim(_day(evidence.from_s), _day(evidence.to_s))
    locator = dates.AutoDateLocator(tz=zone)  # type: ignore[no-untyped-call]
    last.xaxis.set_major_locator(locator)
    last.xaxis.set_major_formatter(
        dates.ConciseDateFormatter(locator, tz=zone)  # type: ignore[no-untyped-call]
    )
    last.set_xlabel(evidence.timezone)
    begun = datetime.fromtimestamp(one.start_s, UTC).astimezone(zone)
    drawn.suptitle(f"{one.kind.replace('_', ' ')}, {one.subject}, {begun:%Y-%m-%d %H:%M}")
    drawn.supxlabel("\n".join(one.evidence), fontsize=8, x=0.01, ha="left", wrap=True)
    return drawn


def _panel(axes: Axes, evidence: Evidence, curves: list[Curve]) -> None:
    """Draw the curves of one unit."""
    for n, curve in enumerate(curves):
        color = f"C{n}" if len(curves) > 1 else INK
        when = curve.time_s / DAY_S
        if curve.drawn == "line":
            axes.plot(when, curve.value, lw=1.0, color=color, label=curve.name)
        else:
            where: Literal["post", "pre"] = "post" if curve.drawn == "days" else "pre"
            axes.step(when, curve.value, where=where, color=color, label=curve.name)
    one = evidence.finding
    end_s = evidence.to_s if one.end_s is None and one.status == "open" else one.end_s
    axes.axvspan(_day(one.start_s), _day(end_s or one.start_s), color=SPAN, alpha=0.18)
    axes.axvline(_day(one.start_s), color=SPAN, lw=1.0)
    axes.axvline(_day(one.detected_s), color=FAINT, lw=1.0, ls="--", label="told")
    axes.legend(fontsize=7, loc="lower left", bbox_to_anchor=(0, 1), ncols=LEGEND, frameon=False)
    axes.tick_params(labelsize=8)


def _day(time_s: int) -> float:
    """Give a moment as matplotlib counts it, in days since 1970."""
    return time_s / DAY_S


def _span(finding: Finding, shown: Shown, as_of_s: int) -> tuple[int, int]:
    """Give from when to when it is shown [s]."""
    over_s = max(finding.end_s or finding.start_s, finding.detected_s)
    last_s = as_of_s if finding.end_s is None and finding.status == "open" else over_s
    return finding.start_s - shown.before_s, min(max(last_s, over_s) + shown.after_s, as_of_s)


def _curve(window: HiveWindow, finding: Finding, name: str, from_s: int, to_s: int) -> Curve:
    """Give the readings of a quantity of the hive, or what the finding's device alone reports."""
    subject, _, device = finding.subject.partition(":")
    traces = [one for one in window.devices if subject == "device" and one.device == device]
    if name == HEARD:
        return _heard(np.concatenate([one.heard_s for one in traces]), from_s, to_s)
    own = [one.series[name] for one in traces if name in one.series]
    return _readings(name, own[-1] if own else window.of(name), from_s, to_s)


def _heard(heard_s: Ints, from_s: int, to_s: int) -> Curve:
    """Count the readings of each hour of a span."""
    hour_s = np.arange(from_s, to_s + 1, HOUR_S)
    count = np.diff(heard_s.searchsorted(np.append(hour_s, hour_s[-1:] + HOUR_S)))
    return Curve("heard", "readings an hour", hour_s, count.astype(np.float64), "days")


def _readings(name: str, series: Series, from_s: int, to_s: int) -> Curve:
    """Give the readings of a span, broken where many are missing."""
    quantity = QUANTITIES[name]
    low, high = series.time_s.searchsorted([from_s, to_s + 1])
    time_s, value = series.time_s[low:high], series.value[low:high]
    if quantity.kind == "count":
        return Curve(name, quantity.unit, time_s, value, "bars")
    usual_s = usual_step_s(Series(time_s, value)) or DAY_S
    gaps = np.flatnonzero(np.diff(time_s) > GAP_STEPS * usual_s) + 1
    broken_s = np.insert(time_s, gaps, time_s[gaps] - 1)
    return Curve(name, quantity.unit, broken_s, np.insert(value, gaps, np.nan), "line")


def _daily(name: str, unit: str, days: Days, figure: str, from_s: int, to_s: int) -> Curve:
    """Give a daily figure of a span."""
    start_s = days.start_s[:-1]
    low, high = start_s.searchsorted([from_s, to_s + 1])
    return Curve(name, unit, start_s[low:high], getattr(days, figure)[low:high], "days")
