"""How many bees went out and came in up to dusk, by day, and whether all of it has been sent."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.signals.bare import passed
from hivewatch.signals.carried import worked
from hivewatch.signals.days import days_of
from hivewatch.signals.window import Floats, HiveWindow, first_from

SCALE_LATE_S = 2 * 86_400  # [s] own choice: silent for longer, a scale is not waited for
NEVER_S = 2**62
COUNTER_LATE_S = 2 * 86_400  # [s] own choice: when a counter that was silent at dusk must report


class Flown(NamedTuple):
    """Bees that went out and came in up to dusk, by day, and whether all of it has been sent."""

    out: Floats
    back: Floats
    is_all_in: NDArray[np.bool_]


def flown_of(window: HiveWindow) -> Flown:
    """Give what went out and came in by day; counted once a window."""
    return worked(window, "flown", _flown)


def carry(window: HiveWindow, until_s: int) -> dict[str, object]:
    """Give what `hivewatch.signals.carried` keeps: the counts of the days before a midnight."""
    n = int(np.searchsorted(days_of(window).start_s, until_s))
    flown = flown_of(window)
    return {"flown": Flown(flown.out[:n].copy(), flown.back[:n].copy(), flown.is_all_in[:n].copy())}


def _flown(window: HiveWindow, kept: Flown | None) -> Flown:
    """Count the days that are not known yet."""
    days, first = days_of(window), 0 if kept is None else len(kept.out)
    from_s, dusk_s = days.start_s[first:-1], days.dusk_s[first:]
    since = Flown(
        passed(window.of("bees-out"), from_s, dusk_s),
        passed(window.of("bees-in"), from_s, dusk_s),
        _are_all_in(window, dusk_s),
    )
    if kept is None:
        return since
    return Flown(
        np.append(kept.out, since.out),
        np.append(kept.back, since.back),
        np.append(kept.is_all_in, since.is_all_in),
    )


def _are_all_in(window: HiveWindow, dusk_s: Floats) -> NDArray[np.bool_]:
    """Say of which days counter and scale have sent everything up to dusk; devices may be late."""
    is_in = np.ones(len(dusk_s), np.bool_)
    for name in ("bees-out", "bees-in"):  # a counter that was silent for longer may have lost some
        time_s = window.of(name).time_s
        at = first_from(time_s, dusk_s)
        there = at < len(time_s)
        is_in &= there
        is_in[there] &= time_s[at[there]] <= dusk_s[there] + COUNTER_LATE_S
    weight = window.of("weight").time_s
    weighed = first_from(weight, dusk_s)  # the first weight from dusk on, the last before it
    before_s = weight[weighed - 1] if len(weight) else weighed
    is_late = (weighed == len(weight)) & (weighed > 0) & (dusk_s < before_s + SCALE_LATE_S)
    return np.asarray(is_in & (~is_late | (dusk_s <= window.last_s - SCALE_LATE_S)))
