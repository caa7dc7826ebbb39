"""What the nest says of a loss of bees: on made-up courses of its warmth, and on real nests.

The recording: Abdollahi M. et al. (2024), "UrBAN: Urban Beehive Acoustics and PheNotyping Dataset",
Federated Research Data Repository, doi:10.20383/103.0972 (CC BY 4.0; tests/data/montreal-2021).
"""

from __future__ import annotations

import csv
import gzip
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from hivewatch.signals.turns import Asked, Said, nest_said
from hivewatch.signals.window import Series

RECORDED = Path(__file__).parents[2] / "data" / "montreal-2021" / "readings.csv.gz"
HOUR = 3600
LOSS_S = 100 * HOUR
OVER_S = LOSS_S + 900


def nest(step_s: int = 300, *, drift_k_per_h: float = 0.0, level: float = 35.0) -> Series:
    """Give a calm nest from five hours before a loss to three hours after it."""
    time_s = np.arange(LOSS_S - 5 * HOUR, LOSS_S + 3 * HOUR, step_s)
    return Series(time_s, level + drift_k_per_h * (time_s - LOSS_S) / HOUR)


def warmed(series: Series, by_k: float, *, then_k: float = -1.5) -> Series:
    """Let the nest warm up for a quarter of an hour, and be cooler after the loss."""
    value = series.value.copy()
    value[(series.time_s > LOSS_S - 900) & (series.time_s <= LOSS_S + 600)] += by_k
    value[series.time_s > LOSS_S + 600] += then_k
    return Series(series.time_s, value)


def said(series: Series, last_s: int | None = None, asked: Asked = "weighed") -> Said:
    last_s = int(series.time_s[-1]) if last_s is None else last_s
    return nest_said(series, LOSS_S, OVER_S, last_s, asked)


@pytest.mark.parametrize("step_s", [60, 300, 900])
def test_a_nest_that_warms_up_says_swarm_before_the_last_bee_has_left(step_s: int) -> None:
    one = said(warmed(nest(step_s), 2.0))
    assert (one.what, round(one.warmer_k, 1)) == ("swarm", 2.0)
    assert one.told_s <= OVER_S


def test_a_nest_that_stays_as_it_was_denies_it() -> None:
    assert said(nest()).what == "still"


def test_an_opened_nest_has_cooled_and_not_warmed_up() -> None:
    opened = warmed(nest(), 0.0, then_k=-2.0)
    assert said(opened).what == "still"
    assert said(opened, asked="counted").what == "swarm"  # and bees went out by thousands


def test_a_probe_that_follows_the_day_says_nothing() -> None:
    assert said(nest(level=27.0, drift_k_per_h=1.2)).what == "nothing"
    rising = warmed(nest(level=27.0, drift_k_per_h=1.2), 2.5, then_k=0.0)
    assert said(rising).what == "swarm"  # it rose and fell at once


def test_a_probe_that_warms_up_with_the_morning_is_no_swarms() -> None:
    """A third of a kelvin an hour before and after: at an hour a reading a kelvin in three."""
    rising = nest(3600, level=35.0, drift_k_per_h=0.35)
    assert said(rising).what == "still"
    assert said(warmed(nest(level=35.0, drift_k_per_h=0.35), 1.2, then_k=-1.0)).what == "swarm"


@pytest.mark.parametrize(
    ("by_k", "then_k", "what"),
    [
        (1.2, -1.4, "swarm"),
        (1.2, 0.0, "nothing"),  # the sun came out
        (0.0, -1.4, "nothing"),  # a hand
        (0.5, -1.4, "nothing"),  # less than twice what it does anyway
    ],
)
def test_a_far_probe_that_rose_and_fell_within_one_coarse_reading_tells(
    by_k: float, then_k: float, what: str
) -> None:
    """It warms up quickly in the morning and slowly towards noon."""
    series = nest(1800)
    hours = (series.time_s - LOSS_S) / HOUR
    value = 30 + 0.9 * np.minimum(hours, -1.5) + 0.3 * np.maximum(hours, -1.5)
    at = int(series.time_s.searchsorted(LOSS_S))
    value[at:] += by_k
    value[at + 1 :] += then_k
    assert said(Series(series.time_s + 300, value)).what == what


@pytest.mark.parametrize(("by_k", "what"), [(0.4, "swarm"), (0.2, "still")])
def test_the_first_minutes_of_the_warming_count_where_it_cooled_as_well(
    by_k: float, what: str
) -> None:
    assert said(warmed(nest(), by_k, then_k=-1.0)).what == what


def test_what_is_still_to_come_is_waited_for_and_a_dead_probe_is_not() -> None:
    early = nest().up_to(OVER_S)
    assert said(early).what == "awaited"
    assert said(early, last_s=OVER_S + 3 * 24 * HOUR).what == "still"
    gone = nest().up_to(LOSS_S - 2 * HOUR)
    assert said(gone).what == "awaited"
    assert said(gone, last_s=OVER_S + 3 * 24 * HOUR).what == "nothing"
    assert said(nest().up_to(LOSS_S - 5 * HOUR)).what == "nothing"


def test_each_reading_is_judged_by_what_came_before_it() -> None:
    whole = warmed(nest(), 1.0)
    told_s = said(whole).told_s
    assert said(whole.up_to(told_s)) == said(whole)
    assert said(whole.up_to(told_s - 1)).what == "awaited"


def test_while_it_goes_on_only_plain_warming_of_brood_counts() -> None:
    assert said(warmed(nest(), 1.5), asked="at once").what == "swarm"
    assert said(warmed(nest(), 0.8), asked="at once").what == "still"
    assert said(warmed(nest(level=27.0), 1.5), asked="at once").what == "nothing"


def recorded() -> list[Series]:
    """Give three real nests from 19 June to the end of July, a reading every quarter of an hour."""
    nests: dict[str, dict[int, float]] = {}
    with gzip.open(RECORDED, "rt") as lines:
        for row in csv.DictReader(lines):
            if row["nest"] and row["time"] < "2021-08-01":
                time_s = int(datetime.fromisoformat(row["time"]).timestamp())
                nests.setdefault(row["device"], {}).setdefault(time_s, float(row["nest"]))
    return [
        Series(np.array(sorted(one), np.int64), np.array([one[at] for at in sorted(one)]))
        for one in nests.values()
    ]


@pytest.mark.parametrize(("asked", "most"), [("at once", 0.004), ("weighed", 0.01)])
def test_a_real_nest_seldom_looks_as_before_a_swarm_on_its_ordinary_days(
    asked: Asked, most: float
) -> None:
    """Nobody swarmed: so often would the nest bear out a loss that was no swarm."""
    what = [
        nest_said(nest.up_to(at_s + 2 * HOUR), at_s, at_s + 900, int(nest.time_s[-1]), asked).what
        for nest in recorded()
        for at_s in range(int(nest.time_s[0]), int(nest.time_s[-1]), 1800)
        if 12 <= datetime.fromtimestamp(at_s, UTC).hour <= 23  # daylight in Montreal
    ]
    told = sum(one != "nothing" for one in what)
    assert told > 0.7 * len(what)
    assert sum(one == "swarm" for one in what) <= most * told
