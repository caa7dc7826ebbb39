"""Bees pouring out under the eyes of scale and counter: known before all of them have gone.

A step of the weight is settled once the weight has been quiet for ten minutes. Where a counter sees
thousands of bees go while the weight falls by what they weigh, nobody need wait for that; nor where
the nest of a hive without a counter warms up with it. Each reading is judged by what came before it
alone, so that it says the same for ever.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from hivewatch.signals.carried import MARGIN_S, worked
from hivewatch.signals.late import is_awaited
from hivewatch.signals.levels import middle_of
from hivewatch.signals.restless import Restless
from hivewatch.signals.steps import QUIET_S, SCALE_SPREAD_KG, restless_of
from hivewatch.signals.sun import is_light
from hivewatch.signals.turns import WARMED_K, Asked, nest_said
from hivewatch.signals.window import Floats, HiveWindow, Ints, Series

# Own choices where no source is named; tests/unit/signals/test_exodus.py.
LEAST_KG, MOST_KG = 0.4, 8.5  # [kg] a cast of 3,000 bees to a colony of 60,000 bees, with honey
MOST_WEIGHED_KG = 4.5  # [kg] common practice, no source: the heaviest prime swarm
BEE_KG = 0.000136  # [kg] published: 0.1 g and 36 mg of honey, constants in Becher et al. (2014)
SHARE_LEAST, SHARE_MOST = 0.6, 2.0  # share of the loss that the counter saw go
SHARE_WARMED = 0.35  # the least, where the nest had warmed up: those that come home hide some
COUNT_ERROR = 0.2  # of all bees counted each way: a counter misses many of a crowd
CLEAR_SPREADS = 6.0  # of a reading
# [kg/min] 220 bees: ten to twenty thousand leave (Seeley et al. 1979) in ten minutes (from memory),
# of foragers one to two hundred a minute at the most; half an hour between readings dilutes it
LEAST_KG_PER_MIN = 0.03
RUSH = 1.0  # [of the bees that usually go out] so many more go than come: foragers let out do not
RUSH_SLOW = 1.5  # ... and so many, where coarse readings of the weight make it look slow
LONGEST_S = 1800  # [s] an exodus takes about ten minutes, from memory: Rangel, Seeley 2008
COARSE_STEPS = 2  # or so many steps of a coarse feed
BEFORE_S, BEFORE_STEPS = 900, 3  # [s] what the weight was before, from so long or so many readings
STAYS_KG, STAYS_SPREADS = 0.1, 3.0  # [kg] nearer to the highest reading, it had not begun
STRAY_KG = 0.2  # [kg] a hand on the hive shows as more, noise as less
SLOPE = 0.3  # share of the loss that may have gone in the quarter of an hour before
AFTER_S = 900  # [s] counters that report a little later,
SELDOM_S = 1800  # [s] a probe that reports every half hour
EARLY_S = 900  # [s] or date a record to its begin
# Bees let out by sun or after a shower had hardly flown before; all foragers of a strong hive, a
# third of 40,000 bees of 0.1 g, weigh as much (common practice, no source).
FORAGERS_KG, KEPT_IN_S = 1.3, 2 * 3600  # [kg], [s]
SHELTER_S = 3 * 3600  # [s] how long a shower may keep foragers at home
FINE_S = 540  # [s] more readings than one in so long show a cast as a move of the weight
LATELY = 12  # [steps] the feed's usual step is that of so many


@dataclass(frozen=True, slots=True)
class Exodus:
    """Bees on their way out.

    Parameters
    ----------
    start_s, seen_s : int
        The last reading of the weight before, and the one that showed it. [s]
    told_s : int
        When the counter, or the nest, had said so, too. [s]
    kg, kg_error : float
        What had gone by `seen_s`, and one standard deviation. [kg]
    bees : float
        How many more had been counted out than in by `told_s`; 0 without a counter.
    warmer_k : float
        How far the nest had warmed up, where that told it. [K]
    """

    start_s: int
    seen_s: int
    told_s: int
    kg: float
    kg_error: float
    bees: float
    warmer_k: float = 0.0


class Balance:
    """How many more bees went out than came in, up to any moment."""

    def __init__(self, window: HiveWindow) -> None:
        """Add up the counts."""
        self.out, self.back = window.of("bees-out"), window.of("bees-in")
        self.went, self.came = _summed(self.out), _summed(self.back)

    def gone(self, from_s: Ints | int, to_s: Ints | int) -> Floats:
        """Give it after one moment and up to another."""
        return self.of_out(from_s, to_s) - self._between(self.back, self.came, from_s, to_s)

    def is_at_work(self, from_s: int, to_s: int) -> bool:
        """Say whether both ways were counted after one moment and up to another."""
        return all(
            one.time_s.searchsorted(to_s, side="right")
            > one.time_s.searchsorted(from_s, side="right")
            for one in (self.out, self.back)
        )

    def of_out(self, from_s: Ints | int, to_s: Ints | int) -> Floats:
        """Give those that went out alone."""
        return self._between(self.out, self.went, from_s, to_s)

    @staticmethod
    def _between(series: Series, total: Floats, from_s: Ints | int, to_s: Ints | int) -> Floats:
        low, high = (series.time_s.searchsorted(one, side="right") for one in (from_s, to_s))
        return np.asarray(total[high] - total[low])


def balance_of(window: HiveWindow) -> Balance:
    """Give the balance of a hive's bees; added up once a window."""
    return worked(window, "balance", lambda here, _: Balance(here))


def _summed(counts: Series) -> Floats:
    return np.concatenate(([0.0], np.cumsum(counts.value)))


def exodus_of(window: HiveWindow) -> list[Exodus]:
    """Give every reading of the weight under which bees were pouring out, by counter or nest, too.

    Parameters
    ----------
    window : HiveWindow
        Needs `weight`, and `bees-out` with `bees-in`, or `nest` where no counter is at work.

    Returns
    -------
    list[Exodus]
        By the time they were seen, those of the days that are not known yet.
    """
    return worked(window, "exodus", lambda here, _: _work_out(here))


def counted_from_s(out: Series, start_s: int) -> int:
    """Give from when a counter's records tell of a loss: each may bear the time it began. [s]."""
    last = int(out.time_s.searchsorted(start_s, side="right"))
    steps_s = np.diff(out.time_s[max(last - LATELY, 0) : last])
    if not len(steps_s):
        return start_s
    return start_s - min(int(middle_of(steps_s)), EARLY_S)


def _work_out(window: HiveWindow) -> list[Exodus]:
    if not len(window.of("weight")):
        return []
    balance, known = balance_of(window), restless_of(window)
    flags, since_s = known.flags, window.carried.until_s - 2 * MARGIN_S
    fell = known.weight_kg[known.earlier[flags]] - known.weight_kg[flags]
    at = flags[(fell > 0) & (fell <= MOST_KG) & (known.time_s[flags] >= since_s)]
    at = np.union1d(at, _seldom(known, since_s))
    falls = (_falling(known, int(k)) for k in at)
    found = (_borne_out(window, balance, one) for one in falls if one is not None)
    return [one for one in found if one is not None and is_light(window.yard, one.seen_s)]


def _seldom(known: Restless, since_s: int) -> Ints:
    """Give the readings of a coarse feed that fell by as much as the lightest cast, in one or two.

    Where bees fly out for half an hour between two readings, so much alone is no move of the
    weight.
    """
    weight_kg, time_s = known.weight_kg, known.time_s
    first = max(int(time_s.searchsorted(since_s)), COARSE_STEPS)
    here = weight_kg[first:]
    one, two = weight_kg[first - 1 : -1], weight_kg[first - 2 : -2]
    fell = np.maximum(one, two) - here if len(here) else here
    is_coarse = np.diff(time_s[first - 1 :]) >= FINE_S
    return first + np.flatnonzero(is_coarse & (fell >= LEAST_KG) & (fell <= MOST_KG))


def _falling(known: Restless, k: int) -> Exodus | None:
    """Judge one reading of the weight by those before it."""
    weight_kg, time_s = known.weight_kg, known.time_s
    seen_s = int(time_s[k])
    usual_s = int(middle_of(np.diff(time_s[max(k - LATELY, 0) : k + 1])))
    first = int(time_s.searchsorted(seen_s - max(LONGEST_S, COARSE_STEPS * usual_s)))
    stays = max(STAYS_KG, STAYS_SPREADS * float(known.noise[k]))
    high = weight_kg[first:k] >= weight_kg[first : k + 1].max() - stays
    if not high.any():
        return None
    begun = first + int(np.flatnonzero(high)[-1])
    start_s = int(time_s[begun])
    near = time_s.searchsorted(start_s - max(BEFORE_S, BEFORE_STEPS * usual_s))
    before = weight_kg[near : begun + 1]
    kg = middle_of(before) - float(weight_kg[k])
    error = float(np.hypot(SCALE_SPREAD_KG, known.noise[k]))
    if (
        not LEAST_KG <= kg <= MOST_KG
        or kg < CLEAR_SPREADS * error
        or before[0] - before[-1] > SLOPE * kg
        or np.diff(weight_kg[begun : k + 1]).max() > STRAY_KG
    ):
        return None
    return Exodus(start_s, seen_s, seen_s + (AFTER_S if usual_s > QUIET_S else 0), kg, error, 0.0)


def _borne_out(window: HiveWindow, balance: Balance, one: Exodus) -> Exodus | None:
    """Say when the counter, or the nest of a hive without one, had said so, too.

    What goes slowly needs the nest: half an hour between readings makes a cast look so. Between
    such readings the nest has cooled as well by the time that the weight shows it.
    """
    is_coarse = one.told_s > one.seen_s
    is_counted = balance.is_at_work(one.start_s - KEPT_IN_S, one.told_s)
    if is_counted and _counted(balance, one, SHARE_WARMED, RUSH) is None:
        return None  # whatever the nest says
    nest = window.of("nest").up_to(one.seen_s + (SELDOM_S if is_coarse else AFTER_S))
    asked: Asked = "seldom" if is_coarse else "counted" if is_counted else "at once"
    said = nest_said(nest, one.start_s, one.seen_s, one.seen_s, asked)
    is_told = said.what == "swarm"
    is_slow = not is_told and one.kg < LEAST_KG_PER_MIN * (one.seen_s - one.start_s) / 60
    if is_slow and not (is_counted and (is_coarse or _is_thin(window, one))):
        return None
    if is_counted:
        before = float(balance.of_out(one.start_s - KEPT_IN_S, one.start_s))
        is_kept_in = one.kg < FORAGERS_KG and before < one.kg / BEE_KG
        warmed = said.warmer_k >= WARMED_K
        if is_kept_in and not warmed:
            return None
        share = SHARE_WARMED if warmed else SHARE_LEAST
        seen = _counted(balance, one, share, RUSH_SLOW if is_slow else RUSH)
        return seen and replace(seen, told_s=max(seen.told_s, said.told_s))
    if (
        not is_told
        or one.kg > MOST_WEIGHED_KG
        or is_awaited(window, "bees-out", one.start_s, one.seen_s + AFTER_S)
    ):
        return None
    return replace(one, told_s=max(one.seen_s, said.told_s), warmer_k=said.warmer_k)


def _is_thin(window: HiveWindow, one: Exodus) -> bool:
    """Say whether a loss is slow only because it lies across two intervals, each a few minutes."""
    time_s = window.of("weight").time_s
    last = int(time_s.searchsorted(one.seen_s, side="right"))
    step_s = middle_of(np.diff(time_s[max(last - LATELY, 0) : last]))
    return (
        step_s >= FINE_S and one.kg >= LEAST_KG_PER_MIN * (one.seen_s - one.start_s - step_s) / 60
    )


def _counted(balance: Balance, one: Exodus, share_least: float, rush: float) -> Exodus | None:
    """Say when the counter had seen go what the scale had; None where it had not by `told_s`.

    Between coarse readings of the weight it may report a little later.
    """
    begun_s = counted_from_s(balance.out, one.start_s)
    sheltered = max(0.0, -float(balance.gone(one.start_s - SHELTER_S, begun_s)))
    low = int(balance.out.time_s.searchsorted(begun_s, side="right"))
    high = int(balance.out.time_s.searchsorted(one.told_s, side="right"))
    counted_s = balance.out.time_s[low:high]
    gone = balance.gone(begun_s, counted_s) - sheltered
    share = gone * BEE_KG / one.kg
    usual_a_s = float(balance.of_out(begun_s - KEPT_IN_S, begun_s)) / KEPT_IN_S
    is_rush = gone >= rush * usual_a_s * (counted_s - begun_s)
    agree = np.flatnonzero((share >= share_least) & (share <= SHARE_MOST) & is_rush)
    if not len(agree):
        return None
    first = int(agree[0])
    back = int(balance.back.time_s.searchsorted(counted_s[first]))
    if back == len(balance.back):  # those that came in have not been sent yet
        return None
    told_s = max(one.seen_s, int(balance.back.time_s[back]))
    return replace(one, told_s=told_s, bees=float(gone[first]))
