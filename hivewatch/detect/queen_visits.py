"""What a visit says of the queen: laying has stopped, or fails, or goes on."""

from __future__ import annotations

from collections.abc import Sequence

from hivewatch.detect.queen_counts import CAPPED_D, EGG_D, OPEN_D, Sign, Visit, What, read
from hivewatch.detect.queen_fails import FAILING_A_DAY, NO_FEWER, fails
from hivewatch.inspections import Inspection
from hivewatch.signals.carried import unless_same
from hivewatch.signals.days import DAY_S
from hivewatch.signals.window import HiveWindow

USUAL_A_DAY = 1200.0  # [eggs/d] own choice: where no visit before has counted brood
REMEMBERED_S = 60 * DAY_S  # [s] own choice: visits that tell what a queen laid
FEW_BEES = 2000  # [bees] own choice: fewer keep no brood warm
FADES_S = 90 * DAY_S  # [s] own choice: a queen fades for weeks, so visits of a quarter tell it
NO_FEWER_S = 21 * DAY_S  # [s] published: after it, other bees have come out of the eggs of then
SWARM_WAIT_S = 4 * DAY_S  # [s] published: no eggs from three days before a swarm leaves
YOUNG_S = 2 * CAPPED_D * DAY_S  # [s] own choice: until bees of her first brood nurse the next
RAISED_S = 2 * DAY_S  # [s] published: emergency cells are open from day 0 to 5 after her loss
LEAVES_S = 8 * DAY_S  # [s] published: open cells are capped, and a swarm has left, within that
COMING = frozenset({"virgin", "new"})


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
        return _laying(visit) if visit.eggs is None and visit.queen == "eggs seen" else None
    if visit.eggs == 0 and visit.queen != "eggs seen":
        return _not_laying(visit, before, rates)
    if visit.cells and visit.queen == "not seen" and visit.stage == "open":
        return _raised(visit)
    laying = _laying(visit)
    if not visit.open or visit.is_short or _is_young(visit, before):
        return laying
    lately = _of_this_queen([one for one in before if visit.at_s - one.at_s <= FADES_S])
    return fails(visit, hers, lately) or laying


def _raised(visit: Visit) -> Sign:
    """Say that the bees raise a queen where nobody saw one: hers are the last eggs.

    Before a swarm she walks about among open cells; when they are capped she leaves with it, and a
    departure in time explains it.
    """
    since_s, told_s = visit.at_s - RAISED_S, visit.at_s + LEAVES_S
    words = f"a visit found {visit.cells} open queen cells and no queen, and no swarm has left"
    return Sign("stopped", visit.at_s, told_s, since_s, words, 0.8, has_cells=True)


def _is_young(visit: Visit, before: Sequence[Visit]) -> bool:
    """Say whether all brood is of weeks in which the bees hungered, or she is a new queen.

    The bees that nurse a new queen's brood are few until her own come out.
    """
    hungry = [one.at_s for one in before if one.is_hungry]
    breaks = [one.at_s for one in before if _breaks(one)]
    return (bool(hungry) and visit.at_s - hungry[-1] <= CAPPED_D * DAY_S) or (
        bool(breaks) and visit.at_s - breaks[-1] <= YOUNG_S
    )


def _all_here(visit: Visit, before: Sequence[Visit]) -> Sign | None:
    """Say whether there are clearly more bees than at the visit before."""
    if not before or not before[-1].adults or visit.at_s - before[-1].at_s > NO_FEWER_S:
        return None
    if (visit.adults or 0) < NO_FEWER * before[-1].adults or "united" in visit.actions:
        return None
    return Sign("all here", visit.at_s, visit.at_s, before[-1].at_s, "more bees than before", 1.0)


def _of_this_queen(before: Sequence[Visit]) -> Sequence[Visit]:
    """Leave out the visits from before laying broke off, or another queen was there or given."""
    breaks = [i for i, one in enumerate(before) if _breaks(one)]
    return before[breaks[-1] + 1 :] if breaks else before


def _breaks(visit: Visit) -> bool:
    """Say whether no queen laid then or before, or another one was there or given."""
    has_begun = bool(visit.eggs) and visit.open == 0 and not visit.capped
    is_other = visit.queen in COMING or bool(visit.actions & {"requeened", "united"})
    return visit.eggs == 0 or has_begun or is_other


def _not_laying(visit: Visit, before: Sequence[Visit], rates: Sequence[float]) -> Sign | None:
    """Say since when about a hive without eggs has none."""
    if visit.open is None or (visit.open == 0 and visit.capped is None):
        return None
    if visit.open > 0 and (visit.queen == "seen" or visit.is_short):
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


def _laying(visit: Visit) -> Sign:
    """Say that a queen lays, and whether it is much."""
    is_little = visit.a_day is not None and visit.a_day < FAILING_A_DAY
    what: What = "lays little" if is_little else "lays"
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
