"""What each kind of finding must meet: its truth, how near its start must come, its bar.

Tolerances are own choices: wide enough that a finding of the right event is never missed by them,
narrow enough that one of another event seldom fits. The always-alarm row of the board shows how
much each of them gives away. The bars are what the product has set itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from simulators.plans import STEP_S

MINUTE_S = 60.0
HOUR_S = 3_600.0
DAY_S = 86_400.0
SEASON_D = 180.0  # [d] own choice: a hive-season, so that scenarios of all lengths add up
FLIGHT_S = 25 * MINUTE_S  # from memory: a first flight lasts 5 to 25 minutes
NOTICED_BEES = 500.0  # [bees] own choice: 20 to 25 a minute, what somebody at the entrance sees
CASTS_S = 16 * DAY_S  # [s] common practice, no source: in two weeks after a swarm all is settled

Event = dict[str, Any]
Share = Literal["relative", "absolute"]


@dataclass(frozen=True)
class Measure:
    """A number of a finding, the number of the truth it is held against, and how near is near."""

    said: str
    true: str
    how: Share
    unit: str
    near: float | None = None  # the bar; a share where relative
    when_told: bool = False  # the truth of the day on which it was told, not of the event's start


@dataclass(frozen=True)
class Bar:
    """What is asked of a kind."""

    recall: float
    false_in: float  # one false alarm in so many seasons
    start_s: float | None = None
    start_share: float = 0.9
    told_s: float | None = None
    told_readings: float = 0.0  # so many intervals of the hive's readings are allowed on top
    told_same_day: bool = False


@dataclass(frozen=True)
class Kind:
    """One kind of finding.

    `before_s` and `after_s` bound the start of a finding around the start of its event; where the
    condition lasts (`lasts`), a finding may also start at any time before the event ends.
    """

    name: str
    before_s: float
    after_s: float
    lasts: bool = False
    subject: str = "hive"
    truths: tuple[str, ...] = ()  # names in the truth; empty: the same name
    measures: tuple[Measure, ...] = ()
    bar: Bar | None = None
    told_from: Literal["start", "end"] = "start"
    counts: Callable[[Event], bool] | None = None  # events left out may be found, but need not be
    needs: tuple[str, ...] = ()  # quantities without any of which nobody could know
    longest_feed_s: float | None = None  # hives that report seldomer cannot show it
    is_shown: bool = True  # a clock's fault shows only in when readings arrive, on a right clock
    hidden_by: tuple[str, ...] = ()  # an event while one of these lasts need not be told apart
    hidden_ahead_s: float = 0.0  # nor when one of them begins within this after it
    settles_s: float = 0.0  # of a record that ends sooner after it, nobody could tell it
    pauses: bool = False  # one that was told and lasts on through a pause need not be told again
    excuses: tuple[str, ...] = ()  # events of the truth during which a finding is no false alarm
    excused_ahead_s: float = 0.0  # nor when such an event follows within this
    least_stores_kg: float = 0.0  # a hive with less has nothing that could go: it need not be told
    may_be_short: bool = False  # without brood, if for shorter than the truth tells: nor then

    def is_truth(self, name: str) -> bool:
        """Say whether a name of the truth is this kind."""
        return name in (self.truths or (self.name,))


def _is_a_kilogram(event: Event) -> bool:
    return abs(float(event.get("kg", 0.0))) >= 1.0


def _is_noticed(event: Event) -> bool:
    return float(event.get("bees", 0.0)) >= NOTICED_BEES


def _is_clear(event: Event) -> bool:
    return bool(event.get("clear", True))


def _at_once(recall: float, false_in: float) -> Bar:
    return Bar(recall, false_in, told_s=STEP_S, told_readings=2)  # the model falls a step later


KINDS: tuple[Kind, ...] = (
    Kind("swarm", 2 * HOUR_S, 2 * HOUR_S, told_from="end", needs=("weight", "bees-out"),
         measures=(Measure("kg_lost", "kg_lost", "relative", "kg", 0.15),
                   Measure("bees_left", "bees_left", "relative", "bees")),
         bar=Bar(0.98, 20, told_s=10 * MINUTE_S, told_readings=1)),
    Kind("nectar_flow", 7 * DAY_S, 7 * DAY_S, lasts=True, subject="yard",
         counts=_is_clear,
         measures=(Measure("kg_gained", "kg_gained", "relative", "kg", 0.10),
                   Measure("kg_a_day", "kg_a_day", "relative", "kg/d")),
         bar=Bar(0.95, 10, start_s=2 * DAY_S, told_s=2 * DAY_S)),
    Kind("brood_onset", 10 * DAY_S, 10 * DAY_S, needs=("nest",), may_be_short=True,
         bar=Bar(0.95, 20, start_s=3 * DAY_S)),
    Kind("queen_trouble", 14 * DAY_S, 14 * DAY_S, lasts=True, counts=_is_clear,
         bar=Bar(0.95, 20, told_s=24 * DAY_S)),
    Kind("robbing", 12 * HOUR_S, 36 * HOUR_S, lasts=True, needs=("weight", "bees-out"),
         hidden_by=("toppled",),  # what lies beside its scale is not weighed
         least_stores_kg=1.0,  # own choice: robbers empty it in a morning
         excuses=("dead_out",),  # a dead hive's honey is robbed, and the truth ends with its bees
         bar=Bar(0.90, 20, told_same_day=True)),
    Kind("handling", 1.5 * HOUR_S, 1.5 * HOUR_S, counts=_is_a_kilogram, needs=("weight",),
         hidden_by=("toppled",),  # to set a hive up again and add a box is one visit
         measures=(Measure("kg", "kg", "absolute", "kg", 0.2),), bar=Bar(0.98, 10)),
    Kind("toppled", 2 * HOUR_S, 2 * HOUR_S, needs=("weight",), bar=_at_once(1.0, 100)),
    Kind("taken", 2 * HOUR_S, 2 * HOUR_S, needs=("weight",), bar=_at_once(1.0, 100)),
    Kind("dead_out", 7 * DAY_S, 7 * DAY_S, bar=Bar(1.0, 100, told_s=3 * DAY_S)),
    Kind("low_stores", 14 * DAY_S, 10 * DAY_S, lasts=True, counts=_is_clear,
         hidden_by=("toppled",), pauses=True, excuses=("low_stores",),  # a little feed is a pause
         measures=(Measure("days_left", "days_left", "relative", "d", 0.25, when_told=True),),
         bar=Bar(0.95, 20)),
    Kind("dearth", 10 * DAY_S, 10 * DAY_S, lasts=True, subject="yard", counts=_is_clear,
         pauses=True,
         measures=(Measure("kg_a_day", "kg_a_day", "absolute", "kg/d"),)),
    Kind("brood_end", 14 * DAY_S, 14 * DAY_S, needs=("nest",), may_be_short=True,
         # bees that leave, or die, leave no brood: that is one thing to tell
         hidden_by=("dead_out", "taken"), hidden_ahead_s=4 * DAY_S,
         settles_s=5 * DAY_S,  # own choice: brood ends by degrees, and a cold night is no end
         excuses=("dead_out", "taken")),
    Kind("swarm_risk", 10 * DAY_S, 10 * DAY_S, lasts=True,
         excuses=("swarm",), excused_ahead_s=CASTS_S),  # a cast of a hive that swarmed before
    Kind("orientation_flight", HOUR_S, HOUR_S, counts=_is_noticed,
         needs=("bees-out",), longest_feed_s=FLIGHT_S / 2,
         measures=(Measure("bees", "bees", "relative", "bees"),)),
    Kind("forager_loss", DAY_S, 2 * DAY_S, lasts=True, needs=("weight", "bees-out")),
    Kind("chilled_brood", 12 * HOUR_S, DAY_S, lasts=True, needs=("nest",)),
    Kind("overheating", 6 * HOUR_S, 6 * HOUR_S, lasts=True, needs=("nest",)),
    Kind("silent", 2 * HOUR_S, 6 * HOUR_S, subject="device",
         excuses=("device late", "device shuffled")),
    Kind("stuck", DAY_S, DAY_S, lasts=True, subject="device"),
    Kind("clock", 2 * HOUR_S, DAY_S, lasts=True, subject="device", is_shown=False),
    Kind("low_battery", DAY_S, DAY_S, lasts=True, subject="device"),
    Kind("scale_drift", 10 * DAY_S, 10 * DAY_S, lasts=True, subject="device"),
)  # fmt: skip

BY_NAME = {kind.name: kind for kind in KINDS}


def chosen(names: list[str] | None) -> tuple[Kind, ...]:
    """Give the kinds of these names, all if None; KeyError names the first unknown one."""
    return KINDS if not names else tuple(BY_NAME[name] for name in names)
