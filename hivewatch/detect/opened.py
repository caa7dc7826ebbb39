"""Was a hive opened, where neither scale nor cold nest shows it: `handling`, by a startled nest.

Most visits take minutes, and leave the brood warm: of 28 listed openings of a real recording five
cooled the nest. What shows them is the break in the course of the nest's warmth, and that the bees
heat for an hour after it.
"""

from __future__ import annotations

from collections.abc import Sequence

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import DAY_S, MARGIN_S
from hivewatch.signals.departures import departures_of
from hivewatch.signals.dips import dips_of
from hivewatch.signals.startles import Startle, startles_of
from hivewatch.signals.steps import moves_of
from hivewatch.signals.sun import sun_height_deg
from hivewatch.signals.window import HiveWindow

WORK_DEG = 10.0  # [deg] own choice: height of the sun at which people open hives
AROUND_S = 1800  # [s] own choice: what moves the scale, or cools the nest, so near is told by that
SURE = 0.5  # own choice: on the recording every other one is a listed visit
BACK_S = DAY_S  # [s] as for `hivewatch.signals.carried`


def find(window: HiveWindow, _inspections: Sequence[Inspection], _limits: Limits) -> list[Finding]:
    """Say when the nest was startled as by a keeper.

    Parameters
    ----------
    window : HiveWindow
        The hive up to `window.as_of_s`. Needs `nest`, a reading every quarter of an hour or more
        often; takes `weight` and the counter to know what else was the matter.

    Returns
    -------
    list[Finding]
        Of kind `handling`, without a weight; told when the bees have settled.

    References
    ----------
    The openings: Abdollahi M. et al. (2024), doi:10.20383/103.0972.
    """
    since_s = window.carried.until_s - MARGIN_S
    return [
        _opened(window, one)
        for one in startles_of(window)
        if one.told_s >= since_s and _is_keeper(window, one)
    ]


def _is_keeper(window: HiveWindow, startle: Startle) -> bool:
    """Say whether a hive was opened: by day, and nothing else accounts for its startled nest."""
    if sun_height_deg(window.yard, startle.before_s) <= WORK_DEG:
        return False
    from_s, to_s = startle.first_s - AROUND_S, startle.told_s
    others = [dip.low_s for dip in dips_of(window) if dip.back_s <= to_s]
    others += [move.after_s for move in moves_of(window) if move.settled_s <= to_s]
    return not any(from_s <= one <= to_s for one in others + departures_of(window))


def _opened(window: HiveWindow, startle: Startle) -> Finding:
    """Put it into words and figures."""
    way, by_k = ("rose" if startle.moved_k > 0 else "fell"), abs(startle.moved_k)
    sharp = f"{startle.times:.0f} times as sharply as at this hour of the days before"
    return Finding(
        kind="handling",
        subject=f"hive:{window.hive.id}",
        start_s=startle.before_s,
        end_s=startle.told_s,
        detected_s=startle.told_s,
        confidence=SURE,
        measures={f"nest_{way}_k": round(by_k, 2)},
        evidence=(f"the nest {way} by {by_k:.1f} K at once, {sharp}",),
        status="ended",
    )
