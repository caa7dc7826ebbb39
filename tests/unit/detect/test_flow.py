"""Nectar flow and dearth of a yard, on made-up days: nothing of the simulators."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_up_yard import YARD, day_of, made_up_days, yard_of

from hivewatch.detect import flow
from hivewatch.detect.finding import Finding
from hivewatch.signals.days import Days


def of_kind(found: list[Finding], kind: str) -> list[Finding]:
    return [one for one in found if one.kind == kind]


QUIET, GOOD = [0.0] * 8, [1.0] * 10


def test_a_flow_is_found_with_its_start_its_end_and_its_kilograms() -> None:
    (one,) = of_kind(flow.find(YARD, yard_of(QUIET + GOOD + QUIET)), "nectar_flow")
    assert (day_of(one.start_s), day_of(one.end_s)) == (8, 18)
    assert one.measures["kg_gained"] == pytest.approx(10, rel=0.1)
    assert one.measures["kg_a_day"] == pytest.approx(1, rel=0.1)
    assert one.status == "ended"


def test_a_flow_is_told_on_the_evening_of_its_second_day() -> None:
    (one,) = of_kind(flow.find(YARD, yard_of(QUIET + GOOD)), "nectar_flow")
    assert day_of(one.detected_s) == 9
    assert one.detected_s % 86_400 == (22.5 - 1) * 3600  # dusk, British summer time
    assert one.status == "open"
    assert one.end_s is None


def test_a_total_is_the_surer_the_more_hives_agree() -> None:
    def error_kg(*gains_kg: float, rain_mm: float = 0.0) -> float:
        yard = {
            f"hazel-{i}": made_up_days(
                QUIET + [kg] * 10 + QUIET,
                rain_mm=[*([0.0] * 7), rain_mm, *([0.0] * 18)],
                spread_kg=0,
            )
            for i, kg in enumerate(gains_kg)
        }
        (one,) = of_kind(flow.find(YARD, yard), "nectar_flow")
        return one.measures["kg_error"]

    assert error_kg(1.0, 1.0, 1.0) == pytest.approx(0.1)
    assert error_kg(0.6, 1.0, 1.4) == pytest.approx(1.2, abs=0.1)
    assert error_kg(1.0) == pytest.approx(3.0, abs=0.1)
    assert error_kg(1.0, 1.0, 1.0, rain_mm=2.0) > error_kg(1.0, 1.0, 1.0)


def test_one_good_day_is_no_flow() -> None:
    assert not of_kind(flow.find(YARD, yard_of([*QUIET, 1.0, *QUIET])), "nectar_flow")


def test_two_warm_days_that_bring_little_are_taken_back_once_they_are_over() -> None:
    def flows(*gain_kg: float) -> list[Finding]:
        return of_kind(flow.find(YARD, yard_of([*QUIET, *gain_kg], spread_kg=0)), "nectar_flow")

    assert len(flows(0.7, 0.6)) == len(flows(0.7, 0.6, -0.2)) == 1
    assert flows(0.7, 0.6, *[-0.2] * 6) == []
    assert len(flows(1.5, 1.2, *[-0.2] * 6)) == 1
    assert len(flows(0.5, 0.5, 0.5, *[-0.2] * 6)) == 1


def test_one_hive_that_gains_alone_makes_no_flow_of_the_yard() -> None:
    yard = yard_of([0.0] * 20, hives=3) | {"robber": made_up_days([1.2] * 20)}
    found = of_kind(flow.find(YARD, yard), "nectar_flow")
    assert [one.subject for one in found] == ["hive:robber"]


def test_two_days_of_rain_do_not_cut_a_flow_in_two() -> None:
    gain = QUIET + [1.0] * 5 + [0.6, -0.6] + [1.0] * 5 + QUIET
    rain = [0.0] * 13 + [12.0, 8.0] + [0.0] * 13
    found = of_kind(flow.find(YARD, yard_of(gain, rain_mm=rain)), "nectar_flow")
    assert len(found) == 1


def test_rain_on_the_lids_is_no_flow() -> None:
    gain = [*QUIET, 0.9, 0.8, -0.9, -0.6, *QUIET]
    rain = [0.0] * 8 + [14.0, 9.0] + [0.0] * 10
    assert not of_kind(flow.find(YARD, yard_of(gain, rain_mm=rain)), "nectar_flow")


def test_eight_days_of_loss_in_flying_weather_are_a_dearth() -> None:
    found = of_kind(flow.find(YARD, yard_of([0.2] * 5 + [-0.25] * 14 + [0.8] * 4)), "dearth")
    assert len(found) == 1
    assert 4 <= day_of(found[0].start_s) <= 6
    assert found[0].status == "ended"
    assert day_of(found[0].end_s) == 19
    assert found[0].measures["kg_a_day"] < 0


@pytest.mark.parametrize(("loss_kg", "within_d"), [(0.5, 8), (0.3, 8), (0.2, 14)])
def test_the_worse_a_dearth_the_sooner_it_is_told(loss_kg: float, within_d: int) -> None:
    gain = [0.2] * 5 + [-loss_kg] * 16
    (one,) = of_kind(flow.find(YARD, yard_of(gain)), "dearth")
    assert day_of(one.start_s) == 5
    assert day_of(one.detected_s) <= 5 + within_d


def test_a_loss_that_nobody_need_feed_for_is_no_dearth() -> None:
    assert not of_kind(flow.find(YARD, yard_of([0.2] * 5 + [-0.1] * 40)), "dearth")


def test_one_day_on_which_much_dries_makes_no_dearth() -> None:
    gain = [0.1, 0.1, -1.5, 0.0, 0.05, -0.1] * 5
    assert not of_kind(flow.find(YARD, yard_of(gain)), "dearth")


def test_an_open_flow_counts_what_came_in_up_to_the_last_dawn() -> None:
    """What the night will leave of today is not known, and today is no part of the total."""
    yard = yard_of(QUIET + GOOD[:6], spread_kg=0)
    for one in yard.values():
        one.dawn_kg[-1] = np.nan  # tomorrow's is still to come
    (one,) = of_kind(flow.find(YARD, yard), "nectar_flow")
    assert one.measures["kg_gained"] == pytest.approx(5, abs=0.1)
    assert one.measures["kg_a_day"] == pytest.approx(1, abs=0.1)


def test_a_week_of_rain_is_no_dearth() -> None:
    rain = [0.0] * 5 + [6.0] * 14 + [0.0] * 4
    gain = [0.2] * 5 + [-0.25] * 14 + [0.2] * 4
    assert not of_kind(flow.find(YARD, yard_of(gain, rain_mm=rain)), "dearth")


def test_where_nobody_knows_whether_bees_could_fly_no_dearth_is_told() -> None:
    assert not of_kind(flow.find(YARD, yard_of([-0.25] * 30, flying_h=np.nan)), "dearth")


@pytest.mark.parametrize(("bees", "told"), [(40_000.0, 1), (2_000.0, 0)])
def test_where_nobody_measures_the_air_bees_that_fly_say_that_they_could(
    bees: float, told: int
) -> None:
    yard = {
        hive: replace(one, bees_out=np.full(31, bees))
        for hive, one in yard_of([-0.25] * 30, flying_h=np.nan).items()
    }
    found = of_kind(flow.find(YARD, yard), "dearth")
    assert len(found) == told
    assert not told or "40,000 bees a day" in found[0].evidence[1]


@pytest.mark.parametrize(("latitude", "told"), [(52.2, 1), (-36.0, 0), (4.0, 1)])
def test_before_the_season_of_its_half_of_the_earth_there_is_no_dearth(
    latitude: float, told: int
) -> None:
    place = replace(YARD, latitude=latitude)
    assert len(of_kind(flow.find(place, yard_of([-0.25] * 30)), "dearth")) == told


def test_snow_that_falls_by_night_is_no_nectar() -> None:
    yard = yard_of([*QUIET, 1.0, 1.0, 1.0, *QUIET])
    snowed = {
        hive: replace(one, day_kg=one.day_kg - 1.4 * (one.gain_kg > 0.5))
        for hive, one in yard.items()
    }
    assert not of_kind(flow.find(YARD, snowed), "nectar_flow")


def test_a_hive_that_is_gone_does_not_vote() -> None:
    yard = yard_of(QUIET + GOOD, hives=2)
    still = {f"gone-{i}": made_up_days([0.0] * 18, seed=9, spread_kg=0.005) for i in range(3)}
    still = {hive: replace(one, day_kg=one.gain_kg) for hive, one in still.items()}
    (one,) = of_kind(flow.find(YARD, yard | still), "nectar_flow")
    assert day_of(one.start_s) == 8
    assert one.measures["kg_a_day"] == pytest.approx(1, rel=0.1)


def test_the_day_on_which_a_hive_falls_off_its_scale_says_nothing_of_the_flow() -> None:
    yard = {"stands": made_up_days(QUIET + GOOD, spread_kg=0)}
    falls = made_up_days(QUIET + [1.0] * 10, spread_kg=0)
    falls.dawn_kg[12:] = 0.0
    falls.step_kg[11] = 2.0 - falls.dawn_kg[11]  # the fall, of which two kilograms are left
    yard["falls"] = falls
    (one,) = of_kind(flow.find(YARD, yard), "nectar_flow")
    assert one.measures["kg_gained"] == pytest.approx(10.0, abs=0.1)


def test_two_hives_of_which_one_robs_the_other_make_no_flow() -> None:
    """What the one carries home, less what it eats, is gone from the other."""
    yard = {"robbed": made_up_days([-2.5] * 10), "robber": made_up_days([2.4] * 10, seed=1)}
    assert not of_kind(flow.find(YARD, yard), "nectar_flow")


def test_of_two_hives_a_poor_one_hides_no_flow() -> None:
    yard = {"poor": made_up_days([-0.5] * 20), "good": made_up_days([2.5] * 20, seed=1)}
    (one,) = of_kind(flow.find(YARD, yard), "nectar_flow")
    assert one.measures["kg_a_day"] == pytest.approx(1.0, abs=0.1)


def test_four_days_of_bad_weather_do_not_end_a_flow_and_six_do() -> None:
    for days, flows in ((4, 1), (6, 2)):
        gain = QUIET + [1.0] * 6 + [-0.3] * days + [1.0] * 6 + QUIET
        assert len(of_kind(flow.find(YARD, yard_of(gain)), "nectar_flow")) == flows


def test_winter_loss_without_flight_is_no_dearth() -> None:
    assert not flow.find(YARD, yard_of([-0.06] * 40, flying_h=0.3))


def test_a_quiet_season_of_noise_says_nothing_of_a_flow() -> None:
    """All scales of the yard are off alike from dawn to dawn, as by water that nobody knows of."""
    said = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        gain = 0.05 + np.diff(rng.normal(0, 0.2, 121))
        said += len(of_kind(flow.find(YARD, yard_of(gain.tolist(), hives=3)), "nectar_flow"))
    assert said <= 4  # one in ten yard-seasons at most


def test_a_yard_without_scales_says_nothing() -> None:
    assert flow.find(YARD, {}) == []
    assert flow.find(YARD, {"hazel-1": made_up_days([np.nan] * 20)}) == []


@pytest.mark.parametrize("days", [11, 14, 17])
def test_what_is_told_stands_when_the_season_goes_on(days: int) -> None:
    gain = QUIET + GOOD + QUIET
    early = of_kind(flow.find(YARD, yard_of(gain[:days], spread_kg=0)), "nectar_flow")
    late = of_kind(flow.find(YARD, yard_of(gain, spread_kg=0)), "nectar_flow")
    assert [(one.start_s, one.detected_s) for one in early] == [
        (one.start_s, one.detected_s) for one in late
    ]


def test_what_a_dusk_has_told_stands_after_a_night_that_took_more() -> None:
    gain = [*QUIET, 0.8, 0.5]
    known = yard_of(gain, spread_kg=0)
    night = {
        hive: replace(one, gain_kg=np.append(one.gain_kg[:9], [0.3, np.nan]))
        for hive, one in known.items()
    }
    evening = {
        hive: replace(one, gain_kg=np.append(one.gain_kg[:9], [np.nan, np.nan]))
        for hive, one in known.items()
    }
    told = [of_kind(flow.find(YARD, one), "nectar_flow") for one in (evening, known, night)]
    assert [len(one) for one in told] == [1, 1, 1]
    assert len({(one.start_s, one.detected_s) for one in [*told[0], *told[1], *told[2]]}) == 1
    assert day_of(told[0][0].detected_s) == 9


def test_a_scale_that_shows_fifty_grams_counts_a_day_that_is_just_good() -> None:
    yard = {
        hive: replace(one, gain_kg=np.append([*([0.0] * 8), 0.75, 40.55 - 40.2], np.nan))
        for hive, one in yard_of([*QUIET, 0.75, 0.35], spread_kg=0).items()
    }
    assert flow.GOOD_KG > 40.55 - 40.2  # a remainder of the arithmetic, not of the scale
    assert len(of_kind(flow.find(YARD, yard), "nectar_flow")) == 1


@pytest.mark.parametrize(("rain_mm", "flows"), [(2.0, 1), (20.0, 0)])
def test_a_shower_dries_off_on_a_long_warm_day_and_a_downpour_does_not(
    rain_mm: float, flows: int
) -> None:
    """Where nobody knows at which hour it fell."""
    gain, rain = [*QUIET, 0.5, 0.7, 0.0, 0.0], [*([0.0] * 9), rain_mm, 0.0, 0.0]
    yard = yard_of(gain, rain_mm=rain, rain_ends=None, flying_h=16.0, spread_kg=0)
    assert len(of_kind(flow.find(YARD, yard), "nectar_flow")) == flows


@pytest.mark.parametrize(("rain_ends", "flows"), [("by noon", 1), ("by dusk", 0)])
def test_rain_that_ended_by_noon_has_dried_by_dusk(rain_ends: str, flows: int) -> None:
    gain, rain = [*QUIET, 0.5, 0.7, 0.0, 0.0], [*([0.0] * 9), 20.0, 0.0, 0.0]
    yard = yard_of(gain, rain_mm=rain, rain_ends=rain_ends, spread_kg=0)
    assert len(of_kind(flow.find(YARD, yard), "nectar_flow")) == flows


def test_what_rained_on_the_lid_by_night_is_taken_off_the_gain() -> None:
    """Two good days and a rain between them: the first one is not made better, nor the second."""
    gain, rain = [*QUIET, 0.5 + 0.28, 0.6 - 0.28, 0.6, 0.6], [*([0.0] * 8), 2.0, 0.0, 0.0, 0.0]
    (one,) = of_kind(flow.find(YARD, yard_of(gain, rain_mm=rain, spread_kg=0)), "nectar_flow")
    assert (day_of(one.start_s), day_of(one.detected_s)) == (8, 9)
    assert one.measures["kg_gained"] == pytest.approx(2.3, abs=0.05)


def test_a_night_on_which_all_scales_gain_brought_rain_where_no_gauge_tells_of_it() -> None:
    """Half a kilogram of it dries off the next day, on which a little nectar comes in."""
    gain = [*([0.05] * 8), 0.05 + 0.5, 0.45 - 0.5, 0.45, 0.05]
    yard = {}
    for hive, one in yard_of(gain, spread_kg=0).items():
        night = np.append([*([0.05] * 8), -0.45, 0.1, 0.1, 0.05], np.nan)
        yard[hive] = replace(
            one, day_kg=one.gain_kg + night, night_kg=night,
            night_mm=np.full(13, np.nan), dusk_mm=np.full(13, np.nan),
        )  # fmt: skip
    assert not of_kind(flow.find(YARD, yard), "nectar_flow")
    (one,) = of_kind(flow.find(YARD, _richer(yard)), "nectar_flow")
    assert day_of(one.start_s) == 9


def _richer(yard: dict[str, Days]) -> dict[str, Days]:
    """Let the day after the rain bring more: it is a good one, though the scale shows none."""
    more = np.array([*([0.0] * 9), 0.3, 0.0, 0.0, np.nan])
    dawn = np.array([*([0.0] * 10), 0.3, 0.3, 0.3])
    return {
        hive: replace(
            one, gain_kg=one.gain_kg + more, day_kg=one.day_kg + more, dawn_kg=one.dawn_kg + dawn
        )
        for hive, one in yard.items()
    }


@pytest.mark.parametrize(("water_kg", "flows"), [(0.5, 0), (0.1, 1)])
def test_a_day_amid_rain_begins_no_flow_of_a_hive_that_stands_alone(
    water_kg: float, flows: int
) -> None:
    """No gauge and no neighbour: two nights leave water on the lid, and what fell by day stays."""
    one = made_up_days([*QUIET, 0.6, 0.7, -0.4, -0.4, -0.3], spread_kg=0)
    nothing = np.full(len(one), np.nan)
    night, dawn = one.night_kg.copy(), one.dawn_kg.copy()
    for day in (7, 8):
        night[day] -= water_kg
    dawn[8] += water_kg
    dawn[9] += water_kg
    one = replace(one, dawn_kg=dawn, night_kg=night, night_mm=nothing, dusk_mm=nothing)
    assert len(of_kind(flow.find(YARD, {"alone": one}), "nectar_flow")) == flows


def test_what_may_have_dried_before_the_first_dawn_makes_no_flow() -> None:
    """Rain of the evening before is taken off that dawn, and all of it may have been gone."""
    gain, rain = [*QUIET, 0.2, 0.4, 0.0, 0.0], [*([0.0] * 7), 2.0, 0.0, 0.0, 0.0, 0.0]
    yard = yard_of(gain, rain_mm=rain, spread_kg=0)
    assert not of_kind(flow.find(YARD, yard), "nectar_flow")


@pytest.mark.parametrize(("bees", "kg"), [(2_000.0, 10.0), (30_000.0, 6.5), (np.nan, 6.5)])
def test_a_colony_that_sends_out_few_bees_has_no_vote(bees: float, kg: float) -> None:
    strong = made_up_days(QUIET + GOOD, spread_kg=0)
    small = made_up_days([0.3] * 18, spread_kg=0)
    yard = {
        "strong": replace(strong, bees_out=np.full(19, 50_000.0)),
        "small": replace(small, bees_out=np.full(19, bees)),
    }
    (one,) = of_kind(flow.find(YARD, yard), "nectar_flow")
    assert one.measures["kg_gained"] == pytest.approx(kg, abs=0.1)


def test_a_dead_hive_that_gets_wet_and_dries_does_not_vote() -> None:
    rain = [0.0, 3.0, 0.0] * 6
    wet = np.array([0.0, 0.33, -0.33] * 6)
    alive = yard_of(QUIET + GOOD, hives=2, rain_mm=rain)
    dead = {
        f"dead-{i}": made_up_days(wet.tolist(), rain_mm=rain, spread_kg=0.005, seed=i)
        for i in range(3)
    }
    dead = {hive: replace(one, day_kg=one.gain_kg) for hive, one in dead.items()}
    (one,) = of_kind(flow.find(YARD, alive | dead), "nectar_flow")
    assert one.measures["hives"] == 2
