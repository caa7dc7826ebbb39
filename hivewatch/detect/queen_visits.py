"""What a visit says of the queen: laying has stopped, or fails, or goes on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from hivewatch.detect.queen_counts import CAPPED_D, EGG_D, LARVA_D, OPEN_D, Visit, read
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import unless_same
from hivewatch.signals.days import DAY_S
from hivewatch.signals.window import HiveWindow

USUAL_A_DAY = 1200.0  # [eggs/d] own choice: where no visit before has counted brood
REMEMBERED_S = 60 * DAY_S  # [s] own choice: visits that tell what a queen laid
USUAL_VISITS = 3  # own choice: whose mean that is: a single count errs by 10 to 25 %
FAILING_SHARE = 0.6  # own choice: of what she laid; counts err by an eighth
FAILING_A_DAY = 450.0  # [eggs/d] own choice: a third of what a queen lays in the season
GIVEN_SHARE = 0.65  # own choice: the same where the keeper thought her poor enough to replace
PAUSE_SHARE = 0.75  # own choice: of the best; with so much capped she only pauses, as in a dearth
FEW_BEES = 2000  # [bees] own choice: fewer keep no brood warm
HALF_SHARE = 0.6  # own choice: laid in all of three weeks, of the best before, while food came in
FOOD_SPARED_KG = 1.0  # [kg] own choice: the error of judging it; with less than then she may rest
FADES_S = 90 * DAY_S  # [s] own choice: a queen fades for weeks, so visits of a quarter tell it
FADES_APART_S = LARVA_D * DAY_S  # [s] published: the larvae of the visit before are capped since
FADES_WITHIN_S = 35 * DAY_S  # [s] own choice: in between two later ones all may have happened
FADES_FALL = 0.5  # own choice: power of the fall by season, where the bees stay many
FADES_SEASON = 0.45  # own choice: of the most by season; later it falls by itself, as it likes
FADES_SHARE = 0.75  # own choice: of what is usual, at each of both visits; counts err by a sixth
NO_FEWER = 1.2  # own choice: so many times the bees of the visit before, and no swarm has left
NO_FEWER_S = 21 * DAY_S  # [s] published: after it, other bees have come out of the eggs of then
SWARM_WAIT_S = 4 * DAY_S  # [s] published: no eggs from three days before a swarm leaves
COMING = frozenset({"virgin", "new"})

What = Literal["stopped", "failing", "lays", "lays little", "requeened", "hungry", "all here"]


@dataclass(frozen=True, slots=True)
class Sign:
    """What was seen, and since when laying is as it is.

    Parameters
    ----------
    what : str
        Laying has `stopped`, is `failing`, goes on (`lays`, `lays little`), or a queen was given;
        or the bees were `hungry`, so that their brood says nothing of her, or were no fewer than
        at the visit before (`all here`).
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
    visits = sorted((read(window, one) for one in seen), key=lambda one: one.at_s)
    signs: list[Sign] = []
    for i, visit in enumerate(visits):
        signs += [one for one in (_sign(visit, visits[:i]),) if one is not None]
        if visit.is_hungry:
            signs.append(Sign("hungry", visit.at_s, visit.at_s, visit.at_s, "no food", 1.0))
        signs += [one for one in (_all_here(visit, visits[:i]),) if one is not None]
        if visit.actions & {"requeened", "united"}:
            signs.append(
                Sign("requeened", visit.at_s, visit.at_s, visit.at_s, "a queen given", 1.0)
            )
    return signs


def _sign(visit: Visit, before: Sequence[Visit]) -> Sign | None:
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
    if laying.what == "failing":
        return laying
    lately = _of_this_queen([one for one in before if visit.at_s - one.at_s <= FADES_S])
    return _lays_half(visit, hers) or _fades(visit, lately) or laying


def _all_here(visit: Visit, before: Sequence[Visit]) -> Sign | None:
    """Say whether there are clearly more bees than at the visit before."""
    if not before or not before[-1].adults or visit.at_s - before[-1].at_s > NO_FEWER_S:
        return None
    if (visit.adults or 0) < NO_FEWER * before[-1].adults or "united" in visit.actions:
        return None
    return Sign("all here", visit.at_s, visit.at_s, before[-1].at_s, "more bees than before", 1.0)


def _of_this_queen(before: Sequence[Visit]) -> Sequence[Visit]:
    """Leave out the visits from before laying broke off, or another queen was there or given."""
    breaks = [
        i
        for i, one in enumerate(before)
        if one.eggs == 0 or one.queen in COMING or one.actions & {"requeened", "united"}
    ]
    return before[breaks[-1] + 1 :] if breaks else before


def _usual(
    visit: Visit, hers: Sequence[Visit], rate: Callable[[Visit], float | None], back_d: int
) -> float | None:
    """Give what she would lay on a visit's day by the visits so many days before it. [eggs/d].

    The mean of the last three of these, or of all where none is so old; after the height of the
    season less, as queens then lay less (Schmickl & Crailsheim 2007, see `signals/season.py`).
    """
    known = [(one, of_it) for one in hers if (of_it := rate(one)) is not None]
    earlier = [one for one in known if one[0].at_s <= visit.at_s - back_d * DAY_S] or known
    last = [of_it * min(visit.season / one.season, 1.0) for one, of_it in earlier[-USUAL_VISITS:]]
    return sum(last) / len(last) if last else None


def _not_laying(visit: Visit, before: Sequence[Visit], rates: Sequence[float]) -> Sign | None:
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


def _lays_half(visit: Visit, hers: Sequence[Visit]) -> Sign | None:
    """Say whether all three weeks of brood are few beside what was, though there is food for more.

    One low class may be a pause; eggs, larvae and capped brood together are a queen that fades.
    """
    known = [one for one in hers if one.for_weeks]
    if not known or visit.cells or visit.a_day is None or visit.capped is None or not visit.open:
        return None  # with eggs and no larvae she has but begun
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


def _fades(visit: Visit, hers: Sequence[Visit]) -> Sign | None:
    """Say whether two visits, weeks apart, found far less than she laid: no bad week does so."""
    counted = [one for one in hers if one.a_day]
    earlier = [one for one in counted if visit.at_s - one.at_s >= FADES_APART_S]
    if visit.a_day is None or not earlier or visit.season < FADES_SEASON:
        return None
    last = earlier[-1]
    before = [one for one in earlier if last.at_s - one.at_s >= FADES_APART_S][-USUAL_VISITS:]
    is_other = any(one.cells or "split" in one.actions for one in (*before, last, visit))
    if visit.at_s - last.at_s > FADES_WITHIN_S or not before or is_other or last.is_hungry:
        return None
    shares = []
    for one in (last, visit):
        usual = [
            (was.a_day or 0.0) * min(one.season / was.season, 1.0) ** FADES_FALL for was in before
        ]
        shares.append(one.most_a_day * len(usual) / sum(usual))
    if max(shares) >= FADES_SHARE or sum(shares) / 2 >= FAILING_SHARE:
        return None
    words = f"two visits found brood for {shares[0]:.0%} and {shares[1]:.0%} of what she laid"
    return Sign("failing", visit.at_s, visit.at_s, last.at_s - OPEN_D * DAY_S, words, 0.75)


def _laying(visit: Visit, hers: Sequence[Visit]) -> Sign:
    """Say whether a queen that lays, lays as she did."""
    a_day = visit.a_day
    best = _usual(visit, hers, lambda one: one.a_day, OPEN_D)
    if a_day is not None and best is not None and not visit.cells:
        most = visit.most_a_day
        least = min(a_day, (visit.eggs or 0) / EGG_D)
        is_given = "requeened" in visit.actions and least < GIVEN_SHARE * best
        was_well = (visit.capped or 0) / (CAPPED_D - OPEN_D) >= PAUSE_SHARE * best
        least_a_day = min(FAILING_A_DAY * visit.season, FAILING_SHARE * best)
        if is_given or (most < least_a_day and not was_well):
            words = f"a visit found brood for {a_day:.0f} eggs a day, there were {best:.0f} before"
            return Sign("failing", visit.at_s, visit.at_s, visit.at_s - OPEN_D * DAY_S, words, 0.75)
    what: What = "lays little" if a_day is not None and a_day < FAILING_A_DAY else "lays"
    return Sign(what, visit.at_s, visit.at_s, visit.at_s, "a visit found eggs", 1.0)


def _stopped_s(visit: Visit, rates: Sequence[float]) -> int:
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
