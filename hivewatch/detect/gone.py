"""What the counter says of a loss of the weight: whether bees went, and as a swarm goes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from hivewatch.signals.exodus import (
    AFTER_S,
    COUNT_ERROR,
    KEPT_IN_S,
    SHELTER_S,
    counted_from_s,
)
from hivewatch.signals.late import is_awaited
from hivewatch.signals.steps import QUIET_S, Step
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import HiveWindow, Series

KEPT_IN = 0.3  # own choice: bees let out had flown at most at so much of their rate afterwards,
SHOWER_S = 1800  # [s] own choice: if for no longer than this
LAST_S = QUIET_S // 2  # [s] own choice: the last bees of a swarm, after the scale has settled


class LetOut(NamedTuple):
    """Whether bees had only been kept in, None while the counter has yet to tell; and told when."""

    are: bool | None
    told_s: int


def gone(window: HiveWindow, step: Step) -> float | None:
    """Give how many more bees went than came; None where no counter was at work.

    Bees that had come home shortly before, from a shower, are not a swarm when they fly again; nor
    is what lies within the counter's own error where crowds pass both ways, as robbers do.
    """
    out, back = window.of("bees-out"), window.of("bees-in")
    begun_s, to_s = counted_from_s(out, step.before_s), _counted_to_s(window, step)
    went, came = _sum(out, begun_s, to_s), _sum(back, begun_s, to_s)
    if went is None or came is None:
        return None
    if went - came < COUNT_ERROR * float(np.hypot(went, came)):
        return 0.0
    from_s = step.before_s - SHELTER_S
    sheltered = (_sum(back, from_s, begun_s) or 0) - (_sum(out, from_s, begun_s) or 0)
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


def are_let_out(window: HiveWindow, step: Step) -> LetOut:
    """Say whether rain or cold had kept the bees in, so that all foragers go at once.

    After a swarm fewer fly than before it, after a shower many more. A coarse counter's record that
    comes about then tells of the loss itself, and the next one is waited for.
    """
    out = window.of("bees-out")
    usual_s = usual_step_near(out, step.before_s) or QUIET_S + 1
    spans_s = (KEPT_IN_S, max(SHOWER_S, usual_s))
    before = [_sum(out, step.before_s - span_s, step.before_s) for span_s in spans_s]
    from_s, to_s = step.after_s + LAST_S, step.settled_s
    if usual_s > QUIET_S:
        at = int(np.searchsorted(out.time_s, step.after_s - usual_s // 4))
        if at + 1 >= len(out):
            awaited = is_awaited(window, "bees-out", step.before_s, step.after_s + 2 * usual_s)
            return LetOut(are=None if awaited else False, told_s=step.settled_s)
        from_s, to_s = int(out.time_s[at]), max(to_s, int(out.time_s[at + 1]))
    after = _sum(out, from_s, to_s)
    rates = [
        some / span_s for some, span_s in zip(before, spans_s, strict=True) if some is not None
    ]
    if not rates or not after:
        return LetOut(are=False, told_s=to_s)
    return LetOut(are=min(rates) < KEPT_IN * after / (to_s - from_s), told_s=to_s)


def _sum(series: Series, from_s: int, to_s: int) -> float | None:
    """Add up what was counted after `from_s` and up to `to_s`; None where nothing was."""
    low, high = np.searchsorted(series.time_s, [from_s, to_s], side="right")
    return float(series.value[low:high].sum()) if high > low else None
