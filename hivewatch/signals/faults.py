"""What is wrong with a reading, as flags, and series without what is wrong."""

from __future__ import annotations

from enum import IntFlag
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.usual import usual_steps_s
from hivewatch.signals.window import Floats, Ints, Series
from hivewatch.wire.quantities import QUANTITIES

Flags = NDArray[np.uint8]

NORMAL = 1.482602218505602  # published: 1/Phi^-1(3/4), MAD of a normal to its deviation
HAMPEL_SPREADS = 3.0  # published: the Hampel identifier's usual bound, see `hampel`
HAMPEL_HALF = 3  # [readings] own choice: a window of seven, what lasts four readings is no spike
WILD_HALF, WILD_SHARE = 6, 0.5  # [readings], share: own choice; an opening bends three of thirteen
REPEAT_SHARE = 0.25  # own choice: sent again within this share of the usual step
GAP_STEPS = 3.0  # own choice: two readings missing in a row
STUCK_READINGS = 12  # own choice: fewer equal readings prove nothing at any feed
_SAME_FOR_LONG = bytes([1]) * (STUCK_READINGS - 1)
FEW_BEES, FEW_READINGS = 10.0, 24  # own choice: at dusk one bee each time, an hour long, is chance
# A winter colony eats 33 to 50 g a day (popular scale reports), a scale of a coarser digit may well
# stand still for a day. Own choices, tests/unit/signals/test_faults.py: how coarse, how long then
# (what is judged anew later than `carried.AHEAD_S` was carried), and by which steps it is known.
COARSE_KG, COARSE_STILL_S, DIGIT_S = 0.03, 2 * 86_400, 4 * 86_400


class Fault(IntFlag):
    """What can be wrong with a reading; bits of a uint8, so that one reading can have several."""

    RANGE = 1
    """Outside what the quantity can be believed to be."""
    REPEAT = 2
    """The reading before once more, under a time of its own."""
    SPIKE = 4
    """Far from its neighbours on both sides: the Hampel identifier."""
    STUCK = 8
    """One of a run that does not move where it must."""
    GAP = 16
    """The first one after a gap; nothing wrong with the value."""
    CLOCK = 32
    """Dated ahead of the time it came."""


WRONG = Fault.RANGE | Fault.REPEAT | Fault.SPIKE | Fault.STUCK | Fault.CLOCK


class _Manner(NamedTuple):
    """How a quantity behaves: the least spread of a spike, and how long it may stand still.

    `wild` is a bend, from reading to reading, that most of its readings never have: where half of
    those around have it, the sensor says anything.
    """

    spread: float
    still_s: int | None
    wild: float = np.inf


# Own choices; tests/unit/signals/test_faults.py. The spread is that of a good instrument, so that
# a quantised value is not a spike. A day: scales of 10 g and probes of half a degree do stand
# still for a night. Counts, rain and batteries have no spikes and may stand still: what a counter
# repeats is judged by itself, below.
_MANNERS = MappingProxyType(
    {
        "weight": _Manner(0.05, 86_400),
        "nest": _Manner(0.2, 86_400, 8.0),
        "ambient": _Manner(0.5, 43_200),
        "nest-humidity": _Manner(1.0, 86_400),
        "ambient-humidity": _Manner(2.0, 86_400),
    }
)
SATURATED = 99.5  # [%RH] own choice: damp air stands still there


def hampel(
    value: Floats,
    half: int = HAMPEL_HALF,
    spreads: float = HAMPEL_SPREADS,
    least_spread: float = 0.0,
) -> tuple[Floats, NDArray[np.bool_]]:
    """Find values far from the median of their window: the Hampel identifier.

    Parameters
    ----------
    value : Floats
        Shape (n,), no NaN.
    half : int
        Readings on each side that make up the window; at the ends the window is that of the
        nearest reading that has both sides.
    spreads : float
        How many scaled median absolute deviations are far.
    least_spread : float
        The least scaled deviation to reckon with, in the unit of `value`.

    Returns
    -------
    middle : Floats
        Median of each window.
    is_far : bool array
        Whether the value is far from it.

    References
    ----------
    [1] F. R. Hampel, J. Am. Stat. Assoc. 69, 383 (1974): median and MAD.
    [2] L. Davies, U. Gather, J. Am. Stat. Assoc. 88, 782 (1993): the identifier (from memory).
    """
    n, width = len(value), 2 * half + 1
    if n < width:
        return value.copy(), np.zeros(n, np.bool_)
    middle, spread = _middles(np.lib.stride_tricks.sliding_window_view(value, width))
    edge = (half, half)
    middle, spread = np.pad(middle, edge, "edge"), np.pad(spread, edge, "edge")
    return middle, np.abs(value - middle) > spreads * np.maximum(spread, least_spread)


def _middles(windows: Floats) -> tuple[Floats, Floats]:
    """Give the median and the scaled median absolute deviation of each row of odd length."""
    half = windows.shape[1] // 2
    middle = np.partition(windows, half, axis=1)[:, half]
    deviation = np.partition(np.abs(windows - middle[:, None]), half, axis=1)[:, half]
    return middle, NORMAL * deviation


def spikes(value: Floats, least_spread: float) -> NDArray[np.bool_]:
    """Say what `hampel` says, without a look at windows that are too narrow for a spike."""
    half, width = HAMPEL_HALF, 2 * HAMPEL_HALF + 1
    far = np.zeros(len(value), np.bool_)
    if len(value) < width:
        return far
    low = high = value
    for by in (1, 2, half):  # of two, four, and all seven
        low, high = np.minimum(low[:-by], low[by:]), np.maximum(high[:-by], high[by:])
    wide = np.flatnonzero(high - low > HAMPEL_SPREADS * least_spread)
    if not len(wide):
        return far
    windows = np.lib.stride_tricks.sliding_window_view(value, width)
    middle, spread = _middles(windows[wide])
    bound = HAMPEL_SPREADS * np.maximum(spread, least_spread)
    far[wide + half] = np.abs(value[wide + half] - middle) > bound
    ends = np.array([0, len(windows) - 1])
    middle, spread = _middles(windows[ends])  # the ends have the nearest whole window
    bound = HAMPEL_SPREADS * np.maximum(spread, least_spread)
    far[:half] = np.abs(value[:half] - middle[0]) > bound[0]
    far[-half:] = np.abs(value[-half:] - middle[1]) > bound[1]
    return far


def wild(value: Floats, bend: float) -> NDArray[np.bool_]:
    """Say which readings lie among such as bend by that much, up and down, in every other one."""
    step = value[1:] - value[:-1]
    bends = np.abs(step[1:] - step[:-1]) > bend
    if not bends.any():
        return np.zeros(len(value), np.bool_)
    kernel = np.ones(2 * WILD_HALF + 1)
    around = np.convolve(np.pad(bends, 1), kernel)[WILD_HALF : WILD_HALF + len(value)]
    return np.asarray(around > WILD_SHARE * len(kernel))


def flags_of(
    series: Series, quantity: str, ahead_s: Ints | None = None, *, gaps: bool = True
) -> Flags:
    """Say what is wrong with each reading.

    Parameters
    ----------
    series : Series
        Readings of one quantity.
    quantity : str
        Which; its believable range and its manners count.
    ahead_s : Ints or None
        Times of readings known to be dated ahead, as of `DeviceTrace.ahead_s`. [s]
    gaps : bool
        Whether gaps are asked for, too.

    Returns
    -------
    Flags
        Bits of `Fault`, one number a reading.
    """
    time_s, value = series.time_s, series.value
    known, manner = QUANTITIES[quantity], _MANNERS.get(quantity)
    flags = np.zeros(len(series), np.uint8)
    if len(value) and (value.min() < known.low or value.max() > known.high):
        flags[(value < known.low) | (value > known.high)] |= np.uint8(Fault.RANGE)
    if ahead_s is not None and len(ahead_s):
        flags[np.isin(time_s, ahead_s)] |= np.uint8(Fault.CLOCK)
    if len(series) < 2:  # noqa: PLR2004
        return flags
    step_s, same = np.diff(time_s), value[1:] == value[:-1]
    # no usual step is longer than the longest one
    if gaps or (same & (step_s < REPEAT_SHARE * step_s.max())).any():
        usual_s = usual_steps_s(series)[1:]
        flags[1:][step_s > GAP_STEPS * usual_s] |= np.uint8(Fault.GAP)
        flags[1:][same & (step_s < REPEAT_SHARE * usual_s)] |= np.uint8(Fault.REPEAT)
    if manner is not None:
        flags |= np.uint8(Fault.SPIKE) * spikes(value, manner.spread)
        if manner.wild < np.inf:
            flags |= np.uint8(Fault.SPIKE) * wild(value, manner.wild)
    flags |= np.uint8(Fault.STUCK) * stuck(series, quantity)
    return flags


def stuck(series: Series, quantity: str, coarse_still_s: int = COARSE_STILL_S) -> NDArray[np.bool_]:
    """Say which readings only repeat the one before, for longer than the quantity may.

    Parameters
    ----------
    series, quantity
        As for `flags_of`.
    coarse_still_s : int
        How long a scale may stand still whose last digit is coarse. [s]
    """
    time_s, value, manner = series.time_s, series.value, _MANNERS.get(quantity)
    if quantity != "rain" and QUANTITIES[quantity].kind == "count":
        # a quiet counter says nothing all night; one that says seventeen all night is broken
        still_s: int | None = 0
        moves = value == 0
    else:
        still_s = None if manner is None else manner.still_s
        moves = (value >= SATURATED) & quantity.endswith("humidity")
    repeats = np.zeros(len(value), np.bool_)
    same = (value[1:] == value[:-1]) & ~moves[1:]
    if still_s is None or _SAME_FOR_LONG not in same.tobytes():
        return repeats
    edges = np.flatnonzero(np.concatenate(([True], ~same, [True])))
    first, last = edges[:-1], edges[1:] - 1
    long = (last - first + 1 >= STUCK_READINGS) & (time_s[last] - time_s[first] >= still_s)
    if still_s == 0:
        long &= (value[first] >= FEW_BEES) | (last - first + 1 >= FEW_READINGS)
    for i in np.flatnonzero(long).tolist() if quantity == "weight" else ():
        lasted_s = time_s[last[i]] - time_s[first[i]]
        long[i] = lasted_s >= coarse_still_s or not is_coarse(series, int(first[i]))
    repeats = np.repeat(long, last - first + 1)
    repeats[first] = False
    return np.asarray(repeats)


def is_coarse(series: Series, at: int) -> bool:
    """Say whether a scale's last digit is coarse, by its steps in the days before a reading."""
    low = int(series.time_s.searchsorted(series.time_s[at] - DIGIT_S))
    steps_kg = np.abs(np.diff(series.value[low : at + 1]))
    return not (steps_kg[steps_kg > 0] < COARSE_KG).any()


def clean(series: Series, quantity: str, ahead_s: Ints | None = None) -> Series:
    """Give the readings that nothing is wrong with; what follows a gap stays.

    Parameters
    ----------
    series, quantity, ahead_s
        As for `flags_of`.

    Returns
    -------
    Series
        A part of `series`.
    """
    good = (flags_of(series, quantity, ahead_s, gaps=False) & int(WRONG)) == 0
    return series if good.all() else Series(series.time_s[good], series.value[good])
