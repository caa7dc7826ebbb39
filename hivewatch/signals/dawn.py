"""What leaves a hive at dawn: the mass of its foragers, and how many they are, day by day.

From four hours before sunrise to four hours after it the weight is three straight lines that meet:
the night's slow loss, the steep loss while the foragers leave, and what follows when as many come
back. The least squares over all places of the two corners say when the loss began, when it was
over, and how much it was. Foragers that are back before the last ones have left are not in it, so
that it is less than all that fly that day.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.carried import worked
from hivewatch.signals.days import days_of
from hivewatch.signals.steps import SCALE_SPREAD_KG, Step, steps_of
from hivewatch.signals.window import Floats, HiveWindow, Ints

NAME = "dawn departures"
HOUR_S = 3600
AROUND_S = 4 * HOUR_S  # [s] published: to four hours after sunrise, see `dawn_departures_of`
BIN_S = 300  # [s] own choice: finer than a corner can be told
CORNER_S = 600  # [s] own choice: corners are looked for so far apart
FIRST_S, LAST_S = -HOUR_S, 3 * HOUR_S  # [s] own choice: of a corner, to sunrise; bees need light
LEAST_S = HOUR_S  # [s] own choice: two readings of the coarsest feed on each line
BEE_KG, BEE_ERROR_KG = 1.0e-4, 1.0e-5  # [kg] published: 0.100, 0.111, 0.125 g; see below
COVERED = 12  # own choice: of the sixteen half hours, those with readings
SILENT = 2  # own choice: half hours on end without any
DRY_MM = 0.2  # [mm] as for `scale_drift`: rain on the lid weighs as much as bees
WET_KG_PER_H = 0.01  # [kg/h] own choice: 30 g, what a scale is off, in three hours of darkness
DARK_H = -0.6  # [h] own choice: before civil dawn at middle latitudes no bee leaves
ROUGH_KG = 0.1  # [kg] own choice: three times what a scale is off; then these are no three lines
MOST_KG = 2.5  # [kg] own choice: more than half of the strongest colony is no departure
LEAST_SPREADS = 2.0  # own choice: a dip that may be noise is none
UNKNOWNS = 6  # four of the lines, two corners
_TINY = 1e-9  # [h^2], [kg^2]: what is nothing but rounding

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class DawnDepartures:
    """What left at dawn on n local days, those of `days_of`; NaN where `reason` says why not.

    Parameters
    ----------
    start_s : Ints
        Local midnights, shape (n,). [s]
    kg, error_kg : Floats
        Mass of what left: the loss over what the night's slow loss would have been, and one
        standard deviation, never less than what a scale is off in the yard. [kg]
    bees, error_bees : Floats
        As a number: bees away at the turn, of which each forager is one for a part of the day only.
        [bees]
    left_s, turned_s : Floats
        When the steep loss began, and when it was over. [s]
    loss_kg : Floats
        All the loss between these two, the night's slow loss not taken out. [kg]
    night_kg_per_h : Floats
        The slow change before. [kg/h]
    reason : tuple of str
        Why there is no figure; empty where there is one: `not over`, `gaps`, `rain` (measured,
        or what else makes a hive heavier at night), `dark` (lost before light), `rough`,
        `too much`, `no dip`.
    """

    start_s: Ints
    kg: Floats
    error_kg: Floats
    bees: Floats
    error_bees: Floats
    left_s: Floats
    turned_s: Floats
    loss_kg: Floats
    night_kg_per_h: Floats
    reason: tuple[str, ...]

    def __len__(self) -> int:
        """Count the days."""
        return len(self.kg)


def dawn_departures_of(window: HiveWindow) -> DawnDepartures:
    """Work out what left a hive at dawn, day by day; once for each window.

    Parameters
    ----------
    window : HiveWindow
        The hive; needs `weight`, takes `rain`.

    Returns
    -------
    DawnDepartures
        As many days as `days_of` gives.

    References
    ----------
    The dip of the weight in the morning as the foragers that left: N. Holst, W. G. Meikle (2018),
    Insects 9:176 (segmented linear regression up to four hours after sunrise, the best of one to
    three corners; the detail from its own script). That the loss is foragers: W. G. Meikle et al.
    (2018), PLoS ONE 13:e0197589. Here there are always two corners, found over all their places
    instead of from first guesses. Mass of a worker: 0.10 g in M. A. Becher et al. (2014), J. Appl.
    Ecol. 51:470, who names 0.111 g (Martin 1998) and 0.125 g (Calis 1999) beside it.
    """
    return worked(window, NAME, _work_out)


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the days before a midnight, once asked for."""
    if NAME not in window.memo and NAME not in window.carried.parts:
        return {}
    known = dawn_departures_of(window)
    n = int(known.start_s.searchsorted(until_s))
    return {NAME: _each(lambda name: getattr(known, name)[:n], known.reason[:n])}


def _each(figure: Callable[[str], NDArray[np.generic]], reason: tuple[str, ...]) -> DawnDepartures:
    """Make departures of arrays by their names."""
    names = [one.name for one in fields(DawnDepartures) if one.name != "reason"]
    figures: dict[str, Any] = {name: figure(name).copy() for name in names}
    return DawnDepartures(**figures, reason=reason)


def _work_out(window: HiveWindow, kept: DawnDepartures | None) -> DawnDepartures:
    """Work out the days that are not known yet."""
    since = _since(window, 0 if kept is None else len(kept))
    if kept is None:
        return since
    return _each(
        lambda name: np.append(getattr(kept, name), getattr(since, name)),
        kept.reason + since.reason,
    )


def _since(window: HiveWindow, first: int) -> DawnDepartures:
    """Work out the days from one on."""
    days = days_of(window)
    start_s, rise_s = days.start_s[first:-1], days.rise_s[first:]
    weight_kg, count = _laid_out(window, rise_s)
    fit = fit_dips(weight_kg, count)
    rain_mm = _rain_mm(window, rise_s)
    reason = np.full(len(start_s), "", dtype="<U8")
    for name, where in (  # the first that holds is told
        ("no dip", ~(fit.kg > LEAST_SPREADS * fit.error_kg)),
        ("too much", fit.kg > MOST_KG),
        ("rough", fit.noise_kg > ROUGH_KG),
        ("dark", fit.left_h < DARK_H),  # what is lost in the dark dries off
        ("rain", (rain_mm > DRY_MM) | (fit.night_kg_per_h > WET_KG_PER_H)),
        ("gaps", ~_is_covered(count)),
        ("not over", rise_s + AROUND_S > window.over_s("weight")),
    ):
        reason[where] = name
    told = reason == ""

    def known(figure: Floats) -> Floats:
        return np.where(told, figure, np.nan)

    bees = fit.kg / BEE_KG
    error_kg = np.hypot(fit.error_kg, SCALE_SPREAD_KG)  # no morning is three straight lines
    error = np.hypot(error_kg / BEE_KG, bees * BEE_ERROR_KG / BEE_KG)
    return DawnDepartures(
        start_s=start_s,
        kg=known(fit.kg),
        error_kg=known(error_kg),
        bees=known(bees),
        error_bees=known(error),
        left_s=known(rise_s + HOUR_S * fit.left_h),
        turned_s=known(rise_s + HOUR_S * fit.turned_h),
        loss_kg=known(fit.loss_kg),
        night_kg_per_h=known(fit.night_kg_per_h),
        reason=tuple(reason.tolist()),
    )


def _laid_out(window: HiveWindow, rise_s: Floats) -> tuple[Floats, Floats]:
    """Lay each morning's weight into bins, steps taken out: means and counts, shape (n, bins)."""
    weight = window.of("weight")
    bins = 2 * AROUND_S // BIN_S
    low, high = weight.time_s.searchsorted((rise_s - AROUND_S, rise_s + AROUND_S))
    counts = high - low
    day = np.repeat(np.arange(len(rise_s)), counts)
    at = np.arange(int(counts.sum())) + np.repeat(low - np.cumsum(counts) + counts, counts)
    time_s, value = weight.time_s[at], weight.value[at]
    added, still = _without_steps(steps_of(window), time_s)
    slot = day * bins + ((time_s - rise_s[day] + AROUND_S) // BIN_S).astype(np.int64)
    base = (value - added)[(np.cumsum(counts) - counts)[day]]
    level = value - added - base  # near nothing: squares stay exact
    n = len(rise_s) * bins
    count = np.bincount(slot[still], minlength=n)
    total = np.bincount(slot[still], level[still], n)
    mean = np.divide(total, count, out=np.zeros(n), where=count > 0)
    return mean.reshape(-1, bins), count.reshape(-1, bins).astype(np.float64)


def _without_steps(steps: list[Step], time_s: Ints) -> tuple[Floats, Flags]:
    """Give what steps had added by each reading, and which readings lie in none."""
    before = np.array([one.before_s for one in steps], np.int64)
    after = np.array([one.after_s for one in steps], np.int64)
    sizes = np.concatenate(([0.0], np.cumsum([one.size_kg for one in steps])))
    over = after.searchsorted(time_s, side="right")
    return sizes[over], over == before.searchsorted(time_s)


def _rain_mm(window: HiveWindow, rise_s: Floats) -> Floats:
    """Give the rain of each morning; 0 where nobody measures it. [mm]."""
    rain = window.of("rain")
    fell = np.concatenate(([0.0], np.cumsum(rain.value)))
    low, high = rain.time_s.searchsorted((rise_s - AROUND_S, rise_s + AROUND_S))
    return np.asarray(fell[high] - fell[low])


def _is_covered(count: Floats) -> Flags:
    """Say of each morning whether there are readings enough, and no long silence."""
    there: Flags = count.reshape(len(count), -1, 1800 // BIN_S).sum(axis=2) > 0
    near = there[:, :-SILENT].copy()
    for on in range(1, SILENT + 1):
        near |= there[:, on : there.shape[1] - SILENT + on]
    return np.asarray((there.sum(axis=1) >= COVERED) & near.all(axis=1))


class Fit(NamedTuple):
    """Three lines that meet, fitted to n mornings; hours are from sunrise."""

    left_h: Floats
    turned_h: Floats
    kg: Floats
    error_kg: Floats
    loss_kg: Floats
    night_kg_per_h: Floats
    noise_kg: Floats
    rss_kg2: Floats


def fit_dips(weight_kg: Floats, count: Floats) -> Fit:
    """Fit three lines that meet to each morning, over all places of the two corners.

    The lines are `1`, `t` and a hinge `max(t - corner, 0)` for each corner. The first two are taken
    out of everything beforehand, so that for each pair of corners two equations are left, and all
    pairs of all mornings are solved at once from the same few sums.

    Parameters
    ----------
    weight_kg : Floats
        Mean of each bin, any number where there is none, shape (n, bins). [kg]
    count : Floats
        Readings in each bin, shape (n, bins).

    Returns
    -------
    Fit
        The error has in it what other corners would say, each by its likelihood under normal noise.
        NaN with too few readings.
    """
    t, corner_h, hinge = _lines()
    p, q = _pairs(corner_h)
    n = count.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_t = (count @ t) / n
        tt = count @ t**2 - n * mean_t**2
        y = weight_kg - ((count * weight_kg).sum(axis=1) / n)[:, None]
        y = np.where(count > 0, y, 0.0)
        on_1 = count @ hinge
        on_t = count @ (hinge * t[:, None]) - mean_t[:, None] * on_1
        ty = (count * y) @ t
        hy = (count * y) @ hinge - on_t * (ty / tt)[:, None]
        own = count @ hinge**2 - on_1**2 / n[:, None] - on_t**2 / tt[:, None]
        both = count @ (hinge[:, p] * hinge[:, q])
        both -= on_1[:, p] * on_1[:, q] / n[:, None] + on_t[:, p] * on_t[:, q] / tt[:, None]
        det = own[:, p] * own[:, q] - both**2
        det = np.where(det > _TINY * (own[:, p] * own[:, q] + _TINY), det, np.nan)
        first = (own[:, q] * hy[:, p] - both * hy[:, q]) / det
        second = (own[:, p] * hy[:, q] - both * hy[:, p]) / det
        rss = (count * y**2).sum(axis=1) - ty**2 / tt
        left = np.maximum(rss[:, None] - first * hy[:, p] - second * hy[:, q], 0.0)
        left = np.where(np.isnan(left), np.inf, left) + _TINY
        each, best = np.arange(len(n)), np.argmin(left, axis=1)
        free = np.where(n > UNKNOWNS + 2, n - UNKNOWNS, np.nan)
        noise2 = left[each, best] / free
        span_h = corner_h[q] - corner_h[p]
        left_kg = -first * span_h
        kg = left_kg[each, best]
        off2 = (left_kg - kg[:, None]) ** 2 + noise2[:, None] * own[:, q] / det * span_h**2
        share = (left / left[each, best][:, None]) ** (-(n[:, None] - 4) / 2)
        error2 = np.nansum(share * off2, axis=1) / np.nansum(share, axis=1)
        error2 *= free / (free - 2)  # Student's law is wider than the normal one
        slope = (ty - first[each, best] * on_t[each, p[best]]) / tt
        slope -= second[each, best] * on_t[each, q[best]] / tt
    return Fit(
        left_h=corner_h[p[best]],
        turned_h=corner_h[q[best]],
        kg=kg,
        error_kg=np.where(np.isnan(noise2), np.nan, np.sqrt(error2)),
        loss_kg=kg - slope * span_h[best],
        night_kg_per_h=slope,
        noise_kg=np.sqrt(noise2),
        rss_kg2=left[each, best] - _TINY,
    )


def _lines() -> tuple[Floats, Floats, Floats]:
    """Give the middles of the bins [h], the places of corners [h], and a hinge for each corner."""
    bins = 2 * AROUND_S // BIN_S
    t = (np.arange(bins) + 0.5) * (BIN_S / HOUR_S) - AROUND_S / HOUR_S
    corner_h = np.asarray(np.arange(FIRST_S, LAST_S + 1, CORNER_S) / HOUR_S, np.float64)
    hinge = np.maximum(t[:, None] - corner_h, 0.0)
    return np.asarray(t), corner_h, np.asarray(hinge, np.float64)


def _pairs(corner_h: Floats) -> tuple[Ints, Ints]:
    """Give all pairs of corners that lie apart enough, by number."""
    p, q = np.triu_indices(len(corner_h), -(-LEAST_S // CORNER_S))
    return p, q
