"""What holds for a colony on its way from one visit to the next, whatever people and sensors say.

The balance of each member is drawn up from outside: what the day's step says emerged and died, and
what the course then takes away as a swarm or as lost foragers, or a visit puts right.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from hivewatch.comb import CombCount, Range
from hivewatch.comb import course as along
from hivewatch.comb.assimilate import INFLATION
from hivewatch.comb.colony import Colony, Ledger
from hivewatch.comb.course import Course, begin, meet, run_to
from hivewatch.comb.done import MOST_LEAVE
from hivewatch.comb.outlook import Hive, Outlook, look_ahead
from hivewatch.comb.sensed import Sensed
from hivewatch.comb.start import Visit

DAY = date(2026, 5, 4)
MEMBERS = 30
LATITUDES = st.sampled_from([-37.0, 0.0, 35.0, 48.0, 60.0])
DAYS = st.integers(0, 364).map(lambda number: DAY + timedelta(days=number))
VISITS = st.builds(
    lambda day, cells, adults: Visit(day, CombCount(*cells), adults),
    DAYS,
    st.tuples(st.integers(0, 5000), st.integers(0, 9000), st.integers(1, 18000)),
    st.one_of(st.none(), st.integers(500, 60000)),
)


def bees(course: Course) -> np.ndarray:
    return np.asarray(course.colony.adults[0], np.float64)


def parts(colony: Colony) -> list[np.ndarray]:
    return [colony.house.sum(axis=0)[0], colony.foragers.sum(axis=0)[0], colony.winter[0]]


def whole(course: Course) -> bool:
    values = [*vars(course.colony).values(), *vars(course.traits).values()]
    return all(np.isfinite(part).all() and part.min() >= 0 for part in values)


@given(
    VISITS,
    LATITUDES,
    st.integers(0, 2**32),
    st.tuples(st.booleans(), st.floats(1, 40000), st.floats(0.05, 0.6)),
    st.one_of(st.none(), st.floats(1, 20000)),
)
@settings(max_examples=40, deadline=None)
def test_no_bee_is_lost_on_the_way_but_those_that_left(
    visit: Visit,
    latitude: float,
    seed: int,
    swarm: tuple[bool, float, float],
    lost: float | None,
) -> None:
    day = visit.day + timedelta(days=3)
    has_swarmed, left, error = swarm
    swarms = {day: (left, error)} if has_swarmed else {}
    losses = {day: lost} if lost is not None else {}
    before = run_to(begin(visit, seed, latitude, Sensed(), MEMBERS), day - timedelta(days=1))
    told: list[Ledger] = []
    step = along.advance_one_day

    def noted(*words: object) -> object:
        after = step(*words)  # type: ignore[arg-type]
        told.append(after[2])
        return after

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(along, "advance_one_day", noted)
        stayed = run_to(before, day)
        after = run_to(replace(before, sensed=Sensed(swarms=swarms, losses=losses)), day)
    assert whole(before)
    assert whole(after)
    for end, ledger in zip((stayed, after), told, strict=True):
        kept = bees(before) + ledger.emerged[0] - ledger.died[0]
        gone = kept - bees(end)
        slack = 1e-5 * kept + 1e-3
        assert (gone >= -slack).all()
        if end is stayed:
            assert (gone <= slack).all()
            continue
        most = MOST_LEAVE * kept if has_swarmed else 0.0
        at_most_lost = lost or 0.0
        assert (gone <= most + at_most_lost + slack).all()
        if not has_swarmed and lost is None:
            assert (gone <= slack).all()
        if has_swarmed and lost is None:
            # of all ages and works alike: each part loses the same share, which is the swarm
            share = gone / np.maximum(kept, 1e-9)
            for mine, theirs in zip(parts(end.colony), parts(stayed.colony), strict=True):
                assert mine == pytest.approx(theirs * (1 - share), rel=1e-3, abs=0.05)
            assert (end.colony.brood <= stayed.colony.brood + 1e-3).all()


@given(VISITS, VISITS, LATITUDES, st.integers(0, 2**32), st.integers(1, 20))
@settings(max_examples=40, deadline=None)
def test_no_visit_turns_a_cohort_negative_or_into_nonsense(
    first: Visit, second: Visit, latitude: float, seed: int, days: int
) -> None:
    later = first.day + timedelta(days=days)
    course = run_to(begin(first, seed, latitude, Sensed(), MEMBERS), later)
    assert whole(course)
    met = meet(course, replace(second, day=later))
    assert whole(met)
    assert whole(run_to(met, later + timedelta(days=2)))


def ranges(ahead: Outlook) -> list[Range]:
    return [
        *ahead.laying.values(),
        *ahead.brood.values(),
        *ahead.adults.values(),
        *ahead.foragers.values(),
        *ahead.emerging.values(),
    ]


@given(VISITS, LATITUDES, st.integers(0, 2**32), st.integers(0, 10))
@settings(max_examples=8, deadline=None)
def test_of_an_outlook_half_lies_in_eight_tenths_and_those_in_nineteen_twentieths(
    visit: Visit, latitude: float, seed: int, days: int
) -> None:
    hive = Hive("h", latitude, seed=seed)
    now = visit.day + timedelta(days=days)
    half, most, nearly_all = (
        look_ahead(hive, [visit], now, members=MEMBERS, within=part) for part in (0.5, 0.8, 0.95)
    )
    assert half is not None
    assert most is not None
    assert nearly_all is not None
    for inner, outer in ((half, most), (most, nearly_all)):
        for a, b in zip(ranges(inner), ranges(outer), strict=True):
            assert b.low <= a.low <= a.median == b.median <= a.high <= b.high
    assert nearly_all.adults[0].high - nearly_all.adults[0].low > (
        most.adults[0].high - most.adults[0].low
    )


def width(course: Course) -> tuple[float, float]:
    """Give how wide the present's 80 % ranges are, log scale: of the bees, and of all there is."""
    brood = [np.asarray(course.colony.brood_class(place)[0], np.float64) for place in range(3)]
    wide = []
    for there in (bees(course), *brood):
        low, high = np.quantile(np.maximum(there, 1.0), [0.1, 0.9])
        wide.append(float(np.log(high / low)))
    return wide[0], float(np.mean(wide))


@given(
    st.floats(0.5, 1.5),
    st.integers(3, 14),
    st.sampled_from(["all", "brood", "adults", "capped", "eggs"]),
)
@settings(max_examples=6, deadline=None, phases=[Phase.explicit, Phase.generate])
@example(1.0, 7, "all")
@example(1.0, 7, "capped")
@example(1.0, 7, "adults")
def test_a_count_more_never_widens_the_present_on_average(
    strength: float, days: int, what: str
) -> None:
    """Over a dozen hives, whose second count is what the colony may be, miscounted.

    The present is bees and brood together. A count of one class of brood alone says less than the
    filter's inflation takes away, and may widen it by that, 5 % at the most.
    """
    rng = np.random.default_rng(days)
    first = Visit(DAY, CombCount(*(round(strength * n) for n in (3900, 7600, 15100))), None)
    later = DAY + timedelta(days=days)
    without, with_one = [], []
    for seed in range(12):
        course = run_to(begin(first, seed, 48.0, Sensed(), 80), later)
        member = int(rng.integers(0, 80))
        off = np.exp(0.175 * rng.standard_normal(4))
        cells = [
            round(float(course.colony.brood_class(place)[0, member] * off[place]))
            for place in range(3)
        ]
        counts = {
            "adults": None,
            "capped": CombCount(capped=cells[2]),
            "eggs": CombCount(eggs=cells[0]),
        }
        adults = round(float(bees(course)[member] * off[3])) if what in ("all", "adults") else None
        without.append(width(course))
        with_one.append(
            width(meet(course, Visit(later, counts.get(what, CombCount(*cells)), adults)))
        )
    (bees_before, before), (bees_after, after) = np.mean(without, axis=0), np.mean(with_one, axis=0)
    assert after <= INFLATION * before
    assert bees_after <= INFLATION * 1.01 * bees_before
    if what in ("all", "brood", "adults"):
        assert after < before
    if adults is not None:
        assert bees_after < bees_before


@given(st.floats(0.5, 1.5), st.sampled_from(["flights", "dawn"]), st.integers(0, 2))
@settings(max_examples=4, deadline=None, phases=[Phase.explicit, Phase.generate])
@example(1.0, "flights", 0)
@example(1.0, "dawn", 0)
def test_a_sensor_more_never_widens_the_present_on_average(
    strength: float, sign: str, weeks: int
) -> None:
    """Over two dozen hives, whose foragers are those of one member, and counted with an error."""
    rng = np.random.default_rng(weeks)
    first = Visit(DAY, CombCount(*(round(strength * n) for n in (3900, 7600, 15100))), None)
    last = DAY + timedelta(days=7 * (weeks + 1))
    without, with_it = [], []
    for seed in range(24):
        alone = begin(first, seed, 48.0, Sensed(), 80)
        member, told = int(rng.integers(0, 80)), {}
        through = [0, 2] if sign == "flights" else [1, 2]
        while alone.day < last:
            alone = run_to(alone, alone.day + timedelta(days=7))
            fly = np.log(max(1.0, float(alone.colony.foragers[:, 0, member].sum())))
            fly += float(alone.own[through, member].sum())
            told[alone.day] = (float(fly + 0.3 * rng.standard_normal()), 0.3)
        sensed = Sensed(**{sign: told})
        followed = run_to(begin(first, seed, 48.0, sensed, 80), last)
        without.append(width(alone))
        with_it.append(width(followed))
    (bees_before, before), (bees_after, after) = np.mean(without, axis=0), np.mean(with_it, axis=0)
    assert bees_after < bees_before
    assert after < 1.002 * before
