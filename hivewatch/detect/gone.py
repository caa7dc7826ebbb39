"""What the counter says of a loss of the weight: whether bees went, and as a swarm goes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from hivewatch.signals.carried import DAY_S
from hivewatch.signals.exodus import (
    AFTER_S,
    BEE_KG,
    COUNT_ERROR,
    FINE_S,
    FORAGERS_KG,
    KEPT_IN_S,
    RUSH,
    SHARE_LEAST,
    SHARE_MOST,
    SHELTER_S,
    counted_from_s,
)
from hivewatch.signals.late import is_awaited
from hivewatch.signals.steps import QUIET_S, Step
from hivewatch.signals.turns import WARMED_K, nest_said
from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import HiveWindow, Series

KEPT_IN = 0.3  # own choice: bees let out had flown at most at so much of their rate afterwards,
SHOWER_S = 1800  # [s] own choice: if for no longer than this
# Own choice: a counter's bias is that of three days, of so many bees, and no further off
BIAS_S, BIAS_BEES, BIAS = 3 * DAY_S, 10_000, (0.8, 1.25)
LAST_S = QUIET_S // 2  # [s] own choice: the last bees of a swarm, after the scale has settled


class LetOut(NamedTuple):
    """Whether bees had only been kept in, None while the counter has yet to tell; and told when."""

    are: bool | None
    told_s: int


def gone(window: HiveWindow, step: Step) -> float | None:
    """Give how many more bees went than came; None where no counter was at work.

    Bees that had come home shortly before, from a shower, are not a swarm when they fly again; nor
    is what lies within the counter's own error where crowds pass both ways, as robbers do. A coarse
    counter dates all its records to their begin or all to their end, and has a bias of its own.
    """
    out, back = window.of("bees-out"), window.of("bees-in")
    begun_s, to_s = counted_from_s(out, step.before_s), _counted_to_s(window, step)
    went, came = _sum(out, begun_s, to_s), _sum(back, begun_s, to_s)
    if went is None or came is None:
        return None
    if to_s <= step.after_s + AFTER_S:
        return _gone(window, step, begun_s, to_s)
    return max(_gone(window, step, begun_s, step.after_s), _gone(window, step, step.before_s, to_s))


def _gone(window: HiveWindow, step: Step, begun_s: int, to_s: int) -> float:
    """Give how many more went than came by the records of one span, 0 where it may be chance."""
    went, came = (_sum(window.of(name), begun_s, to_s) or 0.0 for name in ("bees-out", "bees-in"))
    if went - came < COUNT_ERROR * float(np.hypot(went, came)):
        return 0.0
    bias = _bias(window, begun_s)
    from_s = step.before_s - SHELTER_S
    home, out = (_sum(window.of(name), from_s, begun_s) or 0.0 for name in ("bees-in", "bees-out"))
    return went * bias - came - max(0.0, home - out * bias)


def _bias(window: HiveWindow, until_s: int) -> float:
    """Give how many a counter saw come for each that it saw go, on the days before."""
    came, went = (
        _sum(window.of(name), until_s - BIAS_S, until_s) or 0.0 for name in ("bees-in", "bees-out")
    )
    return float(np.clip(came / went, *BIAS)) if went >= BIAS_BEES else 1.0


def rushed(window: HiveWindow, step: Step, bees: float) -> bool:
    """Say whether so many more went than came as usually go out by themselves in that time."""
    begun_s = counted_from_s(window.of("bees-out"), step.before_s)
    usual = _sum(window.of("bees-out"), begun_s - KEPT_IN_S, begun_s) or 0.0
    span_s = _counted_to_s(window, step) - begun_s
    return bees >= RUSH * usual / KEPT_IN_S * span_s


def had_left(window: HiveWindow, step: Step) -> bool:
    """Say whether bees had left about the one reading of a coarse feed that went far off.

    It is a bad one, or somebody came to look: that sends out no such crowd, more than all foragers,
    and warms no nest.
    """
    bees = gone(window, step) or 0.0
    if not SHARE_LEAST <= bees * BEE_KG / -step.size_kg <= SHARE_MOST:
        return False
    nest = nest_said(window.of("nest"), step.before_s, step.after_s, window.last_s)
    has_warmed = nest.what == "swarm" and nest.warmer_k >= WARMED_K
    return has_warmed or (-step.size_kg >= FORAGERS_KG and rushed(window, step, bees))


def _counted_to_s(window: HiveWindow, step: Step) -> int:
    """Give up to when a counter's records tell of a loss: its last one may come a step later."""
    usual_s = usual_step_near(window.of("bees-out"), step.before_s) or 0
    return step.after_s + max(AFTER_S, usual_s)


def counted_s(window: HiveWindow, step: Step) -> int:
    """Give when the loss was over and counted, also by a counter that reports seldom."""
    to_s, time_s = _counted_to_s(window, step), window.of("bees-out").time_s
    last_s = int(time_s[time_s.searchsorted(to_s, side="right") - 1])
    return max(step.settled_s, last_s) if to_s > step.after_s + AFTER_S else step.settled_s


def are_let_out(window: HiveWindow, step: Step) -> LetOut:
    """Say whether rain or cold had kept the bees in, so that all foragers go at once.

    After a swarm fewer fly than before it, after a shower many more. A coarse counter's record that
    comes about then tells of the loss itself, and the next one is waited for.
    """
    out = window.of("bees-out")
    usual_s = usual_step_near(out, step.before_s) or FINE_S + 1
    spans_s = (KEPT_IN_S, max(SHOWER_S, usual_s))
    before = [_sum(out, step.before_s - span_s, step.before_s) for span_s in spans_s]
    from_s, to_s = step.after_s + LAST_S, step.settled_s
    if usual_s > FINE_S:
        at = int(out.time_s.searchsorted(step.after_s - usual_s // 4))
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
    low, high = series.time_s.searchsorted([from_s, to_s], side="right")
    return float(series.value[low:high].sum()) if high > low else None
