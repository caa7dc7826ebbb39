"""What counts as found, as false, as neither."""

from __future__ import annotations

from dataclasses import replace

import pytest

from simulators.score import baselines
from simulators.score.figures import figures
from simulators.score.kinds import BY_NAME, KINDS, chosen
from simulators.score.tally import tally, totals

EVENING = "2024-05-03T18:00:00Z"


def score(story, name, *, is_live=False):
    done = tally(story.season(), (BY_NAME[name],), is_live=is_live)[name]
    return figures(done)


def counts(story, name, **how):
    row = score(story, name, **how)
    return row.found, row.events, row.false


def test_a_finding_near_its_event_is_found_and_measured(story):
    story.happened("handling", 3, 10, kg=6.0)
    story.told("handling", 3, 10.25, kg=6.15)
    row = score(story, "handling")
    assert (row.found, row.events, row.false) == (1, 1, 0)
    assert row.start_errors_s == pytest.approx([900])
    assert row.told_after_s == pytest.approx([4_500])
    assert row.measures[0].errors == pytest.approx([0.15])
    assert (row.measures[0].near.k, row.measures[0].near.n) == (1, 1)


def test_a_finding_too_far_off_is_a_miss_and_a_false_alarm(story):
    story.happened("handling", 3, 10, kg=6.0)
    story.told("handling", 3, 13, kg=6.0)
    assert counts(story, "handling") == (0, 1, 1)


def test_another_hive_is_another_event(story):
    story.happened("handling", 3, 10, kg=6.0, hive="ford-1")
    story.told("handling", 3, 10, kg=6.0, hive="ford-2")
    assert counts(story, "handling") == (0, 1, 1)


def test_a_light_visit_need_not_be_found_and_may_be(story):
    story.happened("handling", 3, 10, kg=0.3)
    story.happened("handling", 9, 10, kg=0.3)
    story.told("handling", 3, 10, kg=0.3)
    assert counts(story, "handling") == (0, 0, 0)


def test_what_no_reading_shows_need_not_be_found(story):
    story.silence("scale-1", at_day(2), at_day(5))
    story.happened("handling", 3, 10, kg=6.0)
    assert counts(story, "handling") == (0, 0, 0)


def test_a_hive_set_up_again_need_not_be_told_as_handling_too(story):
    story.happened("toppled", 2, 3, end="2024-05-06T10:00:00Z")
    story.happened("handling", 5, 10, kg=6.0)
    assert counts(story, "handling") == (0, 0, 0)


def test_an_explained_finding_counts_as_found(story):
    story.happened("handling", 3, 10, kg=6.0)
    story.told("handling", 3, 10, kg=6.0, status="explained")
    assert counts(story, "handling") == (1, 1, 0)


def test_a_withdrawn_finding_is_never_found_and_false_only_where_it_had_been_told(story):
    story.told("swarm", 3, 12, status="withdrawn")
    assert counts(story, "swarm") == (0, 0, 0)
    assert counts(story, "swarm", is_live=True) == (0, 0, 1)


def test_what_a_replay_told_and_took_back_is_false(story):
    story.told("swarm", 3, 12, once=True)
    row = score(story, "swarm")
    assert (row.false, row.withdrawn) == (1, 1)


def test_what_was_taken_back_of_a_true_event_is_no_false_alarm(story):
    story.happened("swarm", 3, 12, end=EVENING, kg_lost=2.0, bees_left=15_000)
    story.told("swarm", 3, 12, once=True)
    assert counts(story, "swarm") == (0, 1, 0)


def test_what_is_told_after_the_recording_is_left_out(story):
    story.told("silent", 39, 23.9, after_h=3, subject="device:scale-1", status="open")
    assert counts(story, "silent") == (0, 0, 0)


def test_a_silence_that_the_recording_really_has_is_no_false_alarm(story):
    story.silence("scale-1", at_day(3), at_day(4))
    story.told("silent", 3, after_h=3, subject="device:scale-1")
    story.told("silent", 9, after_h=3, subject="device:scale-1")
    row = score(story, "silent")
    assert (row.excused, row.false) == (1, 1)


def test_a_hive_s_own_flow_belongs_to_its_yard_s(story):
    flow = {"subject": "yard:ford", "end": "2024-05-20T00:00:00Z", "kg_gained": 30.0}
    story.happened("nectar_flow", 9, **flow, kg_a_day=3.0)
    story.told("nectar_flow", 10, subject="yard:ford", kg_gained=33.0)
    story.told("nectar_flow", 11, hive="ford-2")
    row = score(story, "nectar_flow")
    assert (row.found, row.false, row.excused) == (1, 0, 1)
    assert row.measures[0].errors == pytest.approx([0.1])
    assert row.seasons == pytest.approx(40 / 180)


@pytest.mark.parametrize(("others_kg", "false"), [(0.5, 0), (2.0, 1)])
def test_a_hive_that_brought_far_more_than_its_yard_had_a_flow_of_its_own(story, others_kg, false):
    story.told("nectar_flow", 9, hive="ford-2", end="2024-05-20T00:00:00Z")
    season = story.season()
    season.truth["hives"] = {
        hive: {"daily": {"nectar_kg": [kg] * 40}}
        for hive, kg in (("ford-1", others_kg), ("ford-2", 2.0))
    }
    row = figures(tally(season, (BY_NAME["nectar_flow"],))["nectar_flow"])
    assert (row.false, row.excused) == (false, 1 - false)


@pytest.mark.parametrize(("end", "missed"), [(None, 0), ("2024-05-20T00:00:00Z", 1)])
def test_a_dearth_that_was_told_and_lasts_through_a_pause_need_not_be_told_again(
    story, end, missed
):
    dearth = {"subject": "yard:ford", "kg_a_day": -0.4}
    story.happened("dearth", 2, **dearth, end="2024-05-16T00:00:00Z")
    story.happened("dearth", 19, **dearth, end="2024-06-05T00:00:00Z")
    story.told("dearth", 2, after_h=200, subject="yard:ford", end=end, kg_a_day=-0.4)
    row = score(story, "dearth")
    assert (row.found, row.events) == (1, 1 + missed)


@pytest.mark.parametrize(("end", "missed"), [(None, 0), ("2024-05-20T00:00:00Z", 1)])
def test_a_shortage_that_was_told_and_lasts_through_a_little_feed_need_not_be_told_again(
    story, end, missed
):
    story.happened("low_stores", 2, end="2024-05-10T00:00:00Z", days_left=11.0)
    story.happened("low_stores", 18, end="2024-06-05T00:00:00Z", days_left=11.0)
    story.told("low_stores", 2, after_h=24, end=end)
    row = score(story, "low_stores")
    assert (row.found, row.events) == (1, 1 + missed)


def test_a_shortage_that_is_told_again_while_it_lasts_is_no_false_alarm(story):
    story.happened("low_stores", 2, end="2024-05-28T00:00:00Z", days_left=11.0)
    story.told("low_stores", 2, after_h=24, end="2024-05-12T00:00:00Z")
    story.told("low_stores", 20, after_h=24, end=None)
    story.told("low_stores", 30, after_h=24, end=None)
    row = score(story, "low_stores")
    assert (row.found, row.excused, row.false) == (1, 1, 1)


def test_a_swarm_is_timed_from_when_it_has_left(story):
    story.happened("swarm", 3, 12, end="2024-05-04T12:12:00Z", kg_lost=2.0, bees_left=15_000)
    story.told("swarm", 3, 12, after_h=0.5, kg_lost=2.2)
    row = score(story, "swarm")
    assert row.told_after_s == pytest.approx([18 * 60])
    assert (row.told_near.k, row.told_near.n) == (1, 1)  # ten minutes and a reading of ten


def test_a_hive_that_nobody_weighs_has_the_feed_of_its_counter(story):
    story.counted(1800)
    story.happened("swarm", 3, 12, end="2024-05-04T12:12:00Z", kg_lost=2.0, bees_left=15_000)
    story.told("swarm", 3, 12, after_h=0.8)  # 36 minutes after its end
    season = story.season()
    heard = {key: one for key, one in season.heard.hives.items() if key[1] != "weight"}
    unweighed = replace(season, heard=replace(season.heard, hives=heard))
    near = [
        figures(tally(one, (BY_NAME["swarm"],))["swarm"]).told_near.k for one in (season, unweighed)
    ]
    assert near == [0, 1]  # ten minutes and a reading of ten, of thirty


def test_robbing_must_be_told_on_its_own_local_day(story):
    story.happened("robbing", 3, 9, end="2024-05-04T17:00:00Z")
    story.happened("robbing", 13, 9, end="2024-05-14T17:00:00Z")
    story.told("robbing", 3, 10, after_h=12)
    story.told("robbing", 13, 10, after_h=13.5)  # 23:30 in UTC is the next day in the yard
    row = score(story, "robbing")
    assert (row.told_near.k, row.told_near.n) == (1, 2)


def test_seasons_add_up(story):
    story.happened("handling", 3, 10, kg=6.0)
    one = tally(story.season(), KINDS)
    whole = totals([one, tally(story.season(), KINDS)], KINDS)
    assert len(whole["handling"].missed) == 2
    assert whole["handling"].seasons == pytest.approx(4 * 40 / 180)


def test_the_watcher_that_says_nothing_finds_nothing(story):
    story.happened("handling", 3, 10, kg=6.0)
    scale = baselines.nothing(story.season(), chosen(["handling"]))["handling"]
    assert (scale.events, scale.found, scale.false) == (1, 0, 0)


def test_the_watcher_that_always_alarms_finds_all_and_is_false_each_other_hour(story):
    story.happened("handling", 3, 10, kg=6.0)
    story.happened("handling", 9, 10, kg=6.0, hive="ford-2")
    scale = baselines.always(story.season(), chosen(["handling"]))["handling"]
    assert (scale.events, scale.found) == (2, 2)
    assert scale.false == 2 * 40 * 24 - 2


def at_day(day):
    return f"2024-05-{day + 1:02d}T00:00:00Z"


@pytest.mark.parametrize(("swarm_on", "false"), [(12, 0), (30, 1), (3, 1)])
def test_a_swarm_risk_that_came_true_is_no_false_alarm(story, swarm_on, false):
    story.happened("swarm", swarm_on, 13)
    story.told("swarm_risk", 5, 10)
    assert counts(story, "swarm_risk") == (0, 0, false)


@pytest.mark.parametrize(("every_s", "missed"), [(300, 1), (1800, 0)])
def test_a_first_flight_that_nobody_would_notice_need_not_be_found(story, every_s, missed):
    story.counted(every_s)
    story.happened("orientation_flight", 3, 13, bees=300)
    story.happened("orientation_flight", 4, 13, bees=900)
    story.told("orientation_flight", 3, 13)
    assert counts(story, "orientation_flight") == (0, missed, 0)


def test_days_left_are_held_against_the_evening_before_they_were_told(story):
    story.happened("low_stores", 10, end="2024-05-26T00:00:00Z", days_left=11.0)
    story.told("low_stores", 12, 5, after_h=24, days_left=7.0)
    season = story.season()
    daily = {"stores_kg": [8.0 - 0.4 * day for day in range(40)], "honey_eaten_kg": [0.4] * 40}
    season.truth["hives"] = {"ford-1": {"daily": daily}}
    (pair,) = tally(season, (BY_NAME["low_stores"],))["low_stores"].pairs
    assert pair.measures["days_left"] == pytest.approx((7.0, (8.0 - 0.4 * 12) / 0.4))


@pytest.mark.parametrize(("least_cells", "false"), [(300, 0), (2_000, 1)])
def test_a_time_without_brood_that_is_too_short_for_the_truth_may_be_told(
    story, least_cells, false
):
    story.told("brood_end", 20)
    season = story.season()
    cells = [4_000] * 18 + [least_cells // 2] * 3 + [4_000] * 19
    season.truth["hives"] = {"ford-1": {"daily": {"open": cells, "capped": cells}}}
    row = figures(tally(season, (BY_NAME["brood_end"],))["brood_end"])
    assert row.false == false


@pytest.mark.parametrize(("day", "events"), [(21.5, 0), (30, 1)])
def test_brood_that_ends_as_the_bees_leave_need_not_be_told_apart(story, day, events):
    story.happened("brood_end", 20)
    story.happened("dead_out", day)
    assert score(story, "brood_end").events == events


@pytest.mark.parametrize(("day", "events"), [(28, 1), (38, 0)])
def test_brood_that_ends_with_the_recording_need_not_be_found(story, day, events):
    story.happened("brood_end", day)
    assert score(story, "brood_end").events == events


@pytest.mark.parametrize(("kg", "events"), [(0.4, 0), (3.0, 1)])
def test_a_hive_without_honey_cannot_be_told_as_robbed(story, kg, events):
    story.happened("robbing", 9, 10, end="2024-05-14T17:00:00Z")
    season = story.season()
    season.truth["hives"] = {"ford-1": {"daily": {"stores_kg": [5.0] * 8 + [kg] + [0.0] * 31}}}
    assert figures(tally(season, (BY_NAME["robbing"],))["robbing"]).events == events


def test_a_robbing_of_a_hive_beside_its_scale_or_of_a_dead_one(story):
    story.happened("toppled", 2, 3, end="2024-05-06T10:00:00Z")
    story.happened("robbing", 4, 10, end="2024-05-05T17:00:00Z")
    story.happened("dead_out", 20, 10)
    story.told("robbing", 22, 10)
    story.told("robbing", 12, 10)
    row = score(story, "robbing")
    assert (row.events, row.excused, row.false) == (0, 1, 1)


@pytest.mark.parametrize(("hour", "within"), [(10, 0), (20.5, 1)])
def test_what_begins_in_the_dark_is_told_in_time_on_the_day_after(story, hour, within):
    story.happened("robbing", 9, hour, end="2024-05-14T17:00:00Z")
    story.told("robbing", 9, hour, after_h=36 - hour)
    row = score(story, "robbing")
    assert (row.told_near.k, row.told_near.n) == (within, 1)


@pytest.mark.parametrize(
    ("days", "cause", "events"),
    [
        ((2, 25), "failing queen", 1),
        ((2, 8), "failing queen", 0),
        ((25, 30), "failing queen", 0),
        ((), "failing queen", 0),
        ((), "queen lost", 1),
    ],
)
def test_a_queen_that_fails_need_not_be_told_where_nobody_counted_brood(story, days, cause, events):
    story.happened("queen_trouble", 5, cause=cause)
    counted = [
        {"hive": "ford-1", "at": f"2024-05-{day:02}T12:00:00+01:00", "brood": {"eggs": 900}}
        for day in days
    ]
    season = replace(story.season(), inspections=counted)
    assert figures(tally(season, (BY_NAME["queen_trouble"],))["queen_trouble"]).events == events
