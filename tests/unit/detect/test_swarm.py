"""When a swarm has left: on made-up hives, nothing of the simulators."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
import pytest

from hivewatch.detect import run, swarm
from hivewatch.detect.finding import Finding
from hivewatch.inspections import Inspection
from hivewatch.signals.exodus import exodus_of

DAY, HOUR = 5, 12.5  # 13:30 British summer time
BEE_KG = 0.000136  # published: 0.1 g and 36 mg of honey, constants in Becher et al. (2014)
WEIGHED = ("weight", "nest", "ambient")
COUNTED = (*WEIGHED, "bees-in", "bees-out")


def leave(hive: object, kg: float, minutes: float = 10, warm_up_k: float = 1.5) -> int:
    """Let a swarm leave: weight, nest and counter; gives when."""
    at_s = hive.at(DAY, HOUR)
    hive.add(at_s, -kg, minutes=minutes)
    before = (hive.time_s > at_s - 1200) & (hive.time_s <= at_s + 60 * minutes)
    hive.series["nest"][before] += warm_up_k
    count(hive)
    spread = (hive.time_s > at_s) & (hive.time_s <= at_s + max(60 * minutes, hive.step_s))
    hive.series["bees-out"][spread] += kg / BEE_KG / spread.sum()
    return at_s


def visit(at_s: int) -> Inspection:
    return Inspection.model_validate(
        {"hive": "hazel-1", "at": datetime.fromtimestamp(at_s, UTC).isoformat()}
    )


def count(hive: object) -> None:
    """Give the hive a counter on an ordinary season."""
    of_day = (hive.time_s - hive.at(0, 0)) / 3600 % 24
    rate = np.clip(np.sin((of_day - 5) / 14 * np.pi), 0, None) * 60 * hive.step_s / 60
    rng = np.random.default_rng(hive.seed + 7)
    hive.series["bees-out"] = rng.poisson(rate).astype(float)
    hive.series["bees-in"] = rng.poisson(rate * 0.95).astype(float)


def swarms(found: list[Finding]) -> list[Finding]:
    return [one for one in found if one.kind == "swarm"]


@pytest.mark.parametrize("most", [1300.0, 2000.0, 4000.0])
def test_a_counter_that_sees_a_part_of_the_crowd_bears_out_the_nest(
    made_up_hive: Callable, limits: object, most: float
) -> None:
    hive = made_up_hive(step_s=300)
    at_s = leave(hive, 2.2)
    hive.series["bees-out"] = np.minimum(hive.series["bees-out"], most)
    found = run.detect(hive.window(COUNTED), (), limits, at_s + 7200)
    (one,) = [one for one in found if one.kind in {"swarm", "handling"}]
    assert one.kind == "swarm"
    assert one.measures["kg_lost"] == pytest.approx(2.2, abs=0.2)
    assert one.detected_s <= at_s + 1800


@pytest.mark.parametrize("kg", [1.0, 1.9, 3.2])
@pytest.mark.parametrize("step_s", [60, 300, 900])
@pytest.mark.parametrize("quantities", [COUNTED, WEIGHED], ids=["counted", "weighed"])
def test_a_swarm_is_found_with_its_weight(
    made_up_hive: Callable, limits: object, kg: float, step_s: int, quantities: tuple[str, ...]
) -> None:
    hive = made_up_hive(step_s=step_s)
    at_s = leave(hive, kg)
    (one,) = swarm.find(hive.window(quantities), [], limits)
    assert abs(one.start_s - at_s) <= 2 * step_s
    assert one.measures["kg_lost"] == pytest.approx(kg, rel=0.15)
    assert one.measures["bees_left"] == pytest.approx(kg / BEE_KG, rel=0.2)


@pytest.mark.parametrize(("step_s", "kg"), [(300, 0.9), (600, 0.9), (900, 1.9), (1800, 1.9)])
def test_a_counter_may_date_its_records_to_their_begin(
    made_up_hive: Callable, limits: object, kg: float, step_s: int
) -> None:
    """So the swarm stands in the record before the weight falls, all of it where it is coarse."""
    hive = made_up_hive(step_s=step_s)
    leave(hive, kg, warm_up_k=0.0)
    for name in ("bees-out", "bees-in"):
        hive.series[name] = np.roll(hive.series[name], -1)
    (one,) = swarm.find(hive.window(COUNTED), [], limits)
    assert one.measures["kg_lost"] == pytest.approx(kg, rel=0.15)
    assert one.measures["bees_left"] == pytest.approx(kg / BEE_KG, rel=0.2)


def test_what_the_counter_did_not_see_go_is_no_swarm(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive()
    hive.add(hive.at(DAY, HOUR), -2.0, minutes=10)
    count(hive)
    assert swarm.find(hive.window(COUNTED), [], limits) == []


def test_nothing_swarms_at_night(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive()
    hive.add(hive.at(DAY, 1.0), -2.0, minutes=10)
    assert swarm.find(hive.window(WEIGHED), [], limits) == []


def test_a_lid_that_flies_off_is_no_swarm(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(step_s=60)
    hive.add(hive.at(DAY, HOUR), -1.8)
    assert swarm.find(hive.window(WEIGHED), [], limits) == []


def test_a_super_taken_off_is_no_swarm(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive()
    hive.add(hive.at(DAY, HOUR), -14.0, minutes=5)
    assert swarm.find(hive.window(WEIGHED), [], limits) == []


def test_foragers_that_fly_again_after_a_shower_are_no_swarm(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive()
    count(hive)
    home, away = hive.at(DAY, HOUR - 1.5), hive.at(DAY, HOUR)
    hive.add(home, 0.9, minutes=15)
    hive.add(away, -0.9, minutes=30)
    for name, at_s, minutes in (("bees-in", home, 15), ("bees-out", away, 30)):
        spread = (hive.time_s > at_s) & (hive.time_s <= at_s + 60 * minutes)
        hive.series[name][spread] += 9000 / spread.sum()
    assert swarm.find(hive.window(COUNTED), [], limits) == []


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("step_s", [60, 300, 1800])
def test_an_ordinary_season_has_no_swarm(
    made_up_hive: Callable, limits: object, seed: int, step_s: int
) -> None:
    hive = made_up_hive(step_s=step_s, days=30 if step_s > 60 else 6, seed=seed)
    count(hive)
    hive.rain(hive.at(3, 13), 0.9, 40, 5)
    assert swarm.find(hive.window(COUNTED), [], limits) == []
    assert swarm.find(hive.window(WEIGHED), [], limits) == []


def test_a_swarm_is_not_also_called_handling(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive()
    leave(hive, 2.2)
    window = hive.window(COUNTED)
    found = run.detect(window, [], limits, window.as_of_s)
    assert [one.kind for one in found if one.kind in {"swarm", "handling"}] == ["swarm"]


@pytest.mark.parametrize("step_s", [60, 120, 300, 600])
@pytest.mark.parametrize("quantities", [WEIGHED, ("weight",)], ids=["probe", "scale alone"])
def test_without_a_counter_a_plain_swarm_is_told_as_soon(
    made_up_hive: Callable, limits: object, step_s: int, quantities: tuple[str, ...]
) -> None:
    hive = made_up_hive(step_s=step_s)
    at_s = leave(hive, 2.2, minutes=12)
    (one,) = swarm.find(hive.window(quantities), [], limits)
    assert one.detected_s <= at_s + 12 * 60 + 10 * 60 + 2 * step_s
    for later_s in range(one.detected_s, one.detected_s + 7200, 900):  # and never taken back
        then = swarm.find(hive.window(quantities, until_s=later_s), [], limits)
        assert [(found.start_s, found.detected_s) for found in then] == [
            (one.start_s, one.detected_s)
        ]


def test_where_the_nest_stayed_as_it_was_the_scale_alone_says_nothing(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive(step_s=60)
    leave(hive, 2.2, warm_up_k=0.0)
    assert swarm.find(hive.window(WEIGHED), [], limits) == []
    assert len(swarm.find(hive.window(COUNTED), [], limits)) == 1  # a counter saw them go


@pytest.mark.parametrize("step_s", [300, 1800])
@pytest.mark.parametrize("flow_kg", [0.0, 4.0])
def test_what_came_in_meanwhile_is_no_part_of_the_loss(
    made_up_hive: Callable, limits: object, step_s: int, flow_kg: float
) -> None:
    hive = made_up_hive(step_s=step_s, flow_kg=flow_kg)
    leave(hive, 2.5)
    (one,) = swarm.find(hive.window(COUNTED), [], limits)
    assert one.measures["kg_lost"] == pytest.approx(2.5, rel=0.08)


def test_foragers_let_out_after_a_wet_morning_are_no_swarm(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive(step_s=1800)
    count(hive)
    at_s = hive.at(DAY, HOUR)
    kept_in = (hive.time_s > hive.at(DAY, 5)) & (hive.time_s <= at_s)
    for name in ("bees-in", "bees-out"):
        hive.series[name][kept_in] = 20
    hive.add(at_s, -0.8, minutes=25)
    out = (hive.time_s > at_s) & (hive.time_s <= at_s + 1800)
    hive.series["bees-out"][out] += 6000
    hive.series["bees-in"][out] = 200
    hive.series["bees-out"][(hive.time_s > at_s + 1800) & (hive.time_s <= at_s + 7200)] = 6000
    hive.series["bees-in"][(hive.time_s > at_s + 1800) & (hive.time_s <= at_s + 7200)] = 5800
    assert swarm.find(hive.window(COUNTED), [], limits) == []


def test_a_swarm_that_comes_home_is_told_and_taken_back(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive()
    at_s = leave(hive, 2.2)
    home_s = at_s + 40 * 60
    hive.add(home_s, 2.1, minutes=10)  # the queen could not fly
    home = (hive.time_s > home_s) & (hive.time_s <= home_s + 600)
    hive.series["bees-in"][home] += 2.1 / BEE_KG / home.sum()
    assert len(swarm.find(hive.window(COUNTED, until_s=home_s), [], limits)) == 1
    assert swarm.find(hive.window(COUNTED), [], limits) == []
    assert swarm.find(hive.window(WEIGHED), [], limits) == []


@pytest.mark.parametrize("step_s", [300, 900, 1800])
def test_a_nest_that_warmed_up_tells_it_with_the_first_reading_after(
    made_up_hive: Callable, limits: object, step_s: int
) -> None:
    hive = made_up_hive(step_s=step_s)
    at_s = leave(hive, 2.2, warm_up_k=2.0)
    (one,) = swarm.find(hive.window(WEIGHED), [], limits)
    assert one.detected_s <= at_s + 600 + step_s
    (first,) = swarm.find(hive.window(WEIGHED, until_s=one.detected_s), [], limits)
    assert first.confidence < one.confidence  # it may still be somebody's hand
    assert swarm.find(hive.window(WEIGHED, until_s=one.detected_s - 1), [], limits) == []


@pytest.mark.parametrize("step_s", [300, 1800])
def test_what_may_be_a_frame_taken_out_between_two_readings_is_told_as_either(
    made_up_hive: Callable, limits: object, step_s: int
) -> None:
    hive = made_up_hive(step_s=step_s)
    at_s = hive.at(DAY, HOUR)
    hive.add(at_s, -2.4)
    opened = (hive.time_s > at_s) & (hive.time_s <= at_s + 3600)
    hive.series["nest"][opened] -= 2.0
    found = swarm.find(hive.window(WEIGHED), [], limits)
    if step_s < 1800:  # the nest would have been seen to warm up
        assert found == []
        return
    (one,) = found
    assert one.confidence == 0.5
    assert "frames were taken out" in one.evidence[1]
    assert swarm.find(hive.window(WEIGHED), [visit(at_s + 1800)], limits) == []
    assert swarm.find(hive.window(WEIGHED, until_s=one.detected_s - 1), [], limits) == []


@pytest.mark.parametrize("quantities", [COUNTED, WEIGHED], ids=["counted", "weighed"])
@pytest.mark.parametrize(("warm_up_k", "told"), [(1.5, 1), (0.0, 0)])
def test_a_cast_that_half_hourly_readings_hide_is_told_by_the_nest(
    made_up_hive: Callable, limits: object, quantities: tuple, warm_up_k: float, told: int
) -> None:
    hive = made_up_hive(step_s=1800)
    leave(hive, 0.55, minutes=30, warm_up_k=warm_up_k)
    found = swarm.find(hive.window(quantities), [], limits)
    assert len(found) == told
    for one in found:
        assert one.measures["kg_lost"] == pytest.approx(0.55, abs=0.15)
        for later_s in range(one.detected_s, one.detected_s + 4 * 3600, 1800):
            assert len(swarm.find(hive.window(quantities, until_s=later_s), [], limits)) == 1


@pytest.mark.parametrize("told", [1, 0])
def test_a_cast_of_three_thousand_bees_is_told_by_a_counter_that_saw_them(
    made_up_hive: Callable, limits: object, told: int
) -> None:
    """Each takes her honey, between readings of a quarter of an hour; a frame does not fly."""
    for seed in range(3):
        hive = made_up_hive(step_s=900, seed=seed, noise_kg=0.005)
        leave(hive, 0.46, minutes=10)
        if not told:
            count(hive)  # as on any other day
        found = swarm.find(hive.window(COUNTED), [], limits)
        assert len(found) == told
        for one in found:
            assert one.measures["kg_lost"] == pytest.approx(0.46, abs=0.1)


def test_foragers_that_come_home_at_once_are_no_part_of_what_left(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive(step_s=1800)
    at_s = leave(hive, 1.8)
    hive.add(at_s + 1800, 0.7, minutes=20)  # a shower sends them home
    back = (hive.time_s > at_s + 1800) & (hive.time_s <= at_s + 3600)
    hive.series["bees-in"][back] += 0.7 / BEE_KG
    (one,) = swarm.find(hive.window(COUNTED), [], limits)
    assert one.measures["kg_lost"] == pytest.approx(1.8, rel=0.15)


def test_foragers_let_out_under_a_calm_nest_are_no_swarm_though_the_counter_sees_them(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive(step_s=1800)
    leave(hive, 0.9, warm_up_k=0.0)
    assert swarm.find(hive.window(COUNTED), [], limits) == []
    warmed = made_up_hive(step_s=1800)
    leave(warmed, 0.9, warm_up_k=1.5)
    assert len(swarm.find(warmed.window(COUNTED), [], limits)) == 1


def test_the_scale_alone_is_surer_once_a_visit_would_be_over(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive(step_s=600)
    at_s = leave(hive, 2.2, minutes=12)
    (last,) = swarm.find(hive.window(("weight",)), [], limits)
    (first,) = swarm.find(hive.window(("weight",), until_s=last.detected_s), [], limits)
    assert first.detected_s == last.detected_s <= at_s + 12 * 60 + 10 * 60 + 2 * 600
    assert first.confidence < last.confidence


def test_what_a_visit_took_off_and_put_on_again_is_taken_back(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive(step_s=300)
    at_s = hive.at(DAY, HOUR)
    hive.add(at_s, -0.9)
    hive.add(at_s + 300, -0.9)  # a feeder and a cover board, one after the other
    hive.add(at_s + 1500, 1.8)
    early = swarm.find(hive.window(("weight",), until_s=at_s + 1200), [], limits)
    assert [one.confidence < 0.6 for one in early] == [True]
    assert swarm.find(hive.window(("weight",)), [], limits) == []


def test_feed_that_robbers_carry_off_is_no_swarm(made_up_hive: Callable, limits: object) -> None:
    hive = made_up_hive(step_s=600)
    at_s = leave(hive, 2.2, minutes=12)
    (alone,) = swarm.find(hive.window(("weight",)), [], limits)
    assert alone.confidence < 0.9  # nothing but the scale says so
    hive.add(at_s - 20 * 3600, 3.0)
    assert swarm.find(hive.window(("weight",)), [], limits) == []


def test_crowds_both_ways_are_no_swarm_where_the_counter_errs_by_as_much(
    made_up_hive: Callable, limits: object
) -> None:
    hive = made_up_hive(step_s=1800)
    at_s = leave(hive, 1.5, warm_up_k=0.0)
    quantities = ("weight", "bees-in", "bees-out")
    assert len(swarm.find(hive.window(quantities), [], limits)) == 1
    during = (hive.time_s > at_s - 2 * 3600) & (hive.time_s <= at_s + 2 * 3600)
    for name in ("bees-in", "bees-out"):  # robbers
        hive.series[name][during] += 60_000
    assert swarm.find(hive.window(quantities), [], limits) == []


def test_foragers_that_a_shower_had_sent_home_fly_again_and_are_no_swarm(
    made_up_hive: Callable, limits: object
) -> None:
    for home_kg, told in ((0.9, 0), (0.0, 1)):
        hive = made_up_hive(step_s=1800)
        at_s = leave(hive, 0.9, minutes=20, warm_up_k=0.0)
        hive.add(at_s - 5400, home_kg, minutes=20)
        found = swarm.find(hive.window(("weight", "bees-in", "bees-out")), [], limits)
        assert len(found) == told


def test_a_nest_that_warms_up_with_the_morning_says_nothing_of_a_swarm(
    made_up_hive: Callable, limits: object
) -> None:
    for fell_k, told in ((0.0, 0), (1.4, 1)):
        hive = made_up_hive(step_s=1800)
        at_s = hive.at(DAY, HOUR)
        hive.add(at_s, -0.6, minutes=30)
        since_h = (hive.time_s - at_s) / 3600
        hive.series["nest"] = 34.6 + 0.85 * np.clip(since_h / 1.5 + 1, 0, 1)
        hive.series["nest"][hive.time_s > at_s + 1800] -= fell_k
        assert len(swarm.find(hive.window(WEIGHED), [], limits)) == told


def test_a_cast_across_two_half_hours_is_told_by_a_counter_that_saw_a_rush(
    made_up_hive: Callable,
) -> None:
    # of many foragers as many may be on their way; of few, they may have been kept in
    for traffic, told in ((0.87, 1), (1.5, 0), (0.5, 0)):
        hive = made_up_hive(step_s=1800)
        at_s = hive.at(DAY, HOUR)
        hive.add(at_s, -0.8, minutes=60)
        count(hive)
        for name in ("bees-in", "bees-out"):
            hive.series[name] *= traffic
        gone = (hive.time_s > at_s) & (hive.time_s <= at_s + 3600)
        hive.series["bees-out"][gone] += 0.8 / BEE_KG / gone.sum()
        window = hive.window(("weight", "bees-in", "bees-out"))
        assert len(exodus_of(window)) == told


@pytest.mark.parametrize("dated", ["end", "begin"])
@pytest.mark.parametrize("told", [1, 0])
def test_a_cast_is_told_by_a_coarse_counter_with_crowds_and_a_bias(
    made_up_hive: Callable, limits: object, dated: str, told: int
) -> None:
    """Three records hide among twice three thousand what the right two of them show."""
    hive = made_up_hive(step_s=1800)
    at_s = hive.at(DAY, HOUR)
    hive.add(at_s, -1.06, minutes=10)
    count(hive)
    hive.series["bees-out"] *= 1.7
    hive.series["bees-in"] *= 1.9
    record = int(hive.time_s.searchsorted(at_s, side="right"))
    hive.series["bees-out"][record] += 4000 * told
    if dated == "begin":
        for name in ("bees-out", "bees-in"):
            hive.series[name] = np.roll(hive.series[name], -1)
    found = swarm.find(hive.window(("weight", "bees-in", "bees-out")), [], limits)
    assert len(found) == told
    for one in found:
        assert one.measures["kg_lost"] == pytest.approx(1.06, abs=0.15)
        for later_s in range(one.detected_s, one.detected_s + 4 * 3600, 1800):
            later = hive.window(("weight", "bees-in", "bees-out"), until_s=later_s)
            assert len(swarm.find(later, [], limits)) == 1


@pytest.mark.parametrize("told", ["swarm", "handling"])
def test_a_look_into_the_hive_right_after_a_swarm_does_not_hide_it(
    made_up_hive: Callable, limits: object, told: str
) -> None:
    """Whoever lifted a part, or a bad reading, sends out no crowd that weighs what is gone."""
    hive = made_up_hive(step_s=1800)
    at_s = leave(hive, 1.2)
    if told == "handling":
        count(hive)
    lifted = int(hive.time_s.searchsorted(at_s, side="right"))
    hive.series["weight"][lifted] -= 14.0
    found = run.detect(hive.window(COUNTED), (), limits, at_s + 4 * 3600)
    assert [one.kind for one in found if one.kind in {"swarm", "handling"}] == [told]


def test_the_last_bees_of_a_cast_in_the_next_record_are_no_foragers_let_out(
    made_up_hive: Callable, limits: object
) -> None:
    """Across readings of ten minutes, with the tail of it in the counter's record after."""
    hive = made_up_hive(step_s=600, noise_kg=0.005)
    at_s = hive.at(DAY, HOUR)
    hive.add(at_s - 300, -0.52, minutes=10)
    count(hive)
    record = int(hive.time_s.searchsorted(at_s, side="right"))
    hive.series["bees-out"][record : record + 2] += [2800, 1000]
    (one,) = swarm.find(hive.window(("weight", "bees-in", "bees-out")), [], limits)
    assert one.measures["kg_lost"] == pytest.approx(0.52, abs=0.1)


@pytest.mark.parametrize(("kg", "told"), [(2.3, "swarm"), (1.2, "handling")])
def test_a_swarm_that_leaves_while_somebody_works_is_told_by_a_crowd_beyond_all_foragers(
    made_up_hive: Callable, limits: object, kg: float, told: str
) -> None:
    """No nest is asked: parts are off as it leaves, and the reading after is in the midst of it."""
    hive = made_up_hive(step_s=900)
    at_s = leave(hive, kg, minutes=16)
    lifted = int(hive.time_s.searchsorted(at_s))
    hive.series["weight"][lifted] -= 25.0
    found = run.detect(hive.window(("weight", "bees-in", "bees-out")), (), limits, at_s + 4 * 3600)
    assert [one.kind for one in found if one.kind in {"swarm", "handling"}] == [told]


@pytest.mark.parametrize(("traffic", "bees", "told"), [(0.5, 6000, 1), (1.1, 2500, 0)])
def test_a_rush_tells_a_cast_of_a_scale_that_is_unsure_of_it(
    made_up_hive: Callable, limits: object, traffic: float, bees: int, told: int
) -> None:
    """The first bees were gone at the reading before, so that the weight went on falling."""
    hive = made_up_hive(step_s=900)
    at_s = hive.at(DAY, HOUR)
    hive.add(at_s, -0.9, minutes=10)
    record = int(hive.time_s.searchsorted(at_s, side="right"))
    hive.series["weight"][record - 1] -= 0.2
    hive.series["weight"][record - 6 : record - 1] += np.linspace(0, 0.1, 5)
    count(hive)
    for name in ("bees-in", "bees-out"):
        hive.series[name] *= traffic
    hive.series["bees-out"][record] += bees
    found = swarm.find(hive.window(("weight", "bees-in", "bees-out")), [], limits)
    assert len(found) == told
