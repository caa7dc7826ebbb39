"""What a visit says of the queen: laying has stopped, or fails, or goes on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from hivewatch.frames import FRAMES
from hivewatch.inspections import BroodCounts, Inspection, adult_count, brood_counts, stores_kg
from hivewatch.signals.carried import unless_same
from hivewatch.signals.days import DAY_S
from hivewatch.signals.season import LEVEL_PART, laying_level
from hivewatch.signals.window import HiveWindow

# [d] published: a worker is an egg for 3 days, a larva for 6, in a capped cell for 12
EGG_D, LARVA_D, OPEN_D, CAPPED_D = 3, 6, 9, 21
USUAL_A_DAY = 1200.0  # [eggs/d] own choice: where no visit before has counted brood
REMEMBERED_S = 60 * DAY_S  # [s] own choice: visits that tell what a queen laid
USUAL_VISITS = 3  # own choice: whose mean that is: a single count errs by 10 to 25 %
FAILING_SHARE = 0.6  # own choice: of what she laid; counts err by an eighth
FAILING_A_DAY = 450.0  # [eggs/d] own choice: a third of what a queen lays in the season
GIVEN_SHARE = 0.65  # own choice: the same where the keeper thought her poor enough to replace
PAUSE_SHARE = 0.75  # own choice: of the best; with so much capped she only pauses, as in a dearth
FEW_BEES = 2000  # [bees] own choice: fewer keep no brood warm
HUNGRY_KG = 1.0  # [kg] own choice: who starves raises no brood, whatever the queen ...
# [kg/d] ... nor who has no more than a day's food: 0.76 kg for 20,000 bees and 1,500 eggs a day,
# computed from the published constants in Becher et al. (2014)
FOOD_A_BEE_KG = 3.8e-5
HALF_SHARE = 0.6  # own choice: laid in all of three weeks, of the best before, while food came in
FOOD_SPARED_KG = 1.0  # [kg] own choice: the error of judging it; with less than then she may rest
SWARM_WAIT_S = 4 * DAY_S  # [s] published: no eggs from three days before a swarm leaves
COMING = frozenset({"virgin", "new"})

What = Literal["stopped", "failing", "lays", "lays little", "requeened", "hungry"]


@dataclass(frozen=True, slots=True)
class Sign:
    """What was seen, and since when laying is as it is.

    Parameters
    ----------
    what : str
        Laying has `stopped`, is `failing`, goes on (`lays`, `lays little`), or a queen was given;
        or the bees were `hungry`, so that their brood says nothing of her.
    at_s, told_s : int
        When it was seen, and when it is certain. [s]
    since_s : int
        Since about when. [s]
    words : str
        In words.
    confidence : float
        0 to 1.
    is_sure : bool
        That there is no queen, swarm or not.
    has_cells : bool
        That the bees raise another.
    """

    what: What
    at_s: int
    told_s: int
    since_s: int
    words: str
    confidence: float
    is_sure: bool = False
    has_cells: bool = False


@dataclass(frozen=True, slots=True)
class _Visit:
    """The part of a visit that tells of the queen; None where nobody counted."""

    at_s: int
    eggs: int | None
    open: int | None
    capped: int | None
    queen: str | None
    cells: int
    adults: int | None
    stores_kg: float | None
    actions: frozenset[str]
    season: float  # what queens lay at this time of the year, as a part of the most

    @property
    def a_day(self) -> float | None:
        """Eggs a day over the last nine days."""
        return None if self.eggs is None or self.open is None else (self.eggs + self.open) / OPEN_D

    @property
    def for_weeks(self) -> float | None:
        """Eggs a day over the last three weeks."""
        if self.eggs is None or self.open is None or self.capped is None:
            return None
        return (self.eggs + self.open + self.capped) / CAPPED_D

    @property
    def is_hungry(self) -> bool:
        """Whether there is hardly a day's food."""
        need_kg = max(HUNGRY_KG, FOOD_A_BEE_KG * (self.adults or 0))
        return self.stores_kg is not None and self.stores_kg < need_kg


def signs_of(window: HiveWindow, inspections: Sequence[Inspection]) -> list[Sign]:
    """Give what the visits say, by time.

    Parameters
    ----------
    window : HiveWindow
        The hive: its frames.
    inspections : Sequence[Inspection]
        Its visits, in any order; later ones than `window.as_of_s` do not count.
    """
    seen = [one for one in inspections if one.at_s <= window.as_of_s]
    given = window.hive, window.yard, seen
    return unless_same(window, "signs of visits", given, lambda: _signs(window, seen))


def _signs(window: HiveWindow, seen: Sequence[Inspection]) -> list[Sign]:
    """Read the visits one by one."""
    visits = sorted((_read(window, one) for one in seen), key=lambda one: one.at_s)
    signs: list[Sign] = []
    for i, visit in enumerate(visits):
        signs += [one for one in (_sign(visit, visits[:i]),) if one is not None]
        if visit.is_hungry:
            signs.append(Sign("hungry", visit.at_s, visit.at_s, visit.at_s, "no food", 1.0))
        if visit.actions & {"requeened", "united"}:
            signs.append(
                Sign("requeened", visit.at_s, visit.at_s, visit.at_s, "a queen given", 1.0)
            )
    return signs


def _read(window: HiveWindow, inspection: Inspection) -> _Visit:
    """Take what tells of the queen."""
    frame = FRAMES.get(window.hive.frame)
    cells = inspection.queen_cells
    counts = BroodCounts(None, None, None) if frame is None else brood_counts(inspection, frame)
    return _Visit(
        inspection.at_s,
        *counts,
        inspection.queen,
        cells.count if cells is not None and cells.stage != "cups" else 0,
        None if frame is None else adult_count(inspection, frame),
        None if frame is None else stores_kg(inspection, frame),
        frozenset(one.what for one in inspection.actions),
        laying_level(datetime.fromtimestamp(inspection.at_s, UTC).date(), window.yard.latitude)
        ** LEVEL_PART,
    )


def _sign(visit: _Visit, before: Sequence[_Visit]) -> Sign | None:
    """Read one visit in the light of those before."""
    known = [one.a_day for one in before if visit.at_s - one.at_s <= REMEMBERED_S]
    rates = [one for one in known if one is not None]
    hers = _of_this_queen([one for one in before if visit.at_s - one.at_s <= REMEMBERED_S])
    if visit.queen == "absent":
        since_s = visit.at_s - EGG_D * DAY_S if visit.eggs is None else _stopped_s(visit, rates)
        words = "a visit found no queen"
        return Sign("stopped", visit.at_s, visit.at_s, since_s, words, 0.97, is_sure=True)
    is_few = visit.adults is not None and visit.adults < FEW_BEES
    if visit.eggs is None or visit.queen in COMING or is_few or visit.is_hungry:
        return None
    if visit.eggs == 0:
        return _not_laying(visit, before, rates)
    laying = _laying(visit, hers)
    return laying if laying.what == "failing" else _lays_half(visit, hers) or laying


def _of_this_queen(before: Sequence[_Visit]) -> Sequence[_Visit]:
    """Leave out the visits from before laying broke off, or another queen was there or given."""
    breaks = [
        i
        for i, one in enumerate(before)
        if one.eggs == 0 or one.queen in COMING or one.actions & {"requeened", "united"}
    ]
    return before[breaks[-1] + 1 :] if breaks else before


def _usual(
    visit: _Visit, hers: Sequence[_Visit], rate: Callable[[_Visit], float | None], back_d: int
) -> float | None:
    """Give what she would lay on a visit's day by the visits so many days before it. [eggs/d].

    The mean of the last three of these, or of all where none is so old; after the height of the
    season less, as queens then lay less (Schmickl & Crailsheim 2007, see `signals/season.py`).
    """
    known = [(one, of_it) for one in hers if (of_it := rate(one)) is not None]
    earlier = [one for one in known if one[0].at_s <= visit.at_s - back_d * DAY_S] or known
    last = [of_it * min(visit.season / one.season, 1.0) for one, of_it in earlier[-USUAL_VISITS:]]
    return sum(last) / len(last) if last else None


def _not_laying(visit: _Visit, before: Sequence[_Visit], rates: Sequence[float]) -> Sign | None:
    """Say since when about a hive without eggs has none."""
    if visit.open is None or (visit.open == 0 and visit.capped is None):
        return None
    if visit.open > 0 and visit.queen == "seen":
        return None  # she pauses: before a swarm, or for want of food
    since_s = _stopped_s(visit, rates)
    eggs_s = [one.at_s for one in before if (one.eggs or 0) > 0]
    if eggs_s:
        since_s = max(since_s, eggs_s[-1] - EGG_D * DAY_S)
    words = f"a visit found no eggs, {visit.open} larvae, {visit.capped or 0} capped cells"
    told_s = visit.at_s + (SWARM_WAIT_S if visit.open > 0 and visit.cells else 0)
    confidence = 0.95 if visit.open == 0 and visit.queen != "seen" else 0.85
    is_raised = visit.cells > 0 and visit.queen != "seen"
    return Sign("stopped", visit.at_s, told_s, since_s, words, confidence, has_cells=is_raised)


def _lays_half(visit: _Visit, hers: Sequence[_Visit]) -> Sign | None:
    """Say whether all three weeks of brood are few beside what was, though there is food for more.

    One low class may be a pause; eggs, larvae and capped brood together are a queen that fades.
    """
    known = [one for one in hers if one.for_weeks]
    if not known or visit.cells or visit.a_day is None or visit.capped is None:
        return None
    was = _usual(visit, hers, lambda one: one.for_weeks or None, CAPPED_D) or 0.0
    best = max(known, key=lambda one: one.for_weeks or 0.0)
    most = max(visit.a_day, visit.capped / (CAPPED_D - OPEN_D))
    parted = any("split" in one.actions for one in known)
    food_kg = (visit.stores_kg or 0.0) - (best.stores_kg or 0.0)
    if parted or most >= HALF_SHARE * was or food_kg < -FOOD_SPARED_KG:
        return None
    since_s = max(visit.at_s - CAPPED_D * DAY_S, best.at_s)
    words = (
        f"three weeks' brood is of {visit.for_weeks:.0f} eggs a day, there were {was:.0f} before"
    )
    return Sign("failing", visit.at_s, visit.at_s, since_s, words, 0.7)


def _laying(visit: _Visit, hers: Sequence[_Visit]) -> Sign:
    """Say whether a queen that lays, lays as she did."""
    a_day = visit.a_day
    best = _usual(visit, hers, lambda one: one.a_day, OPEN_D)
    if a_day is not None and best is not None and not visit.cells:
        most = max((visit.eggs or 0) / EGG_D, (visit.open or 0) / LARVA_D)
        least = min(a_day, (visit.eggs or 0) / EGG_D)
        is_given = "requeened" in visit.actions and least < GIVEN_SHARE * best
        was_well = (visit.capped or 0) / (CAPPED_D - OPEN_D) >= PAUSE_SHARE * best
        least_a_day = min(FAILING_A_DAY * visit.season, FAILING_SHARE * best)
        if is_given or (most < least_a_day and not was_well):
            words = f"a visit found brood for {a_day:.0f} eggs a day, there were {best:.0f} before"
            return Sign("failing", visit.at_s, visit.at_s, visit.at_s - OPEN_D * DAY_S, words, 0.75)
    what: What = "lays little" if a_day is not None and a_day < FAILING_A_DAY else "lays"
    return Sign(what, visit.at_s, visit.at_s, visit.at_s, "a visit found eggs", 1.0)


def _stopped_s(visit: _Visit, rates: Sequence[float]) -> int:
    """Say from the brood that is left when laying stopped. [s].

    Eggs are gone three days after the last was laid, larvae nine, all brood twenty-one; what is
    left of the oldest stage tells how far that has gone.
    """
    a_day = max(rates[-1] if rates else USUAL_A_DAY, 1.0)
    if visit.open:
        ago_d = min(max(OPEN_D - visit.open / a_day, EGG_D), OPEN_D)
    elif visit.capped:
        ago_d = min(max(CAPPED_D - visit.capped / a_day, OPEN_D), CAPPED_D)
    else:
        ago_d = float(CAPPED_D)
    return round(visit.at_s - ago_d * DAY_S)
