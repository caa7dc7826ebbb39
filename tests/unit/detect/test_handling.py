"""Handling: what a keeper does shows, what weather and bees do does not."""

from __future__ import annotations

import numpy as np
import pytest

from hivewatch.detect.run import detect

STEPS_MIN = (1, 5, 10, 15, 30)


@pytest.fixture
def said(limits):
    def ask(window, kinds=("handling", "toppled", "taken")):
        return [one for one in detect(window, (), limits, window.as_of_s) if one.kind in kinds]

    return ask


def spans(finding, at_s):
    return finding.start_s <= at_s + 60 and finding.end_s >= at_s


@pytest.mark.parametrize("step_min", STEPS_MIN)
@pytest.mark.parametrize("kg", [1.2, 2.0, 3.0, 9.0, -6.0])
@pytest.mark.parametrize("flow_kg", [-0.3, 1.0, 4.0])
def test_a_step_is_found_with_its_size(made_up_hive, said, step_min, kg, flow_kg):
    hive = made_up_hive(step_s=60 * step_min, days=5, seed=step_min, flow_kg=flow_kg)
    done_s = hive.at(3, 13.12)
    hive.add(done_s, kg, minutes=3)
    (handling,) = said(hive.window())
    assert handling.kind == "handling"
    assert spans(handling, done_s)
    assert handling.end_s - handling.start_s <= 180 + 2 * hive.step_s
    assert handling.measures["kg"] == pytest.approx(kg, abs=0.2)
    assert handling.measures["kg_error"] < 0.2


@pytest.mark.parametrize("step_min", STEPS_MIN)
@pytest.mark.parametrize("seed", range(3))
def test_a_quiet_hive_is_left_alone(made_up_hive, said, step_min, seed):
    hive = made_up_hive(step_s=60 * step_min, days=20, seed=seed, flow_kg=seed * 2.5)
    assert said(hive.window()) == []


def test_a_scale_in_the_wind_is_left_alone(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=40, noise_kg=0.25)
    assert said(hive.window()) == []


@pytest.mark.parametrize("step_min", [1, 5, 10, 15])
@pytest.mark.parametrize(("kg", "minutes", "hour"), [(1.0, 30, 12), (2.2, 70, 14), (1.3, 40, 4)])
def test_rain_on_the_lid_is_left_alone(made_up_hive, said, step_min, kg, minutes, hour):
    hive = made_up_hive(step_s=60 * step_min, days=5, seed=3)
    hive.rain(hive.at(3, hour), kg, minutes, dry_h=4)
    assert said(hive.window()) == []


def test_a_cloudburst_within_one_reading_is_left_alone(made_up_hive, said):
    hive = made_up_hive(step_s=900, days=5)
    hive.rain(hive.at(3, 12), 1.1, 5, dry_h=4)
    assert said(hive.window()) == []


def test_a_gauge_tells_feed_from_rain(made_up_hive, said):
    hive = made_up_hive(step_s=900, days=5)
    hive.rain(hive.at(3, 12), 1.1, 5, dry_h=4)  # bees may also carry feed off, to robbers
    hive.series["rain"] = np.zeros(len(hive.time_s))
    assert len(said(hive.window(("weight", "rain")))) == 1
    hive.series["rain"][hive.time_s == hive.at(3, 12.25)] = 4.0
    assert said(hive.window(("weight", "rain"))) == []
    hive.series["rain"] /= 20  # a tip of a gauge, 0.05 kg on a lid
    assert len(said(hive.window(("weight", "rain")))) == 1


@pytest.mark.parametrize("step_min", STEPS_MIN)
@pytest.mark.parametrize("kg", [-0.9, -2.2, -3.8])
@pytest.mark.parametrize("minutes", [3, 12])
def test_a_loss_as_of_a_swarm_is_not_called_handling(made_up_hive, said, step_min, kg, minutes):
    hive = made_up_hive(step_s=60 * step_min, days=5, seed=2)
    hive.add(hive.at(3, 12.4), kg, minutes)
    assert said(hive.window()) == []


@pytest.mark.parametrize(("kg", "sure"), [(-1.2, []), (-2.2, [0.5])])
def test_what_a_scale_alone_loses_within_a_reading_is_asked_about(made_up_hive, said, kg, sure):
    """Where neither nest nor counter can say whether it was a hand, the keeper is asked."""
    hive = made_up_hive(step_s=600, days=5, seed=2)
    hive.add(hive.at(3, 12.55), kg, 3)
    assert [one.confidence for one in said(hive.window(("weight",)))] == sure


def test_frames_taken_out_with_a_box_lifted_are_handling(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    hive.lift(hive.at(3, 14), 9, 20)
    hive.add(hive.at(3, 14.25), -2.4)
    (handling,) = said(hive.window())
    assert handling.measures["kg"] == pytest.approx(-2.4, abs=0.2)
    assert handling.measures["kg_lifted"] == pytest.approx(9, abs=2.5)


def test_frames_taken_out_between_two_coarse_readings_are_handling(made_up_hive, said):
    hive = made_up_hive(step_s=1800, days=5)
    done_s = hive.at(3, 14)  # one reading falls into the visit: boxes are off
    hive.series["weight"][hive.time_s == done_s] -= 25
    hive.add(done_s, -2.6)
    (handling,) = said(hive.window(("weight",)))
    assert handling.measures["kg"] == pytest.approx(-2.6, abs=0.2)


@pytest.mark.parametrize("kg", [4.0, 6.6])
def test_what_a_coarse_reading_saw_half_put_on_is_handling(made_up_hive, said, kg):
    hive = made_up_hive(step_s=1800, days=5)
    hive.add(hive.at(3, 13.9), 0.3 * kg)
    hive.add(hive.at(3, 14.1), 0.7 * kg)
    (handling,) = said(hive.window(("weight",)))
    assert handling.measures["kg"] == pytest.approx(kg, abs=0.2)


def test_snow_that_falls_all_day_is_no_handling(made_up_hive, said):
    hive = made_up_hive(step_s=1800, days=6)
    hive.add(hive.at(3, 6), 8.0, minutes=600)
    assert said(hive.window(("weight",))) == []


@pytest.mark.parametrize("step_min", [1, 5, 10])
def test_a_hive_that_was_opened_and_closed_is_handling_of_nothing(made_up_hive, said, step_min):
    hive = made_up_hive(step_s=60 * step_min, days=5)
    hive.lift(hive.at(3, 14), 20, 25)
    (handling,) = said(hive.window())
    assert handling.measures["kg"] == 0
    assert handling.measures["kg_lifted"] == pytest.approx(20, abs=0.5)


def test_one_visit_is_one_handling(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    hive.lift(hive.at(3, 14), 12, 15)
    hive.add(hive.at(3, 14.6), 4.0)
    hive.add(hive.at(3, 15.1), 1.5)
    (handling,) = said(hive.window())
    assert handling.measures["kg"] == pytest.approx(5.5, abs=0.2)


def test_two_visits_are_two(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    hive.add(hive.at(3, 10), 4.0)
    hive.add(hive.at(3, 13), -9.0)
    assert [round(one.measures["kg"]) for one in said(hive.window())] == [4, -9]


@pytest.mark.parametrize("step_s", [60, 300, 900])
def test_a_bad_reading_is_no_handling(made_up_hive, said, step_s):
    hive = made_up_hive(step_s=step_s, days=5)
    for i, kg in ((200, 90.0), (300, -36.0), (400, 4.0)):
        hive.series["weight"][i] += kg
    assert said(hive.window()) == []


def test_a_bad_reading_of_a_scale_that_counts_in_coarse_steps_is_no_handling(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5, noise_kg=0.004)
    hive.series["weight"] = np.round(hive.series["weight"], 1)
    for i, kg in ((700, 16.3), (900, -9.0)):
        hive.series["weight"][i] += kg
        hive.series["weight"][i - 1] += 0.3  # a gust next to it
    assert said(hive.window()) == []


def test_a_far_probe_that_drifts_with_the_evening_confirms_no_bad_reading(made_up_hive, said):
    hive = made_up_hive(step_s=900, days=5)
    at_s = hive.at(3, 16)
    hive.series["weight"][hive.time_s == at_s] -= 12
    evening = np.clip((hive.time_s - (at_s - 7200)) / 3600, 0, 6)
    hive.series["nest"] = hive.series["nest"] - 4 - 0.7 * evening
    assert said(hive.window(("weight", "nest", "ambient"))) == []
    hive.dip(at_s - 600, 6.0, back_min=60)  # and one that cools at once does
    (handling,) = said(hive.window(("weight", "nest", "ambient")))
    assert handling.measures["kg_lifted"] == pytest.approx(12, abs=0.5)


def test_a_nest_that_is_warm_again_after_one_coarse_reading_was_never_cold(made_up_hive, said):
    hive = made_up_hive(step_s=1800, days=5)
    hive.series["nest"][[167, 185]] -= 12  # half past eleven on day 3, and in the evening
    assert said(hive.window(("nest", "ambient"))) == []


def test_what_was_put_on_in_a_silence_is_found_with_the_silence_as_its_span(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    hive.add(hive.at(3, 12), 9.0)
    window = hive.window(("weight",))
    weight = window.of("weight")
    there = (weight.time_s < hive.at(3, 8)) | (weight.time_s > hive.at(3, 20))
    window.series["weight"] = type(weight)(weight.time_s[there], weight.value[there])
    (handling,) = said(window)
    assert handling.start_s == hive.at(3, 8) - 300
    assert handling.end_s == hive.at(3, 20) + 300
    assert handling.measures["kg"] == pytest.approx(9.0, abs=1.0)


def test_another_scale_is_no_handling(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    moved_s = hive.at(3, 12)
    hive.devices = [("scale-1", hive.at(0, 0) - 60, moved_s), ("scale-2", moved_s, None)]
    hive.add(moved_s - 1, 7.0)
    assert said(hive.window()) == []


@pytest.mark.parametrize("step_min", [1, 5, 10, 15])
def test_an_opening_shows_in_the_nest_where_there_is_no_scale(made_up_hive, said, step_min):
    hive = made_up_hive(step_s=60 * step_min, days=5)
    hive.dip(hive.at(3, 14.1), 4.0)
    (handling,) = said(hive.window(("nest", "ambient")))
    assert spans(handling, hive.at(3, 14.1))
    assert handling.measures == {"nest_fell_k": pytest.approx(4.0, abs=1.5)}
    assert handling.confidence < 0.8


def test_nobody_opens_a_hive_by_night(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    hive.dip(hive.at(3, 1.1), 4.0)
    assert said(hive.window(("nest", "ambient"))) == []


def test_a_dip_of_the_nest_beside_a_quiet_scale_is_less_sure(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    hive.dip(hive.at(3, 14.1), 4.0)
    (with_scale,) = said(hive.window())
    (without,) = said(hive.window(("nest",)))
    assert with_scale.confidence < without.confidence
    assert "kg" not in with_scale.measures


def test_a_dip_of_the_nest_beside_a_loss_as_of_a_swarm_is_left_to_the_swarm(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    hive.add(hive.at(3, 13), -2.2, 10)
    hive.dip(hive.at(3, 13.2), 3.0)
    assert said(hive.window()) == []


def test_a_scale_that_gives_wild_readings_is_not_believed_alone(made_up_hive, said):
    hive = made_up_hive(step_s=900, days=40)
    weight = hive.series["weight"]
    visits = [hive.at(day, 14.1) for day in (2, 8, 35)]
    for visit_s in visits:
        hive.lift(visit_s, 15, 15)
    assert len(said(hive.window(("weight",)))) == 3
    weight[hive.time_s == hive.at(5, 3)] += 11
    assert [one.start_s for one in said(hive.window(("weight",)))] == [hive.at(2, 14)]
    hive.dip(visits[2], 4.0)
    assert [one.start_s for one in said(hive.window())] == [hive.at(35, 14)]


def test_a_lone_reading_is_taken_back_where_a_wild_one_follows_within_two_days(made_up_hive, said):
    hive = made_up_hive(step_s=900, days=8)
    hive.lift(hive.at(3, 14.1), 15, 15)
    assert len(said(hive.window(("weight",), until_s=hive.at(4, 20)))) == 1
    hive.series["weight"][hive.time_s == hive.at(5, 3)] += 11
    assert len(said(hive.window(("weight",), until_s=hive.at(4, 20)))) == 1
    assert said(hive.window(("weight",))) == []


@pytest.mark.parametrize(("second_kg", "told"), [(-9.0, 1), (6.3, 0)])
def test_two_readings_that_lie_on_either_side_are_bad_ones(made_up_hive, said, second_kg, told):
    hive = made_up_hive(step_s=1800, days=5)
    at = int(np.flatnonzero(hive.time_s == hive.at(3, 10))[0])
    hive.series["weight"][[at, at + 1]] += [-27.0, second_kg]
    assert len(said(hive.window(("weight",)))) == told


def test_what_foragers_took_beside_a_bad_reading_is_no_step(made_up_hive, said):
    """On a half-hourly scale, in a flow: a kilogram goes and comes from reading to reading."""
    hive = made_up_hive(step_s=1800, days=6)
    at = int(np.flatnonzero(hive.time_s == hive.at(3, 14))[0])
    busy_kg = [42.1, 42.1, 42.2, 42.2, 42.5, 18.3, 41.8, 42.1, 42.4, 42.1, 42.1]
    hive.series["weight"][at - 5 : at + 6] = np.array(busy_kg) + hive.series["weight"][at] - 42.1
    assert said(hive.window(("weight",))) == []


def test_a_visit_begins_with_the_hand_and_not_with_foragers_before_it(made_up_hive, said):
    hive = made_up_hive(step_s=1800, days=5)
    hive.add(hive.at(3, 12.2), -0.5)
    hive.add(hive.at(3, 12.7), 0.5)
    hive.add(hive.at(3, 14.2), 6.0)
    (one,) = said(hive.window(("weight",)))
    assert (one.start_s, one.end_s) == (hive.at(3, 14), hive.at(3, 14.5))


def test_a_part_lifted_in_one_reading_needs_a_nest_that_cools_where_there_is_a_probe(
    made_up_hive, said
):
    for depth_k, told in ((0.0, 0), (0.9, 1)):
        hive = made_up_hive(step_s=900, days=5)
        hive.lift(hive.at(3, 14.1), 15, 15)
        hive.dip(hive.at(3, 14.1), depth_k)
        assert len(said(hive.window())) == told
        assert len(said(hive.window(("weight",)))) == 1


def test_bees_that_the_counter_saw_go_are_no_honey_taken(made_up_hive, said):
    hive = made_up_hive(step_s=600, days=5)
    gone_s = hive.at(3, 13)
    hive.add(gone_s, -5.6, 10)
    hive.series["bees-out"] = np.full(len(hive.time_s), 400.0)
    hive.series["bees-in"] = np.full(len(hive.time_s), 380.0)
    quantities = ("weight", "bees-out", "bees-in")
    assert len(said(hive.window(quantities))) == 1
    leaving = (hive.time_s > gone_s) & (hive.time_s <= gone_s + 1200)
    hive.series["bees-out"][leaving] = 17_000
    assert said(hive.window(quantities)) == []


def test_a_scale_that_wakes_up_is_no_handling(made_up_hive, said):
    hive = made_up_hive(step_s=600, days=5)
    hive.add(hive.at(3, 2), 4.5, 600)
    weight = hive.series["weight"]
    stuck = (hive.time_s > hive.at(3, 2)) & (hive.time_s <= hive.at(3, 13))
    weight[stuck] = weight[np.argmax(stuck)]
    assert said(hive.window()) == []


def test_a_quiet_scale_that_shows_one_digit_for_half_an_hour_was_not_stuck(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=4)
    hive.add(hive.at(3, 12), 5.0)
    weight = hive.series["weight"]
    put = int(np.argmax(hive.time_s > hive.at(3, 12)))
    digits = np.array([0, 0, 0, 1, 2])[np.arange(put) % 5]
    digits[-6:], digits[-7] = 0, 1
    weight[:put] = weight[put] - 5 + 0.02 * digits
    (one,) = said(hive.window())
    assert one.measures["kg"] == pytest.approx(5.0, abs=0.2)


def test_a_light_step_is_believed_when_the_nest_shows_an_opening(made_up_hive, said):
    hive = made_up_hive(step_s=900, days=5)
    hive.rain(hive.at(3, 12.1), 1.1, 5, dry_h=4)
    hive.dip(hive.at(3, 12.1), 4.0)
    (handling,) = said(hive.window())
    assert handling.confidence >= 0.9
    assert any("nest" in words for words in handling.evidence)


def test_the_words_claim_no_more_than_the_weight_shows(made_up_hive, said):
    hive = made_up_hive(step_s=300, days=5)
    hive.add(hive.at(3, 14), 9.0)
    (handling,) = said(hive.window())
    assert handling.evidence[0].startswith("weight rose by 9.0 kg within")
    assert "probably" in handling.evidence[0]


@pytest.mark.parametrize("quantities", [(), ("nest",), ("ambient",), ("weight",)])
def test_it_works_with_whatever_is_there(made_up_hive, said, quantities):
    hive = made_up_hive(step_s=900, days=3)
    assert said(hive.window(quantities)) == []


@pytest.mark.parametrize(("came", "is_told"), [(7500, False), (300, True)])
def test_a_light_gain_that_the_counter_saw_fly_home_is_no_handling(
    made_up_hive, limits, came, is_told
):
    hive = made_up_hive(step_s=1800, days=5)
    at_s = hive.at(3, 13.12)
    hive.add(at_s, 1.0, minutes=10)
    for name in ("bees-in", "bees-out"):
        hive.series[name] = np.full(len(hive.time_s), 500.0)
    hive.series["bees-in"][np.searchsorted(hive.time_s, at_s)] += came
    window = hive.window(("weight", "bees-in", "bees-out"))
    found = detect(window, [], limits, window.as_of_s)
    assert [one.kind for one in found if one.kind == "handling"] == ["handling"] * is_told


def test_what_foragers_weigh_is_not_told_from_a_coarse_scale_alone(made_up_hive, said):
    hive = made_up_hive(step_s=1800, days=5)
    hive.add(hive.at(3, 13.12), 0.95, minutes=10)
    assert said(hive.window(("weight",))) == []


@pytest.mark.parametrize("step_min", [5, 10])
@pytest.mark.parametrize(("gone", "is_told"), [(0, True), (15_000, False)], ids=["nobody", "bees"])
def test_a_loss_that_no_bees_carried_off_is_a_frame_or_a_lid(
    made_up_hive, said, step_min, gone, is_told
):
    hive = made_up_hive(step_s=60 * step_min, days=5, seed=3)
    chance = np.random.default_rng(3)
    for name in ("bees-in", "bees-out"):
        hive.series[name] = chance.poisson(400, len(hive.time_s)).astype(np.float64)
    hive.add(hive.at(3, 12), -2.6, minutes=1)
    hive.series["bees-out"][np.searchsorted(hive.time_s, hive.at(3, 12)) + 1] += gone
    told = said(hive.window(("weight", "bees-in", "bees-out")))
    assert [one.measures["kg"] for one in told] == ([pytest.approx(-2.6, abs=0.2)] * is_told)


@pytest.mark.parametrize(("depth_k", "is_told"), [(1.8, True), (0.0, False)])
def test_feed_that_bees_carry_off_is_told_by_the_nest_that_was_opened_for_it(
    made_up_hive, said, depth_k, is_told
):
    hive = made_up_hive(step_s=1800, days=5)
    hive.add(hive.at(3, 14.12), 2.3, minutes=5)
    hive.add(hive.at(3, 14.6), -0.8, minutes=120)
    hive.dip(hive.at(3, 14.12), depth_k, back_min=60)
    told = said(hive.window())
    assert [one.measures["kg"] for one in told] == [pytest.approx(2.3, abs=0.2)] * is_told
    for one in told:
        assert said(hive.window(until_s=one.detected_s)) == told


def test_a_box_on_a_coarse_scale_that_rests_by_day_is_no_scale_that_wakes_up(made_up_hive, said):
    hive = made_up_hive(step_s=900, days=5, noise_kg=0.0)
    hive.add(hive.at(3, 13), 5.0)
    rest = (hive.time_s >= hive.at(3, 11)) & (hive.time_s <= hive.at(3, 13))
    hive.series["weight"][rest] = hive.series["weight"][rest][0]
    hive.series["weight"] = np.round(np.round(hive.series["weight"] / 0.05) * 0.05, 2)
    (told,) = said(hive.window())
    assert told.measures["kg"] == pytest.approx(5.0, abs=0.2)


def test_two_bad_readings_half_an_hour_apart_are_no_handling(made_up_hive, said):
    hive = made_up_hive(step_s=600, days=5)
    at = int(np.searchsorted(hive.time_s, hive.at(3, 12)))
    hive.series["weight"][at] += 4.5
    hive.series["weight"][at + 3] -= 20.0
    assert said(hive.window()) == []


def test_a_gain_that_the_counter_saw_come_home_between_two_readings_is_no_handling(
    made_up_hive, said
):
    for home, told in ((9000.0, 0), (0.0, 1)):
        hive = made_up_hive(step_s=1800, days=5, seed=3)
        done_s = hive.at(3, 12.2)
        hive.add(done_s, 0.95)
        first = int(hive.time_s.searchsorted(done_s))
        hive.series["bees-out"] = np.full(len(hive.time_s), 600.0)
        hive.series["bees-in"] = np.full(len(hive.time_s), 600.0)
        hive.series["bees-in"][first] += home
        hive.series["bees-out"][first + 1] += home  # and go out again later, for nectar
        hive.series["nest"][first] -= 1.5
        found = said(hive.window(("weight", "nest", "bees-in", "bees-out")))
        assert len(found) == told
