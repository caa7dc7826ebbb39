"""When the nest was startled: a turn within a reading that its usual day does not have.

An opened hive need not cool by degrees: with the lid off for five minutes the brood is warm, but
the course of its warmth breaks, and the bees heat for an hour after smoke and daylight. Against the
hive's own last ten days at that hour such a break stands out where weather's slow ways do not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import reduce
from math import ceil

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.carried import DAY_S, unless_same, worked
from hivewatch.signals.faults import clean
from hivewatch.signals.levels import in_order
from hivewatch.signals.warmth import clean_nest
from hivewatch.signals.window import EMPTY, Floats, HiveWindow, Ints, Series, on_grid

STEP_S = 900  # [s] of the recording that the choices below were made on, a quarter of an hour
USUAL_DAYS = 10  # own choice: days before that tell what is usual ...
AROUND = 8  # [steps] own choice: ... two hours before and after that time of day
USUAL_SHARE = 0.9  # own choice: nine in ten of those were less
USUAL_LEAST = 60  # own choice: known steps of at most 170
KINK_LEAST_K, KINK_K = 0.1, 0.3  # [K] own choice: least usual, and least of all; a probe's noise
MOVED_LEAST_K, MOVED_K = 0.15, 0.6  # [K] own choice: the same for how far it moved; four deviations
STEADY = 0.4  # own choice: for two hours before, the nest moved by less than this part
AT_ONCE = 0.5  # own choice: share of a rise within half an hour; a cooled brood warms for hours
BACK = 0.7  # own choice: that much of a fall is made good by the bees
# [steps] own choice: at rest; before; half an hour; a fall; a rise; all over
REST, BEFORE, SPURT, SOON, LATER, OVER = 8, 4, 2, 3, 7, 9
BEST = (
    4  # [steps] own choice: within an hour of the first that tells it, the one that tells it best
)
BEFORE_D = np.arange(USUAL_DAYS, 0, -1)[:, None] * (DAY_S // STEP_S)  # [steps] to those days
LEAST_K = (KINK_LEAST_K, MOVED_LEAST_K, MOVED_LEAST_K)
LASTS_S = (OVER + BEST + 1) * STEP_S  # [s] from its first step until all of it is known
FREE = 16  # [steps] own choice: two hours after the last the next at the soonest
STARTLED = 10.0  # own choice: bend and move together, as multiples of the usual; test_startles.py
BACK_S = (USUAL_DAYS + 1) * DAY_S  # [s] readings so long before what is known are still asked
WARM_CEL = 25.0  # [Cel] own choice: a colder probe is not among bees that can heat
HOT_CEL = 36.0  # [Cel] published: brood at 33 to 36 Cel, Stabentheiner et al. (2010)


@dataclass(frozen=True, slots=True)
class Startle:
    """A turn of the nest's warmth within a reading, and what followed.

    Parameters
    ----------
    first_s, before_s, told_s : int
        Start of the first quarter of an hour that tells it, of the last one as usual; when it was
        all over. [s]
    moved_k : float
        How far the nest rose, or fell (less than 0) and was warm again. [K]
    times : float
        How far kink and move stood out together, as a multiple of the usual.
    """

    first_s: int
    before_s: int
    told_s: int
    moved_k: float
    times: float


def startles_of(window: HiveWindow) -> list[Startle]:
    """Give when a hive's nest was startled, as `find_startles` does; found once a window."""
    return worked(window, "startles", _go_on)


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the startles that were told before."""
    return {"startles": [one for one in startles_of(window) if one.told_s < until_s]}


def _go_on(window: HiveWindow, kept: list[Startle] | None) -> list[Startle]:
    """Give the startles that are known, and those since."""
    until_s, known = window.carried.until_s, kept or []
    nest, over_s = clean_nest(window), window.over_s("nest")
    free_s = known[-1].first_s if known else 0

    def whole() -> Series:
        return clean(window.of("nest").since(until_s, BACK_S), "nest")

    def since() -> list[Startle]:
        return list(find_startles(nest, over_s, until_s, free_s, whole if until_s else None))

    # of the days before, that `whole` has, nothing comes while this is carried
    time_s, value, _ = _quarters(nest, over_s, until_s)
    given = time_s[:1].tolist(), value.tobytes()
    return [*known, *unless_same(window, "startles since", given, since)]


def _quarters(nest: Series, over_s: int, from_s: int) -> tuple[Ints, Floats, int]:
    """Lay the nest on quarters of an hour; the place of the first that is asked. None if few."""
    if len(nest):
        first_s = int(nest.time_s[0]) // STEP_S * STEP_S
        time_s, value = on_grid(nest, STEP_S, first_s, over_s - STEP_S + 1)
        first = int(time_s.searchsorted(from_s - LASTS_S))  # what was over before is known
        if len(value) - max(first, BEFORE) > OVER + BEST:
            return time_s, value, first
    return EMPTY.time_s, EMPTY.value, 0


def find_startles(
    nest: Series,
    over_s: int,
    from_s: int,
    free_s: int,
    whole: Callable[[], Series] | None = None,
) -> Iterator[Startle]:
    """Find where the nest's course broke as it does when a hive is opened.

    Parameters
    ----------
    nest : Series
        Brood-nest temperature, with half a day before `from_s` where there is. [Cel]
    over_s : int
        Until when the nest is known. [s]
    from_s : int
        What was over before is known. [s]
    free_s : int
        When the last of those before began (`first_s`); 0 without. [s]
    whole : Callable or None
        Gives the nest with `USUAL_DAYS` before `from_s`, asked only where its course breaks; None
        where `nest` has them.

    Yields
    ------
    Startle
        By time.

    References
    ----------
    Chosen on the openings of Abdollahi M. et al. (2024), doi:10.20383/103.0972, against the same
    hours of other days. Feeds slower than a reading in a quarter of an hour do not show it.
    """
    time_s, value, first = _quarters(nest, over_s, from_s)
    if not len(value):
        return
    course = usual = _course_of(value)
    broken = first + np.flatnonzero(course.is_broken[first : -OVER - BEST])
    apart = 0  # steps of the days before that are looked at apart
    if len(broken) and whole is not None:
        start_s = time_s[0]
        time_s, value, _ = _quarters(whole(), over_s, from_s)
        usual, apart = _course_of(value), int(time_s.searchsorted(start_s))
    free = (free_s - int(time_s[0])) // STEP_S + FREE if free_s else 0
    for at in broken.tolist():
        begins = apart + at
        if begins < free:
            continue
        steps = begins - BEFORE_D + np.arange(-AROUND, AROUND + BEST + 1)
        times = _times(course.part(slice(at, at + BEST + 1)), usual.part(steps.clip(0)), steps)
        if times[0] < STARTLED:
            continue
        best = at + int(np.argmax(times))
        moved_k = float(course.rise[best])
        if course.fall_k[best] > moved_k:
            moved_k = -float(course.fall_k[best])
        begun_s, before_s = int(time_s[begins]), int(time_s[apart + best])
        yield Startle(begun_s, before_s, begun_s + LASTS_S, moved_k, max(times))
        free = begins + FREE


@dataclass(frozen=True, slots=True)
class _Course:
    """By steps: the sharpest bend soon after, how far the nest rose and fell. [K]."""

    kink: Floats
    rise: Floats
    fall: Floats
    fall_k: Floats
    """Of a fall that the bees made good; 0 otherwise."""
    is_broken: NDArray[np.bool_]

    def part(self, at: slice | Ints) -> _Course:
        """Give some of the steps."""
        kink, rise, fall = self.kink[at], self.rise[at], self.fall[at]
        return _Course(kink, rise, fall, self.fall_k[at], self.is_broken[at])


def _times(course: _Course, usual: _Course, steps: Ints) -> list[float]:
    """Say how far kink and move stand out together, as a multiple of the usual, by steps.

    The usual is that of the `steps` around that time of the days before, shape (days, around).
    """
    figures = np.stack((usual.kink, usual.rise, usual.fall))
    is_known = (steps >= BEFORE) & ~np.isnan(figures[1])
    times: list[float] = []
    for i in range(len(course.rise)):
        around = slice(i, i + 2 * AROUND + 1)
        there = is_known[:, around]
        if not course.is_broken[i] or there.sum() < USUAL_LEAST:
            times.append(0.0)
            continue
        known = np.sort(figures[:, :, around][:, there], axis=1)
        at = USUAL_SHARE * (known.shape[1] - 1)
        low, high = known[:, int(at)], known[:, ceil(at)]
        kink, rise, fall = np.maximum(low + at % 1 * (high - low), LEAST_K).tolist()
        moved = max(course.rise[i] / rise, course.fall_k[i] / fall)
        times.append(float(course.kink[i] / kink * moved))
        if times[0] < STARTLED:
            break  # it begins with what stands out
    return times


def _course_of(value: Floats) -> _Course:
    """Work the course out; NaN or 0 where too little is known."""
    n = len(value)
    padded = np.concatenate((np.full(REST, np.nan), value, np.full(OVER, np.nan)))
    is_there = ~np.isnan(padded)
    low, high = np.where(is_there, padded, np.inf), np.where(is_there, padded, -np.inf)

    def near(figure: Floats, first: int, last: int) -> list[Floats]:
        """Give a figure as it is some steps before or after each step."""
        return [figure[REST + by : REST + by + n] for by in range(first, last + 1)]

    count = is_there.astype(np.float64)
    known = reduce(np.add, near(count, -BEFORE, 0)).astype(np.int64)
    tells = (known > BEFORE / 2) & (reduce(np.add, near(count, 1, SOON)) >= SOON - 1)
    before = in_order(near(low, -BEFORE, 0))  # what is missing goes to the end
    middle = [np.maximum(known - 1, 0) // 2, np.minimum(known // 2, BEFORE)]
    bend = np.zeros(n + SOON)
    bend[1 : n - 1] = np.abs(value[2:] - value[1:-1] - (value[1:-1] - value[:-2]))
    bend[np.isnan(bend)] = 0.0
    kink = reduce(np.maximum, [bend[by : by + n] for by in range(SOON)])
    with np.errstate(invalid="ignore"):
        spanned = reduce(np.maximum, near(high, -REST, 0))
        spanned = spanned - reduce(np.minimum, near(low, -REST, 0))
        level = (np.choose(middle[0], before) + np.choose(middle[1], before)) / 2
        rise = np.where(tells, reduce(np.maximum, near(high, 1, LATER)) - level, np.nan)
        fall = np.where(tells, level - reduce(np.minimum, near(low, 1, SOON)), np.nan)
        later = reduce(np.maximum, near(high, SOON + 1, OVER))
        is_back = later >= level - (1 - BACK) * fall
        fall_k = np.where(is_back & (spanned <= STEADY * fall), fall, 0.0)
        warming = padded[SPURT:] - padded[:-SPURT]
        spurt = reduce(np.fmax, near(warming, 0, LATER - SPURT))
        has_risen = (rise >= MOVED_K) & (spanned <= STEADY * rise) & (spurt >= AT_ONCE * rise)
        is_broken = (kink >= KINK_K) & (has_risen | (fall_k >= MOVED_K))
        highest = np.maximum(later, reduce(np.maximum, near(high, 1, SOON)))
        is_broken &= (highest <= HOT_CEL) & (level >= WARM_CEL)
    return _Course(kink, rise, fall, fall_k, is_broken)
