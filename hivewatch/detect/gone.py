"""What counter and nest say of a loss of the weight: whether bees went, and as a swarm goes."""

from __future__ import annotations

import numpy as np

from hivewatch.signals.exodus import AFTER_S, KEPT_IN_S, SHELTER_S
from hivewatch.signals.steps import QUIET_S, Step
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import HiveWindow, Series

KEPT_IN = 0.3  # own choice: bees let out had flown at most at so much of their rate afterwards,
SHOWER_S = 1800  # [s] own choice: if for no longer than this
BEFORE_S = 3600  # [s] popular: the nest warms up within half an hour, from memory 10 to 20 minutes
USUAL_S = 3 * 3600  # [s] own choice: what the nest was like before that
WARM_UP_K = 0.6  # [K] own choice: under the 1.5 to 3.4 K from memory, for a probe off the centre


def gone(window: HiveWindow, step: Step) -> float | None:
    """Give how many more bees went than came; None where no counter was at work.

    Bees that had come home shortly before, from a shower, are not a swarm when they fly again.
    """
    out, back = window.of("bees-out"), window.of("bees-in")
    to_s = _counted_to_s(window, step)
    went, came = _sum(out, step.before_s, to_s), _sum(back, step.before_s, to_s)
    if went is None or came is None:
        return None
    from_s = step.before_s - SHELTER_S
    sheltered = (_sum(back, from_s, step.before_s) or 0) - (_sum(out, from_s, step.before_s) or 0)
    return went - came - max(0.0, sheltered)


def _counted_to_s(window: HiveWindow, step: Step) -> int:
    """Give up to when a counter's records tell of a loss: its last one may come a step later."""
    usual_s = usual_step_near(window.of("bees-out"), step.before_s) or 0
    return step.after_s + max(AFTER_S, usual_s)


def counted_s(window: HiveWindow, step: Step) -> int:
    """Give when the loss was over and counted, also by a counter that reports seldom."""
    to_s, time_s = _counted_to_s(window, step), window.of("bees-out").time_s
    last_s = int(time_s[np.searchsorted(time_s, to_s, side="right") - 1])
    return max(step.settled_s, last_s) if to_s > step.after_s + AFTER_S else step.settled_s


def are_let_out(window: HiveWindow, step: Step) -> bool:
    """Say whether rain or cold had kept the bees in, so that all foragers go at once.

    After a swarm fewer fly than before it, after a shower many more; and no nest warms up for that.
    """
    out = window.of("bees-out")
    usual_s = usual_step_near(out, step.before_s) or QUIET_S + 1
    spans_s = (KEPT_IN_S, max(SHOWER_S, usual_s))
    before = [_sum(out, step.before_s - span_s, step.before_s) for span_s in spans_s]
    from_s = step.after_s
    if usual_s > QUIET_S:  # the record that comes about then tells of the loss itself
        at = np.searchsorted(out.time_s, from_s - usual_s // 4)
        from_s = int(np.append(out.time_s, step.settled_s)[at])
    after = _sum(out, from_s, step.settled_s)
    rates = [
        some / span_s for some, span_s in zip(before, spans_s, strict=True) if some is not None
    ]
    if not rates or not after:
        return False
    warmer_k = warmed_k(window.of("nest"), step)
    kept_in = min(rates) < KEPT_IN * after / (step.settled_s - from_s)
    return kept_in and not (warmer_k is not None and warmer_k >= WARM_UP_K)


def _sum(series: Series, from_s: int, to_s: int) -> float | None:
    """Add up what was counted after `from_s` and up to `to_s`; None where nothing was."""
    low, high = np.searchsorted(series.time_s, [from_s, to_s], side="right")
    return float(series.value[low:high].sum()) if high > low else None


def warmed_k(nest: Series, step: Step) -> float | None:
    """Give how far the nest had warmed up before a loss; None where it is not known."""
    edges = [step.before_s - BEFORE_S - USUAL_S, step.before_s - BEFORE_S, step.after_s + 1]
    first, middle, last = np.searchsorted(nest.time_s, edges)
    if middle in (first, last):
        return None
    return float(nest.value[middle:last].max() - np.median(nest.value[first:middle]))
