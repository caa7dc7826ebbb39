"""Has a device yet to send what it measured: then whoever weighs it against another one waits.

Devices send in packs and over bad radio, so that the scale may tell of an hour of which the counter
has told nothing yet. What is judged without it would be taken back when it comes.
"""

from __future__ import annotations

from hivewatch.signals.usual import usual_step_near
from hivewatch.signals.window import HiveWindow, Ints

LATE_S = 2 * 86_400  # [s] own choice: silent for longer, a device is not waited for


def is_awaited(window: HiveWindow, quantity: str, from_s: int, to_s: int) -> bool:
    """Say whether a quantity, heard of lately, is still to come for a span.

    Parameters
    ----------
    quantity : str
        Whose readings are asked for.
    from_s, to_s : int
        The span. [s]

    Returns
    -------
    bool
        False where it is there up to `to_s`, where it was silent long before, or where the others
        have gone on without it for `LATE_S`.
    """
    time_s = window.of(quantity).time_s
    return (
        bool(len(time_s)) and from_s - LATE_S < time_s[-1] < to_s and window.last_s < to_s + LATE_S
    )


def known_until_s(window: HiveWindow, *quantities: str) -> int | None:
    """Give up to when quantities that belong together have all been sent; None without any [s].

    A reading stands for the time up to the next one, a usual step later.
    """
    ends: list[int] = []
    for name in quantities:
        time_s: Ints = window.of(name).time_s
        if len(time_s):
            last_s = int(time_s[-1])
            ends.append(last_s + (usual_step_near(window.of(name), last_s) or 0))
    return min(ends, default=None)
