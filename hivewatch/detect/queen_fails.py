"""When a queen lays far less than she did: by one visit that is clear, or by two."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from hivewatch.detect.queen_counts import CAPPED_D, EGG_D, LARVA_D, OPEN_D, Sign, Visit
from hivewatch.signals.days import DAY_S

LEAST_VISITS = 2  # own choice: a single count may be twice too high
USUAL_VISITS = 3  # own choice: whose mean that is: a single count errs by 10 to 25 %
FAILING_SHARE = 0.6  # own choice: of what she laid; counts err by an eighth
FAILING_A_DAY = 450.0  # [eggs/d] own choice: a third of what a queen lays in the season
GIVEN_SHARE = 0.65  # own choice: the same where the keeper thought her poor enough to replace
PAUSE_SHARE = 0.75  # own choice: of the best; with so much capped she only pauses, as in a dearth
OFF_SHARE = 0.45  # own choice: of eggs and larvae, while food comes in; so far no count errs
BEST_SHARE = 0.8  # own choice: the best of a few counts, each a sixth off, is a fifth too high
HALF_SHARE = 0.6  # own choice: laid in all of three weeks, of the best before, while food came in
FOOD_SPARED_KG = 1.0  # [kg] own choice: the error of judging it; with less than then she may rest
FADES_APART_S = LARVA_D * DAY_S  # [s] published: the larvae of the visit before are capped since
FADES_WITHIN_S = 35 * DAY_S  # [s] own choice: in between two later ones all may have happened
FADES_FALL = 0.5  # own choice: power of the fall by season, where the bees stay many
FADES_SEASON = 0.45  # own choice: of the most by season; later it falls by itself, as it likes
FADES_SHARE = 0.75  # own choice: of what is usual, at each of both visits; counts err by a sixth
NO_FEWER = 1.2  # own choice: so many times the bees of the visit before, and no swarm has left
ALL_SHARE = 0.7  # own choice: of three weeks' brood before; one bad week takes a third of it


def fails(visit: Visit, hers: Sequence[Visit], lately: Sequence[Visit]) -> Sign | None:
    """Say whether a queen who lays fails.

    Parameters
    ----------
    visit : Visit
        One that counted her eggs.
    hers, lately : Sequence[Visit]
        Those before of the same queen, of two months and of three.
    """
    return (
        _lays_little(visit, hers)
        or _lays_half(visit, hers)
        or _falls_off(visit, hers)
        or _fades(visit, lately)
    )


def _lays_little(visit: Visit, hers: Sequence[Visit]) -> Sign | None:
    """Say whether she lays far less than she did, or so little that the keeper replaced her."""
    a_day, best = visit.a_day, _usual(visit, hers, lambda one: one.a_day, OPEN_D)
    if a_day is None or best is None or visit.cells:
        return None
    least = min(a_day, (visit.eggs or 0) / EGG_D)
    is_given = "requeened" in visit.actions and least < GIVEN_SHARE * best
    was_well = (visit.capped or 0) / (CAPPED_D - OPEN_D) >= PAUSE_SHARE * best
    least_a_day = min(FAILING_A_DAY * visit.season, FAILING_SHARE * best)
    all_told = _usual(visit, hers, lambda one: one.for_weeks, OPEN_D)
    is_all = visit.for_weeks is None or not all_told or visit.for_weeks < ALL_SHARE * all_told
    if not is_given and (visit.most_a_day >= least_a_day or was_well or not is_all):
        return None
    words = f"a visit found brood for {a_day:.0f} eggs a day, there were {best:.0f} before"
    return Sign("failing", visit.at_s, visit.at_s, visit.at_s - OPEN_D * DAY_S, words, 0.75)


def _lays_half(visit: Visit, hers: Sequence[Visit]) -> Sign | None:
    """Say whether all three weeks of brood are few beside what was, though there is food for more.

    One low class may be a pause; eggs, larvae and capped brood together are a queen that fades.
    """
    known = [one for one in hers if one.for_weeks]
    if (
        len(known) < LEAST_VISITS
        or visit.cells
        or visit.a_day is None
        or visit.capped is None
        or not visit.open
    ):
        return None  # with eggs and no larvae she has but begun
    best = max(known, key=lambda one: one.for_weeks or 0.0)
    usual = [
        (one.for_weeks or 0.0) * min(visit.season / one.season, 1.0) ** FADES_FALL
        for one in (best, *known[-LEAST_VISITS:])
    ]
    was = max(BEST_SHARE * usual[0], sum(usual[1:]) / LEAST_VISITS)
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


def _falls_off(visit: Visit, hers: Sequence[Visit]) -> Sign | None:
    """Say whether eggs and larvae are both so few, while food comes in, that no pause does so."""
    counted = [one for one in hers if one.a_day][-USUAL_VISITS:]
    if len(counted) < LEAST_VISITS or visit.a_day is None:
        return None
    is_harvested = "harvested" in visit.actions
    eats_up = not is_harvested and (visit.stores_kg or 0.0) < (counted[-1].stores_kg or 0.0)
    is_late = visit.season < FADES_SEASON
    is_fewer = (visit.adults or 0) < (counted[-1].adults or 0) / NO_FEWER
    is_other = is_late or is_fewer or any("split" in one.actions for one in counted)
    if visit.cells or is_other or eats_up:
        return None
    was = sum(
        (one.a_day or 0.0) * min(visit.season / one.season, 1.0) ** FADES_FALL for one in counted
    ) / len(counted)
    if visit.a_day >= OFF_SHARE * was or visit.most_a_day >= FAILING_SHARE * was:
        return None
    words = (
        f"a visit found eggs and larvae for {visit.a_day:.0f} a day, there were {was:.0f} before"
    )
    since_s = max(visit.at_s - OPEN_D * DAY_S, counted[-1].at_s)
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
