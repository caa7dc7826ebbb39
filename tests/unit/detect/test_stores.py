"""Stores that run low, on made-up hives whose honey is known: a weight is built up from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hivewatch.detect import stores
from hivewatch.detect.finding import Finding
from hivewatch.detect.run import settle_claims
from hivewatch.inspections import Inspection
from hivewatch.signals.colony import HOME_SHARE
from hivewatch.signals.larder import larder_of, likely_kg

EMPTY_KG = 21.5
BEES, CELLS, POLLEN_KG = 20_000, 15_000, 1.0
REST_KG = EMPTY_KG + 1.11e-4 * BEES + 1e-4 * CELLS + POLLEN_KG
DAY_S = 86_400


def hungry(made_up_hive, honey_kg=8.0, eaten_kg=0.4, days=24, *, known=True, cold=False):
    """A hive that has so much honey, eats so much a day, finds nothing, and loses old bees."""
    hive = made_up_hive(days=days, flow_kg=0.0, empty_kg=EMPTY_KG if known else None)
    hive.series["ambient"] += -14 if cold else 6
    rng = np.random.default_rng(1)
    day = (hive.time_s - hive.time_s[0]) / DAY_S
    hour = 24 * (day % 1)
    out = 0.0 if cold else np.clip((hour - 6) / 3, 0, 1) - np.clip((hour - 15) / 5, 0, 1)
    rest = EMPTY_KG + 1.2 + 0.5 + 0.5 if cold else REST_KG
    died_kg = 0.0 if cold else 0.04  # 400 bees a day
    noise = rng.normal(0, 0.02, len(day))
    hive.series["weight"] = rest + honey_kg - (eaten_kg + died_kg) * day - 0.4 * out + noise
    return hive


def seen(hive, day, **told):
    at = np.datetime64(hive.at(day, 12), "s").item().isoformat() + "+00:00"
    return Inspection.model_validate({"hive": "hazel-1", "at": at, **told}, strict=False)


def counted(hive):
    """What somebody counts every week."""
    young = round(CELLS * 9 / 21)
    brood = {"eggs": young // 3, "open": young - young // 3, "capped": CELLS - young}
    adults = round(HOME_SHARE * BEES)
    return [seen(hive, day, adults=adults, brood=brood) for day in range(0, hive.days, 7)]


def find(hive, limits, inspections=(), until_s=None, *, winter=False):
    window = winter_window(hive, until_s) if winter else hive.window(until_s=until_s)
    visits = inspections if winter else [*counted(hive), *inspections]
    return stores.find(window, visits, limits)


def winter_window(hive, until_s=None):
    """It is May: so it is in the south."""
    window = hive.window(until_s=until_s)
    return replace(window, yard=replace(window.yard, latitude=-52.2))


def larder(hive, *inspections):
    return larder_of(hive.window(), [*counted(hive), *inspections])


def test_it_is_told_with_the_days_that_are_left(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive)
    (one,) = find(hive, limits)
    day = (one.detected_s - hive.at(0, 0)) / DAY_S
    left_d = (8.0 - 0.4 * day) / 0.4
    assert left_d > 7  # days before
    assert one.measures["days_left"] == pytest.approx(left_d, rel=0.25)
    error_kg = one.measures["kg_error"]
    assert 0.5 < error_kg < 1.2  # a scale, an empty hive and weekly counts
    assert one.measures["stores_kg"] == pytest.approx(8.0 - 0.4 * day, abs=error_kg)
    least_d = error_kg / one.measures["kg_a_day"]  # as if what is eaten were known
    assert least_d < one.measures["days_error"] < 1.5 * least_d
    assert "days are left if nothing comes in" in one.evidence[1]
    assert (one.status, one.end_s) == ("open", None)


def test_in_winter_snow_hides_nothing_for_long(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive, honey_kg=1.6, eaten_kg=0.04, days=40, cold=True)
    hive.add(hive.at(15, 3), 1.5, minutes=240)
    hive.add(hive.at(33, 9), -1.5, minutes=300)
    (one,) = find(hive, limits, winter=True)
    day = (one.detected_s - hive.at(0, 0)) / DAY_S
    # so near to nothing there is rather more than less
    assert one.measures["stores_kg"] - (1.6 - 0.04 * day) < one.measures["kg_error"] / 2
    assert larder_of(winter_window(hive), []).stores_kg[22] == pytest.approx(0.72, abs=0.3)
    assert one.measures["kg_a_day"] == pytest.approx(0.04, rel=0.15)
    assert 17 < day < 38  # 0.9 kg are left on day 17


def test_it_is_the_surer_the_further_below_the_mark_beside_its_error(made_up_hive, limits) -> None:
    sure = stores._sure
    assert sure(3.0, 1.0, 4.0) == pytest.approx(0.841, abs=0.001)  # one standard deviation
    assert sure(1.0, 1.0, 4.0) == stores.SURE_MOST
    assert sure(3.9, 5.0, 4.0) == pytest.approx(0.508, abs=0.001)
    (one,) = find(hungry(made_up_hive), limits)
    assert 0.5 <= one.confidence <= stores.SURE_MOST


def test_a_hive_that_lives_has_no_less_than_nothing(made_up_hive, limits) -> None:
    assert likely_kg(4.0, 0.8) == pytest.approx(4.0, abs=0.01)
    assert likely_kg(0.0, 1.0) == pytest.approx(0.6745, abs=0.001)  # of half a normal distribution
    assert likely_kg(-1.0, 1.0) == pytest.approx(
        -1.0 + 1.4098, abs=0.001
    )  # its tables: 0.15866 / 2
    assert 0.2 < likely_kg(-30.0, 1.0) < likely_kg(-1.0, 1.0)
    (one,) = find(hungry(made_up_hive, honey_kg=0.0, days=10), limits)
    assert one.measures["stores_kg"] > 0
    assert one.measures["days_left"] > 0
    assert one.measures["lowest_stores_kg"] > 0
    assert one.confidence == stores.SURE_MOST


def test_what_a_cluster_may_not_reach_is_told_with_no_less_than_an_even_chance(
    made_up_hive, limits
) -> None:
    """At 40 g a day 0.9 kg are three weeks, more than the days by which others are told."""
    (one,) = find(hungry(made_up_hive, honey_kg=1.0, eaten_kg=0.04, cold=True), limits, winter=True)
    assert one.measures["days_left"] > stores.LOW_DAYS
    assert one.confidence >= 0.5


def test_enough_is_not_told(made_up_hive, limits) -> None:
    assert find(hungry(made_up_hive, honey_kg=16.0), limits) == []
    cluster = hungry(made_up_hive, honey_kg=4.0, eaten_kg=0.04, cold=True)
    assert find(cluster, limits, winter=True) == []


def test_with_brood_in_a_cold_week_more_is_eaten_than_by_a_cluster(made_up_hive) -> None:
    hive = hungry(made_up_hive, honey_kg=12.0, eaten_kg=0.25, cold=True)
    rate_kg = larder(hive).rate_kg  # it is May
    assert rate_kg[16] == pytest.approx(0.25, rel=0.25)


def test_what_was_weighed_before_a_flow_is_no_measure_in_a_cold_week(made_up_hive) -> None:
    hive = hungry(made_up_hive, honey_kg=6.0, eaten_kg=0.1, days=40)
    hive.add(hive.at(14, 9), 5.0, minutes=4 * DAY_S / 60)
    hive.series["ambient"][hive.time_s > hive.at(20, 0)] -= 20
    found = larder(hive).stores_kg
    assert found[30] == pytest.approx(6.0 + 5.0 - 0.14 * 30, abs=1.0)


def test_snow_and_thaw_are_not_eaten(made_up_hive) -> None:
    hive = hungry(made_up_hive, honey_kg=12.0, eaten_kg=0.04, days=60, cold=True)
    for day in range(30, 60):
        hive.add(hive.at(day, 12), -0.6, minutes=300)  # a month's snow goes
    assert larder_of(winter_window(hive), []).rate_kg[-2] < 2.5 * 0.04


def test_feeding_ends_it(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive)
    hive.add(hive.at(18, 15), 7.0)
    (one,) = find(hive, limits)
    assert hive.at(18, 15) < one.end_s < hive.at(21, 0)
    assert one.status == "ended"


def test_a_super_is_no_food(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive)
    hive.add(hive.at(4, 12), 6.2)  # there are six kilograms and a half: room, not feed
    (one,) = find(hive, limits)
    (without,) = find(hungry(made_up_hive), limits)
    assert 0 <= one.start_s - without.start_s <= 4 * DAY_S  # nobody wrote down what it was


def test_what_is_written_down_says_whether_it_was_a_super(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive, honey_kg=5.5)
    hive.add(hive.at(4, 12), 6.2)  # by weight alone it would be feed
    note = seen(hive, 4, actions=[{"what": "super added", "kg": 6.2}])
    (one,) = find(hive, limits, [note])
    assert one.end_s is None
    assert one.start_s < hive.at(8, 0)


def test_a_visit_tells_the_stores_where_the_empty_hive_is_not_known(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive, known=False)
    assert find(hive, limits) == []
    (one,) = find(hive, limits, [seen(hive, 6, stores_kg=5.6)])
    day = (one.detected_s - hive.at(0, 0)) / DAY_S
    left_d = (8.0 - 0.4 * day) / 0.4
    assert abs(one.measures["days_left"] - left_d) < one.measures["days_error"] / 2
    assert one.confidence < 0.85


def test_frames_that_were_judged_tell_it_too(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive, known=False)
    frames = [{"frame": n, "side": side, "honey": 0.5} for n in (1, 2, 3, 4) for side in "ab"]
    found = find(hive, limits, [seen(hive, 6, frames=frames)])  # 8 half sides: 5.4 kg
    assert len(found) == 1


def test_a_swarm_takes_bees_and_not_the_honey(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive, honey_kg=10.0, eaten_kg=0.3, days=16)
    hive.add(hive.at(10, 13), -3.0, minutes=12)  # 7 kg were left, and 0.8 kg went along
    assert larder(hive).stores_kg[12] == pytest.approx(10.0 - 0.3 * 12 - 0.8, abs=0.6)
    assert find(hive, limits) == []


def test_two_empty_boxes_taken_off_take_no_honey(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive, honey_kg=14.0, days=20)
    for day in (3, 6):
        hive.add(hive.at(day, 12), 6.2)
    hive.add(hive.at(11, 12), -12.3)
    assert find(hive, limits, until_s=hive.at(16, 12)) == []


@pytest.mark.parametrize(("latitude", "is_box"), [(52.2, True), (-36.0, False)])
def test_what_nobody_wrote_down_is_room_in_spring_and_food_in_autumn(
    made_up_hive, latitude, is_box
) -> None:
    """Common practice, no source: room from April on, feed from August; in May the south feeds."""
    hive = hungry(made_up_hive, honey_kg=14.0, eaten_kg=0.3, days=20)
    hive.add(hive.at(10, 12), 6.0)
    window = hive.window()
    window = replace(window, yard=replace(window.yard, latitude=latitude))
    stores_kg = larder_of(window, []).stores_kg
    assert (stores_kg[12] - stores_kg[9] > 3) is not is_box


def test_feed_and_room_at_one_visit_are_told_apart(made_up_hive) -> None:
    hive = hungry(made_up_hive, honey_kg=5.0, eaten_kg=0.3, days=20)
    hive.add(hive.at(10, 12), 9.0)
    stores_kg = larder(hive).stores_kg
    assert stores_kg[12] - stores_kg[9] == pytest.approx(3.0 - 3 * 0.3, abs=0.3)


def test_what_stood_on_a_lid_or_dried_off_is_no_rate(made_up_hive) -> None:
    hive = hungry(made_up_hive, honey_kg=20.0, eaten_kg=0.3, days=20)
    hive.add(hive.at(14, 20), 1.2, minutes=60)
    hive.add(hive.at(16, 9), -1.2, minutes=400)  # slowly: what dries off
    found = larder(hive)
    assert found.net_kg[18] == pytest.approx(0.3, abs=0.06)


def test_after_a_great_harvest_nobody_knows_to_a_kilogram(made_up_hive) -> None:
    """Own choice: a hundredth of what was moved, beside the error that there is anyway."""
    hive = hungry(made_up_hive, honey_kg=90.0, days=20)
    before = larder(hive).error_kg[14]
    hive.add(hive.at(10, 12), -70.0)
    after = larder(hive).error_kg[14]
    assert after**2 - before**2 == pytest.approx(0.7**2, abs=0.02)
    assert larder(hive, seen(hive, 12, stores_kg=2.0)).error_kg[14] < after - 0.1


def test_what_great_boxes_hide_keeps_a_shortage_back_for_some_days(made_up_hive, limits) -> None:
    """Own choice: a hundredth of what was moved, beside the error that there is anyway."""
    (alone,) = find(hungry(made_up_hive, honey_kg=8.0, days=28), limits)
    hive = hungry(made_up_hive, honey_kg=158.0, days=28)
    hive.add(hive.at(3, 12), -150.0)
    (one,) = find(hive, limits)
    assert one.measures["kg_error"] > alone.measures["kg_error"]
    assert 0 < (one.detected_s - alone.detected_s) / DAY_S < 5


def test_a_hive_off_its_scale_has_no_shortage(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive, honey_kg=16.0)
    hive.fall(hive.at(10, 1), 0.3, until_s=hive.at(14, 10))
    assert find(hive, limits) == []


@pytest.mark.parametrize("later", [0, 1, 4])
def test_what_is_told_stands_when_time_goes_on(made_up_hive, limits, later) -> None:
    hive = hungry(made_up_hive)
    (whole,) = find(hive, limits)
    (part,) = find(hive, limits, until_s=whole.detected_s + 3600 + later * DAY_S)
    assert (part.start_s, part.detected_s) == (whole.start_s, whole.detected_s)
    assert part.measures["days_left"] == whole.measures["days_left"]
    assert find(hive, limits, until_s=whole.detected_s - 3600) == []


def test_without_a_scale_there_is_nothing_to_say(made_up_hive, limits) -> None:
    hive = hungry(made_up_hive)
    assert stores.find(hive.window(("nest", "ambient")), [], limits) == []


def test_a_colony_that_is_dead_runs_out_of_nothing() -> None:
    """What is left of the honey, or was never there, is no matter of feeding any more."""
    told = {"confidence": 0.9, "measures": {}, "evidence": ("",)}
    dead = Finding("dead_out", "hive:hazel-1", 10 * DAY_S, None, 12 * DAY_S, **told)
    before = Finding("low_stores", "hive:hazel-1", 2 * DAY_S, 9 * DAY_S, 3 * DAY_S, **told)
    after = Finding("low_stores", "hive:hazel-1", 20 * DAY_S, None, 21 * DAY_S, **told)
    other = Finding("low_stores", "hive:hazel-2", 20 * DAY_S, None, 21 * DAY_S, **told)
    assert settle_claims([dead, before, after, other]) == [dead, before, other]


def test_a_hive_that_was_set_up_again_and_lacks_food_is_told() -> None:
    told = {"confidence": 0.9, "measures": {}, "evidence": ("",)}
    fall = Finding("toppled", "hive:hazel-1", 10 * DAY_S, 11 * DAY_S, 10 * DAY_S, **told)
    lies = Finding("toppled", "hive:hazel-1", 10 * DAY_S, None, 10 * DAY_S, **told)
    lasts = Finding("low_stores", "hive:hazel-1", 12 * DAY_S, None, 13 * DAY_S, **told)
    short = Finding("low_stores", "hive:hazel-1", 12 * DAY_S, 13 * DAY_S, 13 * DAY_S, **told)
    assert lasts in settle_claims([fall, lasts])
    assert short not in settle_claims([fall, short])
    assert lasts not in settle_claims([lies, lasts])
