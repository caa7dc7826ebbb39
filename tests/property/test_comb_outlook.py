"""The outlook on made-up colonies whose truth is known, played by another model than the program's.

Every day's bees are dealt out at birth: each egg cohort its share of losses, each bee its first
flight (about day 21, its colony's own) and its days of flying weather (10 to 21 on average, common
practice, no source). Laying is a bell over the season with weather that comes and goes. Winter bees
die off in spring. People miscount by 10 to 25 % and come every 7 to 14 days.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pytest

from hivewatch.comb import CombCount
from hivewatch.comb.outlook import Hive, Outlook, look_ahead
from hivewatch.comb.start import Visit

pytestmark = pytest.mark.slow

FIRST = date(2026, 1, 1)
DAYS = 330


@dataclass(frozen=True)
class Truth:
    """Daily truth by index from `FIRST`."""

    laid: np.ndarray
    brood: np.ndarray  # (day, age)
    adults: np.ndarray
    foragers: np.ndarray
    emerging: np.ndarray


def live(rng: np.random.Generator) -> Truth:
    """Play one colony from January to November."""
    days = np.arange(DAYS)
    weather = np.zeros(DAYS)
    for day in days[1:]:
        weather[day] = 0.8 * weather[day - 1] + rng.normal(0, 0.07)
    peak, width, best = rng.normal(158, 8), rng.normal(48, 5), rng.uniform(1200, 1950)
    laid = best * np.exp(-0.5 * ((days - peak) / width) ** 2 + weather)
    laid[(days < 35) | (days > 290)] = 0
    flying = np.clip(
        0.7 * np.exp(-0.5 * ((days - 190) / 60) ** 2) + 0.1 + rng.normal(0, 0.25, DAYS), 0, 1
    )
    loss = np.concatenate([np.full(3, 0.02), np.full(6, 0.012), np.full(12, 0.001)])
    loss = loss * rng.uniform(0.0, 1.2)
    onset, spread = rng.normal(21, 1.5), rng.uniform(2, 4)
    house_death, forager_death = rng.uniform(0.002, 0.008), 1 / rng.uniform(10, 21)
    brood = np.zeros((DAYS, 21))
    house, foragers, winter = np.zeros(80), 0.0, rng.uniform(9000, 15000)
    ages = np.arange(80)
    z = (ages - (onset - 2)) / spread  # so that first flights are at `onset` on average
    out = np.clip(1 / (1 + np.exp(-1.7 * z)) ** 1.2, 0, 1) * 0.4
    adults, field, emerging = np.zeros(DAYS), np.zeros(DAYS), np.zeros(DAYS)
    now = np.zeros(21)
    for day in days:
        grown = now * (1 - loss)
        born = grown[-1]
        now = np.concatenate([[laid[day]], grown[:-1]])
        house *= 1 - house_death
        leave = house * out
        house = np.concatenate([[born if day < 245 else 0.0], (house - leave)[:-1]])
        foragers = foragers * (1 - forager_death * flying[day]) + leave.sum()
        old = 0.003 + (0.03 * flying[day] if 70 < day < 200 else 0.0)
        winter = winter * (1 - old) + (born if day >= 245 else 0.0)
        brood[day], adults[day] = now, house.sum() + foragers + winter
        field[day], emerging[day] = foragers, born
    return Truth(laid, brood, adults, field, emerging)


def visit(
    truth: Truth, day: int, rng: np.random.Generator, *, brood: bool = True, adults: bool = True
) -> Visit:
    """Let somebody count it."""
    error = rng.uniform(0.10, 0.25)
    off = np.exp(error * rng.normal(size=4))
    now = truth.brood[day]
    cells = [now[:3].sum() * off[0], now[3:9].sum() * off[1], now[9:].sum() * off[2]]
    cells = [round(n) for n in cells]
    return Visit(
        FIRST + timedelta(days=day),
        CombCount(*cells) if brood else None,
        round(truth.adults[day] * off[3]) if adults else None,
    )


@dataclass
class Score:
    """Errors on the log scale and whether the range held, by days ahead."""

    off: dict[int, list[float]]
    held: dict[int, list[bool]]
    laying_off: list[float]
    laying_held: list[bool]
    as_last: list[float]
    nobody_dies: list[float]
    width: list[float]


def play(seed: int, hives: int, visits: int, *, adults: bool = True) -> Score:
    """Visit hives, look ahead on the day of the last visit, and compare."""
    rng = np.random.default_rng(seed)
    score = Score(
        {d: [] for d in (0, 7, 14, 21)}, {d: [] for d in (0, 7, 14, 21)}, *([] for _ in "abcde")
    )
    for number in range(hives):
        truth = live(rng)
        now = day = int(rng.integers(110, 250))
        seen = []
        for _ in range(visits):
            seen.append(visit(truth, day, rng, adults=adults))
            day -= int(rng.integers(7, 15))
        ahead = look_ahead(Hive("h", 48.0, seed=number), seen, FIRST + timedelta(days=now))
        if ahead is not None:
            compare(score, ahead, truth, now, seen[0])
    return score


def compare(score: Score, ahead: Outlook, truth: Truth, now: int, last: Visit) -> None:
    for days, off in score.off.items():
        bees, span = truth.adults[now + days], ahead.adults[days]
        off.append(float(np.log(span.median / bees)))
        score.held[days].append(span.low <= bees <= span.high)
    for days in (1, 2, 3):
        laid, span = truth.laid[now - days + 1], ahead.laying[-days]
        score.laying_off.append(float(np.log(span.median / laid)))
        score.laying_held.append(span.low <= laid <= span.high)
    score.width.append(float(np.log(ahead.adults[0].high / ahead.adults[0].low)))
    if last.adults is not None and last.count is not None:
        then = truth.adults[now + 21]
        score.as_last.append(float(np.log(last.adults / then)))
        brood = sum(cells for cells in last.count.cells if cells)
        score.nobody_dies.append(float(np.log((last.adults + brood) / then)))


def middle(off: list[float]) -> float:
    return float(np.median(np.abs(off)))


def test_four_visits_foretell_three_weeks() -> None:
    """Errors at 7, 14, 21 days at most 6, 9, 12 % with sensors, half as much again without."""
    score = play(20260601, 120, 4)
    for days, most in ((7, 0.09), (14, 0.135), (21, 0.18)):
        assert middle(score.off[days]) <= most, (days, middle(score.off[days]))
        assert 0.72 <= np.mean(score.held[days]) <= 0.93, (days, np.mean(score.held[days]))
    assert middle(score.laying_off) <= 0.12
    # as for the bees: queens here stray less than those of the program, who may be short of cells,
    # and the three days of a hive count as one (five seeds: 0.85 to 0.89)
    assert 0.70 <= np.mean(score.laying_held) <= 0.93
    # both things that one would say without a model
    assert middle(score.off[21]) < 0.6 * middle(score.as_last)
    assert middle(score.off[21]) < 0.6 * middle(score.nobody_dies)


def test_one_visit_foretells_as_well_as_it_was_counted() -> None:
    score = play(20260602, 120, 1)
    for days, most in ((0, 0.14), (7, 0.135), (14, 0.135), (21, 0.135)):
        assert middle(score.off[days]) <= most, (days, middle(score.off[days]))
        assert 0.70 <= np.mean(score.held[days]) <= 0.93, (days, np.mean(score.held[days]))


def test_without_a_count_of_bees_the_range_is_wider_and_still_holds() -> None:
    score = play(20260603, 60, 2, adults=False)
    counted = play(20260603, 60, 2)
    assert np.mean(score.held[21]) >= 0.75
    assert np.mean(score.width) > 1.2 * np.mean(counted.width)


def test_more_visits_never_widen_the_present_on_average() -> None:
    widths = [np.mean(play(20260604, 40, visits).width) for visits in (1, 2, 4)]
    assert widths[0] > widths[1] > widths[2]
