"""Brood onset and end, chilled and overheated brood, on made-up nests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from nests import MadeUpNest, day_of, told

from hivewatch.detect import nest as nests
from hivewatch.signals.window import Series


def of_kind(found, kind):
    return [one for one in found if one.kind == kind]


def find(nest, limits, window=None):
    return nests.find(nest.window() if window is None else window, (), limits)


def summer(**more):
    return MadeUpNest(first="2026-05-20", days=40, air_cel=16, **more)


def test_an_onset_tells_the_days_that_follow_from_it(limits):
    nest = MadeUpNest(first="2026-01-20", days=80, air_cel=4)
    nest.has_brood(slice(None), np.clip((np.arange(80) - 30) / 15, 0, 1))
    (one,) = find(nest, limits)
    assert (one.kind, one.subject, one.status) == ("brood_onset", "hive:hazel-1", "ended")
    assert one.end_s == one.start_s <= one.detected_s
    first_eggs = np.datetime64(one.measures["first_eggs_day"])
    first_bees = np.datetime64(one.measures["first_bees_day"])
    # published: a worker takes 21 days from egg to bee, and hatches on the third
    assert (first_bees - first_eggs).astype(int) == 21
    day = np.datetime64("2026-01-20") + int(day_of(nest, one.start_s))
    assert (day - first_eggs).astype(int) == 3
    assert str(first_bees) in " ".join(one.evidence)
    # told while the nest is still on its way up from its own winter warmth
    assert one.measures["before_cel"] + 2.5 <= one.measures["after_cel"] < 34


def test_an_end_tells_until_when_about_there_were_eggs(limits):
    nest = summer()
    nest.has_brood(slice(25, 40), 0.0)
    (one,) = find(nest, limits)
    assert one.kind == "brood_end"
    assert one.measures["last_eggs_day"] in {"2026-05-23", "2026-05-24"}
    assert one.confidence == 0.9


def test_a_turn_in_a_gap_is_less_sure_and_says_why(limits):
    nest = summer()
    nest.has_brood(slice(22, 40), 0.0)
    nest.silence(nest.at(20), nest.at(30))
    (one,) = find(nest, limits)
    assert one.confidence == pytest.approx(0.7)
    assert "without readings" in one.evidence[-1]


@pytest.mark.parametrize("step_s", [60, 600, 1800])
def test_a_lid_left_open_overnight_chills_the_brood(limits, step_s):
    nest = MadeUpNest(first="2026-04-01", days=20, air_cel=7, step_s=step_s)
    nest.add(nest.at(12, 17.5), nest.at(13, 10), -12, hours=0.7)
    (one,) = of_kind(find(nest, limits), "chilled_brood")
    assert one.start_s == pytest.approx(nest.at(12, 17.7), abs=1800)
    assert 3 <= (one.detected_s - nest.at(12, 17.5)) / 3600 <= 5
    assert one.end_s == pytest.approx(nest.at(13, 11.5), abs=3600)
    assert one.measures["lowest_cel"] == pytest.approx(22.8, abs=0.5)
    assert one.measures["usual_cel"] == pytest.approx(34.8, abs=0.2)
    assert one.status == "ended"


@pytest.mark.parametrize("share", [0.55, 0.65, 0.8])
def test_a_chill_is_seen_by_a_probe_off_the_centre(limits, share):
    nest = summer(share=share)
    nest.add(nest.at(32, 19), nest.at(33, 10), -9 * share)
    (one,) = of_kind(find(nest, limits), "chilled_brood")
    assert one.start_s == pytest.approx(nest.at(32, 19.2), abs=1800)
    assert one.measures["usual_cel"] == pytest.approx(34.8, abs=0.4)
    assert one.measures["lowest_cel"] == pytest.approx(25.8, abs=1.0)
    assert ("beside it" in one.evidence[0], one.confidence) == (True, 0.7)
    for until_s in (one.detected_s, nest.at(34), nest.at(37)):
        early = find(nest, limits, nest.window(until_s=until_s))
        assert told(of_kind(early, "chilled_brood")) == told([one])


@pytest.mark.parametrize("share", [0.3, 0.5, 0.65, 0.8])
@pytest.mark.parametrize("late_h", [0.0, 2.0, 3.0])
def test_a_probe_off_the_centre_that_follows_the_air_by_hours_shows_no_chill(limits, share, late_h):
    nest = summer(share=share, swing_k=8.0)
    window = nest.window()
    air = window.of("ambient")
    later = np.interp(air.time_s - late_h * 3600, air.time_s, air.value)
    follows = Series(air.time_s, window.of("nest").value + (1 - share) * (later - air.value))
    window = replace(window, series={**window.series, "nest": follows})
    assert of_kind(find(nest, limits, window), "chilled_brood") == []


def test_while_it_is_cold_the_finding_is_open(limits):
    nest = MadeUpNest(first="2026-04-01", days=20, air_cel=7)
    nest.add(nest.at(12, 17.5), nest.at(14), -12)
    (one,) = of_kind(find(nest, limits, nest.window(until_s=nest.at(13, 2))), "chilled_brood")
    assert (one.end_s, one.status) == (None, "open")


def test_what_is_no_chill_is_left_alone(limits):
    nest = summer()
    nest.add(nest.at(10, 13), nest.at(10, 14), -8)  # an opening
    nest.add(nest.at(14, 13), nest.at(15, 13), -2)  # a swarm, Ferrari et al. (2008)
    assert find(nest, limits) == []
    nest.has_brood(slice(25, 40), 0.0)  # a queen is gone: brood is out within a night or two
    assert {one.kind for one in find(nest, limits)} == {"brood_end"}
    nest = MadeUpNest(first="2026-02-01", days=40, air_cel=2)
    nest.has_brood(slice(None), 0.0)  # no brood at all
    nest.add(nest.at(20), nest.at(21), -9)
    assert find(nest, limits) == []


@pytest.mark.parametrize(("left_day", "is_told"), [(9, False), (27, True)])
def test_without_brood_nothing_is_chilled(limits, left_day, is_told):
    """In the weeks in which a hive that has swarmed waits for its young queen it has none."""
    nest = summer()
    nest.lose(nest.at(left_day, 12), 2.5)
    nest.add(nest.at(30, 17.5), nest.at(31, 10), -12, hours=0.7)
    assert bool(of_kind(find(nest, limits), "chilled_brood")) is is_told


def test_where_the_brood_has_ended_no_cold_night_chills_it(limits):
    nest = MadeUpNest(first="2026-05-20", days=50, air_cel=20)
    nest.add(nest.at(40, 17.5), nest.at(41, 10), -12, hours=0.7)
    assert of_kind(find(nest, limits), "chilled_brood")
    nest.has_brood(slice(28, 50), 0.3)
    found = find(nest, limits)
    (end,) = of_kind(found, "brood_end")
    assert end.detected_s < nest.at(40)
    assert not of_kind(found, "chilled_brood")


def test_a_break_after_a_swarm_says_that_it_follows_from_it(limits):
    nest = summer()
    nest.has_brood(slice(24, 34), 0.0)
    assert not any("swarm" in " ".join(one.evidence) for one in find(nest, limits))
    nest.lose(nest.at(2, 12), 2.5)
    end, onset = find(nest, limits)
    assert (end.kind, onset.kind) == ("brood_end", "brood_onset")
    assert all("2026-05-22, as a swarm" in one.evidence[-1] for one in (end, onset))


def test_a_hive_that_is_shut_in_overheats(limits):
    nest = MadeUpNest(first="2026-06-20", days=20, air_cel=26)
    nest.add(nest.at(13, 8), nest.at(13, 17), 6, hours=1.5)
    (one,) = of_kind(find(nest, limits), "overheating")
    assert one.start_s == pytest.approx(nest.at(13, 9), abs=1800)
    assert (one.detected_s - one.start_s) / 3600 == pytest.approx(2, abs=0.2)
    assert one.end_s == pytest.approx(nest.at(13, 18.5), abs=3600)
    assert one.measures["highest_cel"] == pytest.approx(40.8, abs=0.3)


@pytest.mark.parametrize(("air_cel", "is_told"), [(28, True), (38.5, False)])
def test_hot_air_beside_the_nest_is_no_overheating(limits, air_cel, is_told):
    nest = MadeUpNest(first="2026-05-20", days=40, air_cel=12, share=0.8)
    nest.air_by_day[20:30] = 28
    nest.air_by_day[30:] = air_cel  # at 38.5 Cel the brood is kept cooler than the air
    nest.add(nest.at(32, 9), nest.at(32, 16), 7.0 if is_told else 3.5)
    assert bool(of_kind(find(nest, limits), "overheating")) is is_told


def test_a_nest_that_is_cold_at_night_has_no_brood_to_overheat(limits):
    nest = MadeUpNest(first="2026-06-20", days=20, air_cel=26)
    nest.add(nest.at(12, 21), nest.at(13, 8), -12)
    nest.add(nest.at(13, 8), nest.at(13, 17), 6, hours=1.5)
    assert of_kind(find(nest, limits), "overheating") == []


def test_a_hot_afternoon_and_a_swarm_that_warms_up_are_no_overheating(limits):
    nest = MadeUpNest(first="2026-06-20", days=20, air_cel=28)
    for day in range(8, 12):
        nest.add(nest.at(day, 12), nest.at(day, 18), 1.3)  # as all hives of Montreal on one day
    nest.add(nest.at(15, 13), nest.at(15, 13.5), 4.5, hours=0.2)  # from memory: Zacepins (2016)
    assert find(nest, limits) == []


def test_a_nest_that_is_always_as_hot_is_judged_by_itself(limits):
    nest = MadeUpNest(first="2026-06-20", days=20, air_cel=28)
    nest.extra_k += 2.0  # a probe that reads too high
    nest.add(nest.at(14, 12), nest.at(14, 18), 1.1)
    assert find(nest, limits) == []


def test_afternoons_of_a_hot_week_are_each_told_though_the_nest_is_warm_all_week(limits):
    nest = MadeUpNest(first="2026-06-20", days=20, air_cel=32)
    nest.extra_k += np.where(nest.time_s >= nest.at(10), 1.2, 0.0)  # the bees hold it at 36 Cel
    for day in range(12, 17):
        nest.add(nest.at(day, 12), nest.at(day, 17), 2.1)
    found = of_kind(find(nest, limits), "overheating")
    assert [int(day_of(nest, one.start_s)) for one in found] == [12, 13, 14, 15, 16]


def test_an_hour_and_a_half_over_the_mark_is_not_two(limits):
    nest = MadeUpNest(first="2026-06-20", days=20, air_cel=28)
    nest.add(nest.at(13, 13), nest.at(13, 14.3), 3.6, hours=0.2)
    nest.add(nest.at(13, 14.3), nest.at(13, 18), 2.4, hours=0.2)  # 37.2 Cel: not cool, not hot
    assert find(nest, limits) == []


@pytest.mark.parametrize("day", [13, 15, 27, 31, 37])
def test_what_was_told_stands_when_the_season_goes_on(limits, day):
    nest = summer()
    nest.add(nest.at(12, 17.5), nest.at(13, 10), -14)
    nest.add(nest.at(18, 9), nest.at(18, 17), 6)
    nest.has_brood(slice(24, 34), 0.0)
    whole = find(nest, limits)
    assert [one.kind for one in whole] == [
        "brood_end",
        "brood_onset",
        "chilled_brood",
        "overheating",
    ]
    until_s = nest.at(day, 5)
    early = find(nest, limits, nest.window(until_s=until_s))
    assert told(early) == told([one for one in whole if one.detected_s <= until_s])


def test_a_hive_without_a_probe_has_nothing_to_say(limits):
    nest = summer()
    assert find(nest, limits, nest.window(["weight", "ambient"])) == []
    assert find(nest, limits, nest.window(until_s=nest.at(0) - 60)) == []


def test_nothing_is_said_of_forty_seasons_of_a_steady_nest(limits):
    said = []
    for seed in range(40):
        nest = MadeUpNest(first="2026-04-01", days=60, seed=seed, step_s=1800, air_cel=6 + seed / 4)
        said += find(nest, limits)
    assert said == []


def test_a_probe_that_sways_with_every_day_shows_no_heat_of_brood(limits):
    nest = MadeUpNest(first="2026-06-20", days=24, air_cel=24)
    for day in range(24):
        nest.add(nest.at(day, 10), nest.at(day, 18), 2.2, hours=2)  # sun on the wall beside it
        nest.add(nest.at(day, 0), nest.at(day, 8), -1.5, hours=2)
    nest.add(nest.at(20, 11), nest.at(20, 17), 1.6)
    assert of_kind(find(nest, limits), "overheating") == []
