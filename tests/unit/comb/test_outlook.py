"""The outlook: shape, time, surprise, room, words."""

from __future__ import annotations

import json
from datetime import date, timedelta

import numpy as np
import pytest

from hivewatch.comb import CombCount
from hivewatch.comb.outlook import Hive, look_ahead
from hivewatch.comb.outlook_words import describe_outlook, outlook_dict
from hivewatch.comb.sensed import Sensed
from hivewatch.comb.start import Visit, start
from hivewatch.signals.season import (
    growths_by_season,
    laying_growth,
    laying_level,
    levels_by_season,
    northern_day,
    usual_flying,
    winter_shares,
)

DAY = date(2026, 5, 2)
HIVE = Hive("millrace-1", 52.2, seams=10, bees_a_seam=2264, seed=5)
GOOD = Visit(DAY, CombCount(3900, 7600, 15100), 15000)


def after(visit: Visit, days: int, **count: float | None) -> Visit:
    return Visit(visit.day + timedelta(days=days), CombCount(**count) if count else None)


def test_the_json_form_has_the_days_of_the_contract() -> None:
    ahead = look_ahead(HIVE, [GOOD], DAY)
    assert ahead is not None
    said = json.loads(json.dumps(outlook_dict(ahead)))
    assert [row["day"] for row in said["laying"]] == list(range(-21, 22))
    for name in ("adults", "foragers", "emerging"):
        assert [row["day"] for row in said[name]] == list(range(22))
    for rows in (said["laying"], said["adults"], said["foragers"], said["emerging"]):
        for row in rows:
            assert 0 <= row["low"] <= row["median"] <= row["high"]
    assert set(said["brood"]) == {"eggs", "open", "capped"}
    assert said["brood"]["capped"]["low"] < 15100 < said["brood"]["capped"]["high"]
    assert set(said["room"]) > {"seams_of_bees", "crowded_on", "super_by"}
    assert said["stores"]["kg"] is None
    assert 5 < said["stores"]["need_kg"] < 30
    assert said["as_of"] == "2026-05-02"
    assert all(sentence.endswith((".", "?")) for sentence in said["reading"])


def test_the_same_seed_gives_the_same_numbers_and_another_nearly_the_same() -> None:
    one, two = look_ahead(HIVE, [GOOD], DAY), look_ahead(HIVE, [GOOD], DAY)
    other = look_ahead(Hive("millrace-1", 52.2, seed=6), [GOOD], DAY)
    assert one is not None
    assert other is not None
    assert one == two
    assert one.adults[21].median != other.adults[21].median
    assert one.adults[21].median == pytest.approx(other.adults[21].median, rel=0.06)


def test_what_is_seen_later_is_not_known_now() -> None:
    later = Visit(DAY + timedelta(days=5), CombCount(0, 100, 9000), 4000)
    assert look_ahead(HIVE, [GOOD, later], DAY) == look_ahead(HIVE, [GOOD], DAY)


def test_nothing_counted_or_long_ago_says_nothing() -> None:
    assert look_ahead(HIVE, [], DAY) is None
    assert look_ahead(HIVE, [Visit(DAY, None)], DAY) is None
    assert look_ahead(HIVE, [Visit(DAY, CombCount(capped=90000))], DAY) is None
    assert look_ahead(HIVE, [GOOD], DAY + timedelta(days=61)) is None
    with pytest.raises(ValueError, match="count"):
        start(Visit(DAY, None), 1, lambda _: pytest.fail("not needed"), 52.0)


def test_no_brood_and_bees_not_counted_say_nothing_alone_and_something_later() -> None:
    bare = Visit(DAY + timedelta(days=30), CombCount(0, 0, 0))
    assert look_ahead(HIVE, [bare], bare.day) is None
    ahead = look_ahead(HIVE, [GOOD, bare], bare.day)
    assert ahead is not None
    assert ahead.brood["capped"].high == 0
    assert ahead.adults[0].median > 10000


def test_a_dead_hive_is_said_to_be_dead() -> None:
    dead = Visit(DAY + timedelta(days=10), CombCount(0, 0, 0), 0)
    ahead = look_ahead(HIVE, [GOOD, dead], dead.day)
    assert ahead is not None
    assert ahead.adults[0].high == ahead.adults[21].high == 0
    assert describe_outlook(ahead)[0] == "There are no bees left."


def test_a_hive_without_brood_lays_again_after_midwinter_and_not_before() -> None:
    def laying(day: date) -> tuple[float, float]:
        ahead = look_ahead(HIVE, [Visit(day, CombCount(0, 0, 0), 9000)], day)
        assert ahead is not None
        return ahead.laying[21].median, ahead.laying[21].high

    assert laying(date(2026, 11, 10)) == (0, 0)
    assert laying(date(2026, 2, 20))[1] > 20
    assert laying(date(2026, 6, 20))[0] == 0


def test_days_since_the_visit_widen_the_present() -> None:
    fresh, old = look_ahead(HIVE, [GOOD], DAY), look_ahead(HIVE, [GOOD], DAY + timedelta(days=20))
    assert fresh is not None
    assert old is not None
    for name in ("eggs", "open"):
        new, aged = fresh.brood[name], old.brood[name]
        assert aged.high / aged.low > new.high / new.low


def test_capped_brood_emerges_in_twelve_days() -> None:
    ahead = look_ahead(HIVE, [Visit(DAY, CombCount(0, 0, 12000), 20000)], DAY)
    assert ahead is not None
    emerging = [ahead.emerging[day].median for day in range(1, 22)]
    assert sum(emerging[:12]) == pytest.approx(12000, rel=0.08)
    assert sum(emerging[12:]) == 0
    assert ahead.laying[0].median == 0
    assert ahead.laying[21].high > 0  # a new queen might lay by then


def test_a_stop_is_seen_in_the_days_before() -> None:
    ahead = look_ahead(HIVE, [Visit(DAY, CombCount(0, 6000, 15000), 20000)], DAY)
    assert ahead is not None
    assert [ahead.laying[-day].median for day in (1, 2, 3)] == [0, 0, 0]
    assert ahead.laying[-12].median > 500
    assert "No eggs are being laid" in " ".join(describe_outlook(ahead))


def test_two_counts_that_agree_are_surer_than_one() -> None:
    later = Visit(DAY + timedelta(days=10), CombCount(4000, 8000, 15500), 21000)
    one = look_ahead(HIVE, [later], later.day)
    two = look_ahead(HIVE, [GOOD, later], later.day)
    assert one is not None
    assert two is not None
    assert two.restarted_on is None
    for span, wider in ((two.adults[0], one.adults[0]), (two.brood["eggs"], one.brood["eggs"])):
        assert span.high / span.low < wider.high / wider.low


def test_a_count_out_of_all_expectation_starts_afresh_and_says_so() -> None:
    swarmed = Visit(DAY + timedelta(days=10), CombCount(4000, 8000, 15500), 6000)
    ahead = look_ahead(HIVE, [GOOD, swarmed], swarmed.day)
    assert ahead is not None
    assert ahead.restarted_on == swarmed.day
    assert ahead.adults[0].median == pytest.approx(6000, rel=0.08)
    assert "fits nothing before it" in " ".join(describe_outlook(ahead))


def test_a_class_that_went_missing_replaces_the_brood_only() -> None:
    queenless = after(GOOD, 10, eggs=0, open=0, capped=15000)
    ahead = look_ahead(HIVE, [GOOD, queenless], queenless.day)
    assert ahead is not None
    assert ahead.restarted_on is None
    assert ahead.brood["eggs"].high == 0
    assert 12000 < ahead.adults[0].median < 30000


def test_only_bees_counted_still_gives_an_outlook() -> None:
    ahead = look_ahead(HIVE, [Visit(date(2026, 6, 20), None, 40000)], date(2026, 6, 20))
    assert ahead is not None
    assert ahead.adults[0].median == pytest.approx(40000, rel=0.05)
    assert 400 < ahead.laying[-1].median < 2000
    assert "Nobody counted the brood" in " ".join(describe_outlook(ahead))


def test_winter_bees_see_the_winter_through_and_summer_bees_do_not() -> None:
    october, june = date(2026, 10, 20), date(2026, 6, 20)
    winter = look_ahead(HIVE, [Visit(october, CombCount(0, 0, 500), 12000)], october)
    summer = look_ahead(HIVE, [Visit(june, CombCount(0, 0, 500), 12000)], june)
    assert winter is not None
    assert summer is not None
    assert winter.adults[21].median > 0.8 * 12000
    assert summer.adults[21].median < 0.7 * 12000


def test_flying_weather_costs_foragers() -> None:
    days = [DAY + timedelta(days=d) for d in range(22)]
    fine = look_ahead(HIVE, [GOOD], DAY, Sensed(flying=dict.fromkeys(days, 1.0)))
    wet = look_ahead(HIVE, [GOOD], DAY, Sensed(flying=dict.fromkeys(days, 0.0)))
    assert fine is not None
    assert wet is not None
    assert fine.foragers[21].median < 0.85 * wet.foragers[21].median


def test_a_crowded_hive_is_foreseen_with_days_to_spare() -> None:
    ahead = look_ahead(HIVE, [GOOD], DAY)
    assert ahead is not None
    assert ahead.room.seams_of_bees == pytest.approx(15000 / 2264, rel=0.05)
    assert ahead.room.crowded_on is not None
    assert ahead.room.super_by is not None
    assert DAY < ahead.room.super_by < ahead.room.crowded_on < DAY + timedelta(days=15)
    full = look_ahead(Hive("h", 52.2, seams=6, bees_a_seam=2264), [GOOD], DAY)
    assert full is not None
    assert full.room.crowded_on == full.room.super_by == DAY
    assert "give room now" in " ".join(describe_outlook(full))
    roomy = look_ahead(Hive("h", 52.2, seams=40, bees_a_seam=2264), [GOOD], DAY)
    assert roomy is not None
    assert roomy.room.crowded_on is None
    unknown = look_ahead(Hive("h", 52.2), [GOOD], DAY)
    assert unknown is not None
    assert (unknown.room.seams_of_bees, unknown.room.super_by) == (None, None)


def test_an_old_count_is_asked_for_again() -> None:
    ahead = look_ahead(HIVE, [GOOD], DAY + timedelta(days=20))
    assert ahead is not None
    assert "20 days ago: count again soon" in " ".join(describe_outlook(ahead))


def test_seasons_turn_with_the_hemisphere_and_vanish_in_the_tropics() -> None:
    north = [laying_level(date(2026, 1, 1) + timedelta(days=d), 47.0) for d in range(365)]
    south = [laying_level(date(2026, 1, 1) + timedelta(days=d), -47.0) for d in range(365)]
    assert np.argmax(north) == pytest.approx(148, abs=2)  # computed from the published formula: 149
    assert abs((int(np.argmax(south)) - int(np.argmax(north))) % 365 - 183) <= 2
    assert laying_level(date(2026, 1, 1), 5.0) == 1.0
    assert laying_growth(date(2026, 4, 2), date(2026, 4, 1), 47.0) > 1.0
    on_time = np.zeros(1)
    assert winter_shares([date(2026, 6, 1)], 47.0, on_time) < 0.01
    assert winter_shares([date(2026, 11, 2)], 47.0, on_time) > 0.99
    assert winter_shares([DAY.replace(month=5)], -47.0, on_time) > 0.9
    assert northern_day(date(2026, 4, 1), 52.0) < northern_day(date(2026, 4, 1), 42.0)
    assert usual_flying(date(2026, 7, 19), 47.0) == pytest.approx(0.8, abs=0.01)
    assert usual_flying(date(2026, 1, 17), 47.0) < 0.05


def test_a_season_that_runs_late_is_that_of_some_days_ago() -> None:
    later_d = np.array([-10.0, 0.0, 10.0])
    for day in (date(2026, 3, 20), date(2026, 9, 5)):
        level = levels_by_season(day, 47.0, later_d)
        assert level[1] == laying_level(day, 47.0)
        assert level[2] == pytest.approx(laying_level(day - timedelta(days=10), 47.0), rel=0.3)
        [growth] = growths_by_season([day], 47.0, later_d)
        assert growth[1] == pytest.approx(laying_growth(day, day - timedelta(days=1), 47.0))
        assert np.all(np.diff(level) < 0) if day.month == 3 else np.all(np.diff(level) > 0)
    assert np.all(np.diff(winter_shares([date(2026, 9, 5)], 47.0, later_d)) < 0)
    assert np.all(levels_by_season(date(2026, 3, 20), 5.0, later_d) == 1.0)


def test_the_published_season_curve_is_met() -> None:
    """Schmickl & Crailsheim 2007, 1,600 eggs at the peak; computed from their formula."""
    for day, eggs in ((60, 198.72), (90, 818.70), (120, 1416.99), (150, 1568.78), (200, 1027.00)):
        here = date(2026, 1, 1) + timedelta(days=day - 1)
        assert 1600 * laying_level(here, 47.0) == pytest.approx(eggs, rel=1e-3)


def test_workers_may_lay_once_open_brood_has_been_missing_for_three_weeks() -> None:
    """The last egg is nine days old when the last cell is capped."""
    june = date(2026, 6, 10)
    queenless = Visit(june, CombCount(0, 0, 12000), 20000)
    ahead = look_ahead(HIVE, [queenless], june)
    assert ahead is not None
    assert ahead.workers_lay_from is not None
    assert june + timedelta(days=14) <= ahead.workers_lay_from <= june + timedelta(days=21)
    assert any("workers may begin to lay" in one for one in describe_outlook(ahead))


def test_nobody_fears_laying_workers_beside_open_brood_or_in_winter() -> None:
    january = date(2026, 1, 10)
    resting = [Visit(january, CombCount(0, 0, 0), 12000)]
    for ahead in (look_ahead(HIVE, [GOOD], DAY), look_ahead(HIVE, resting, january)):
        assert ahead is not None
        assert ahead.workers_lay_from is None


def test_the_days_before_are_told_from_the_first_visit_on() -> None:
    ahead = look_ahead(HIVE, [GOOD], DAY + timedelta(days=9))
    assert ahead is not None
    for spans in ahead.figures.values():
        assert sorted(spans) == list(range(-9, 22))
        assert all(0 <= span.low <= span.median <= span.high for span in spans.values())
    assert ahead.figures["capped"][-9].median == pytest.approx(15100, rel=0.1)
    told = outlook_dict(ahead)["days"]
    assert [row["day"] for row in told] == list(range(-9, 22))  # type: ignore[attr-defined]
    long_ago = look_ahead(HIVE, [GOOD], DAY + timedelta(days=40))
    assert long_ago is not None
    assert sorted(long_ago.figures["adults"]) == list(range(-21, 22))


def test_bees_of_a_day_are_those_in_the_house_and_those_who_forage() -> None:
    ahead = look_ahead(HIVE, [GOOD], DAY + timedelta(days=9), within=0.0)
    assert ahead is not None
    for day, adults in ahead.figures["adults"].items():
        parts = [ahead.figures[name][day].median for name in ("house_bees", "foragers")]
        assert sum(parts) == pytest.approx(adults.median, rel=0.05)  # medians need not add up


def test_what_was_the_present_is_the_past_a_day_later() -> None:
    one, two = (look_ahead(HIVE, [GOOD], DAY + timedelta(days=days)) for days in (6, 10))
    assert one is not None
    assert two is not None
    for name, spans in one.figures.items():
        for day in range(-6, 1):
            assert two.figures[name][day - 4].median == pytest.approx(spans[day].median, rel=1e-9)


@pytest.mark.parametrize("part", [0.75, 1.3])
def test_a_count_says_as_much_of_yesterday_as_of_today(part: float) -> None:
    later = DAY + timedelta(days=14)
    untold = look_ahead(HIVE, [GOOD], later)
    assert untold is not None
    counted = part * untold.adults[0].median
    told = look_ahead(HIVE, [GOOD, Visit(later, None, counted)], later)
    assert told is not None
    week_ago, yesterday, today = (
        np.log(told.figures["adults"][day].median / untold.figures["adults"][day].median)
        for day in (-7, -1, 0)
    )
    assert yesterday == pytest.approx(today, rel=0.2)
    assert 0 < week_ago / np.log(part) <= today / np.log(part) + 0.05 < 1


def test_a_count_that_fits_nothing_leaves_the_days_before_as_they_were() -> None:
    later = DAY + timedelta(days=14)
    untold = look_ahead(HIVE, [GOOD], later)
    told = look_ahead(HIVE, [GOOD, Visit(later, CombCount(0, 0, 2000), 1500)], later)
    assert untold is not None
    assert told is not None
    assert told.restarted_on == later
    for day in range(-14, 0):
        assert told.figures["adults"][day] == untold.figures["adults"][day]
