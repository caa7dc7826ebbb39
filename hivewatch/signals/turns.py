"""The nest's warmth about a loss of bees: it warms up before a swarm leaves, and cools behind it.

An opened hive cools and has not warmed up before; foragers leave the nest as it was. A probe at
the edge or under the lid follows the day, and is believed only where its warmth rose and fell at
once. Each reading is judged by what came before it, so that it says the same for ever.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.late import LATE_S
from hivewatch.signals.levels import middle_of
from hivewatch.signals.window import Floats, Ints, Series

BEFORE_S = 3600  # [s] popular: the nest warms up within half an hour, from memory 10 to 20 minutes
USUAL_S = 3 * 3600  # [s] own choice: what the nest was like before that
SINCE_S = 45 * 60  # [s] own choice: it has cooled by then; the swarm's bees are gone within minutes
WARM_UP_K = 0.6  # [K] own choice: under the 1.5 to 3.4 K from memory, for a probe off the centre
WARMED_K = 1.0  # [K] own choice: what nobody's hand has done while it goes on
# [K] own choice: a coarse feed's reading may fall on the first minutes of the warming, ...
WARMING_K = 0.3
COOLED_K = 0.5  # ... where it cooled as well; second hand 35 to 33 Cel, Ferrari et al. (2008)
STEADY = 0.5  # own choice: before, the nest strayed by no more than this part
MISSED_S = 900  # [s] own choice: readings further apart may miss the warming altogether
LEAST = 5  # [readings] own choice: fewer do not tell how a nest moves from one to the next
# A probe that can deny a swarm hangs among brood, at 32 to 37 Cel (Stabentheiner et al. 2010: 33 to
# 36), and had strayed by no more than this (own choice)
BROOD_CEL, STRAYED_K = (32.0, 37.0), 0.4

Asked = Literal["weighed", "seldom", "counted", "burst", "at once"]


class Said(NamedTuple):
    """What the nest says of a loss.

    Parameters
    ----------
    what : str
        ``swarm``; ``cooled``, it cooled at once, after a warming that may lie between two readings,
        or under a hand; ``still``, it stayed as it was; ``nothing``, no probe was there, or none
        that could tell; ``awaited``, its readings are still to come.
    told_s : int
        The reading that said so; 0 where nothing was said. [s]
    warmer_k : float
        How far it had warmed up; of a nest that cooled, how far that. [K]
    """

    what: Literal["swarm", "cooled", "still", "nothing", "awaited"]
    told_s: int = 0
    warmer_k: float = 0.0


def nest_said(
    nest: Series, before_s: int, after_s: int, last_s: int, asked: Asked = "weighed"
) -> Said:
    """Say what the nest tells of a loss of bees between two moments.

    Parameters
    ----------
    nest : Series
        Brood-nest temperature. [Cel]
    before_s, after_s : int
        The loss. [s]
    last_s : int
        The hive's last reading of any kind: a silent probe is not waited for. [s]
    asked : Asked
        ``counted``: a counter saw the bees go, so that a nest that cooled was not opened by
        somebody; ``burst``: nobody weighed them, and only a probe among brood is asked;
        ``seldom``: so, too, of what half-hourly readings show of a loss that may be slow;
        ``at once``: while it goes on, when only plain warming of brood counts.

    References
    ----------
    A. Zacepins et al. (2016), Biosystems Eng. 148:76: warmer by 1.5 to 3.4 K, 10 to 20 minutes
    before (from memory). S. Ferrari et al. (2008), Comput. Electron. Agric. 64:72 (second hand).
    """
    edges = (before_s - BEFORE_S - USUAL_S, before_s - BEFORE_S, after_s + SINCE_S + 1)
    first, middle, last = (int(one) for one in nest.time_s.searchsorted(edges))
    usual, near, time_s = (
        nest.value[first:middle],
        nest.value[middle:last],
        nest.time_s[middle:last],
    )
    if not len(usual):
        return Said("nothing")
    is_over = len(nest) > last or last_s >= after_s + SINCE_S + LATE_S
    unsaid = Said("nothing" if is_over else "awaited")
    level = middle_of(usual)
    strayed_k = float(np.abs(usual - level).max())
    among_brood = BROOD_CEL[0] <= level <= BROOD_CEL[1] and strayed_k <= STRAYED_K
    is_far_off = asked in {"at once", "burst", "seldom"} and not among_brood
    if is_far_off or not len(near):
        return Said("nothing") if len(near) else unsaid
    till = int(time_s.searchsorted(after_s, side="right"))
    rising = _rising(nest.time_s[first:middle], usual, level)
    warmer, beyond = (
        np.maximum.accumulate(np.where(np.arange(len(near)) < till, near - usually, -np.inf))
        for usually in (level, rising.at(time_s))
    )
    since = time_s > before_s
    lowest = np.minimum.accumulate(np.where(since, near, np.inf))
    colder = np.maximum(level - lowest, 0.0)
    turned = _turned(beyond, rising.strayed_k, _fell(near, till), colder, strayed_k, asked)
    if asked != "at once":
        turned |= (warmer >= WARMING_K) & (strayed_k <= STEADY * warmer) & (colder >= COOLED_K)
    agree = np.flatnonzero(turned)
    swarmed: Said | None = None
    if len(agree):
        at = int(agree[0])
        swarmed = Said("swarm", int(time_s[at]), float(warmer[at]))
    elif asked != "at once":
        swarmed = _peak(nest.time_s[first:last], nest.value[first:last], before_s, after_s)
    if swarmed is not None:
        return swarmed
    cooled = np.flatnonzero((colder >= COOLED_K) & (strayed_k <= STEADY * colder))
    is_seldom = np.diff(time_s[: till + 1]).max(initial=0) > MISSED_S
    if asked == "weighed" and among_brood and is_seldom and len(cooled):
        return Said("cooled", int(time_s[cooled[0]]), float(colder[-1]))
    if not (is_over and among_brood and till):
        return unsaid
    told_s = int(nest.time_s[last]) if len(nest) > last else after_s + SINCE_S + LATE_S
    return Said("still", told_s, float(warmer[-1]))


def _peak(time_s: Ints, value: Floats, before_s: int, after_s: int) -> Said | None:
    """Find the one reading of a coarse feed that rose and fell as no day makes a far probe do.

    It had fallen after `before_s`, and stood so far above the reading before.
    """
    low, high = time_s.searchsorted((before_s - MISSED_S, after_s), side="right")
    for k in range(max(int(low), LEAST), min(int(high), len(value) - 1)):
        if min(time_s[k] - time_s[k - 1], time_s[k + 1] - time_s[k]) <= MISSED_S:
            continue
        rose, fell = float(value[k] - value[k - 1]), float(value[k] - value[k + 1])
        usual_k = float(np.abs(np.diff(value[:k])).max())
        if min(rose, fell) >= max(WARM_UP_K, usual_k / STEADY):
            return Said("swarm", int(time_s[k + 1]), rose) if time_s[k + 1] > before_s else None
    return None


class _Rising(NamedTuple):
    """How the nest warmed up with the morning before, and how far it strayed from that."""

    from_s: float
    level: float
    k_per_s: float
    strayed_k: float

    def at(self, time_s: Ints) -> Floats:
        """Give what it would be if that went on. [Cel]."""
        return np.asarray(self.level + self.k_per_s * (time_s - self.from_s), np.float64)


def _rising(time_s: Ints, usual: Floats, level: float) -> _Rising:
    """See how the nest warmed up by itself, if it did, by the medians of its halves."""
    half, k_per_s, from_s = len(usual) // 2, 0.0, middle_of(time_s)
    if half:
        rise, run = (middle_of(side[-half:]) - middle_of(side[:half]) for side in (usual, time_s))
        k_per_s = max(rise, 0.0) / run
    flat = usual - k_per_s * (time_s - from_s)
    level = middle_of(flat) if k_per_s else level
    return _Rising(from_s, level, k_per_s, float(np.abs(flat - level).max()))


def _turned(
    beyond: Floats, was_off_k: float, fell: Floats, colder: Floats, strayed_k: float, asked: Asked
) -> NDArray[np.bool_]:
    """Say at which readings the nest has turned as it does when a swarm leaves."""
    steady = was_off_k <= STEADY * beyond
    if asked == "at once":
        return np.asarray((beyond >= WARMED_K) & steady & (colder <= strayed_k))
    turned = (beyond >= WARM_UP_K) & (steady | (fell >= np.maximum(WARM_UP_K, strayed_k)))
    if asked in {"weighed", "seldom"}:  # what warms up with the morning stays warm
        turned &= (beyond >= WARMED_K) | (fell >= COOLED_K)
    if asked in {"counted", "burst"}:
        turned |= (colder >= COOLED_K) & (strayed_k <= STEADY * colder)
    return np.asarray(turned)


def _fell(near: Floats, till: int) -> Floats:
    """Give by how much the nest has fallen from its highest reading up to the loss. [K]."""
    fell = np.zeros(len(near))
    peak, low = -np.inf, np.inf
    for i, one in enumerate(near.tolist()):
        if i < till and one >= peak:
            peak, low = one, one
        low = min(low, one)
        fell[i] = peak - low if till else 0.0
    return fell
