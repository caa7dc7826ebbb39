"""What a hive weighs besides its honey: wood, bees, brood and pollen, and what visits say of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hivewatch.inspections import Inspection
from hivewatch.signals import tare
from hivewatch.signals.boxes import Boxes
from hivewatch.signals.colony import Colony
from hivewatch.signals.days import days_of
from hivewatch.signals.larder import larder_of

EMPTY_KG = 21.5
DAYS = 60  # and a part of one more


@pytest.fixture
def window(made_up_hive):
    return made_up_hive(days=DAYS - 1, empty_kg=EMPTY_KG, step_s=1800).window()


def visit(window, at, kg):
    day_s = int(days_of(window).start_s[at]) + 43_200
    moment = np.datetime64(day_s, "s").item().isoformat() + "+00:00"
    told = {"hive": window.hive.id, "at": moment, "stores_kg": kg}
    return Inspection.model_validate(told, strict=False)


def rest(window, *seen, net_kg=10.0, boxes_kg=0.0, doubt_kg=None, off_on=None, live_kg=0.0):
    """What is no honey where a colony of 20,000 bees and no brood is known, at the year's height.

    `net_kg` is the honey as it would be without a visit, `live_kg` how far off the colony may be.
    """
    days = days_of(window)
    bees, none, full = np.full(DAYS, 20_000.0), np.zeros(DAYS), np.ones(DAYS)
    colony = Colony(bees, none, none, none + live_kg, full)
    doubt = none.copy()
    if doubt_kg is not None:
        doubt[doubt_kg[0]] = doubt_kg[1] ** 2
    are_off = np.arange(DAYS) == (-1 if off_on is None else off_on)
    gross = (EMPTY_KG + boxes_kg + 2.22 + tare.POLLEN_KG + net_kg) * full
    boxes = Boxes(boxes_kg * full, doubt, are_off)
    is_cold = np.zeros(DAYS, np.bool_)
    return tare.rest_of(window, days, colony, is_cold, gross, boxes, seen)


def test_without_a_visit_it_is_the_sum_of_its_parts(window) -> None:
    found = rest(window, boxes_kg=6.0)
    assert found.kg == pytest.approx(EMPTY_KG + 6.0 + 2.22 + 1.0)
    assert found.error_kg == pytest.approx(np.hypot(tare.OTHER_KG, tare.TARE_KG))


def test_what_a_visit_judged_is_weighed_by_its_error(window) -> None:
    """Inverse variances: 0.7 and 0.3 kg of the parts, 0.4 kg and 20 % of honey by eye."""
    found = rest(window, visit(window, 8, 5.0))
    parts, eye = 0.7**2 + 0.3**2, (0.4 + 0.2 * 5.0) ** 2
    moved_kg = found.kg[9] - found.kg[8]
    assert moved_kg == pytest.approx(parts / (parts + eye) * (10.0 - 5.0), rel=0.05)
    assert found.error_kg[9] == pytest.approx((1 / parts + 1 / eye) ** -0.5, rel=0.05)


def test_more_visits_tell_more_and_what_they_told_fades(window) -> None:
    one = rest(window, visit(window, 8, 5.0))
    two = rest(window, visit(window, 8, 5.0), visit(window, 9, 5.0))
    assert two.kg[10] > one.kg[10]
    assert two.error_kg[10] < one.error_kg[10] < one.error_kg[40]
    usual = rest(window).kg[0]
    assert (one.kg[59] - usual) < 0.6 * (one.kg[9] - usual)
    assert one.kg[59] > usual


def test_a_visit_tells_what_bees_weigh_until_they_are_counted(window) -> None:
    """They are the same bees on the days after; a count that leaves no error leaves none of it."""
    known, unknown = (rest(window, visit(window, 8, 5.0), live_kg=kg) for kg in (0.0, 1.2))
    assert unknown.kg[9] - unknown.kg[8] > 1.5 * (known.kg[9] - known.kg[8])
    assert unknown.error_kg[9] < 0.75 * unknown.error_kg[8]
    counted = np.where(np.arange(DAYS) < 12, 1.2, 0.0)
    told = rest(window, visit(window, 8, 5.0), live_kg=counted)
    usual = rest(window).kg[0]
    assert told.kg[11] == pytest.approx(unknown.kg[11])
    assert usual < told.kg[12] < known.kg[12]


def test_a_box_in_doubt_is_told_by_the_next_visit_and_gone_with_the_boxes(window) -> None:
    doubt = (5, 3.0)
    found = rest(window, visit(window, 8, 4.0), doubt_kg=doubt)
    assert found.error_kg[4] < 1
    assert found.error_kg[7] > 3
    assert found.error_kg[9] < 1.2
    assert found.kg[9] - found.kg[8] == pytest.approx(6.0, abs=1.0)
    off = rest(window, visit(window, 8, 4.0), doubt_kg=doubt, off_on=20)
    assert off.kg[21] < found.kg[21] - 3
    assert off.error_kg[21] < 0.8


def test_what_was_judged_while_the_hive_lay_beside_its_scale_tells_nothing(made_up_hive) -> None:
    made = made_up_hive(days=30, empty_kg=EMPTY_KG, flow_kg=0.0)
    made.fall(made.at(10, 1), 0.3, until_s=made.at(14, 10))
    window = made.window()
    alone, judged = larder_of(window, []), larder_of(window, [visit(window, 12, 9.0)])
    assert judged.stores_kg[18] == pytest.approx(alone.stores_kg[18])


def test_what_was_judged_before_a_hive_was_set_up_and_fed_is_what_was_there_then(
    made_up_hive,
) -> None:
    made = made_up_hive(days=30, empty_kg=EMPTY_KG, flow_kg=0.0)
    made.fall(made.at(10, 1), 0.3, until_s=made.at(14, 12))
    made.add(made.at(14, 12), 5.0)
    window = made.window()
    alone = larder_of(window, []).stores_kg[16]
    told = visit(window, 14, round(float(alone) - 5.0, 1)).model_dump(exclude_unset=True)
    fed = [{"what": "fed", "kg": 5.0}]
    one = Inspection.model_validate({**told, "actions": fed}, strict=False)
    assert larder_of(window, [one]).stores_kg[16] == pytest.approx(alone, abs=0.1)


def test_a_hive_that_lives_has_no_less_than_nothing(window) -> None:
    """What was taken for wood, boxes or bees is honey, and more so what is most in doubt."""
    usual = rest(window).kg[0]
    found = rest(window, net_kg=-2.0)
    assert (np.diff(found.kg[:10]) < 0).all()
    assert found.kg[20] == pytest.approx(usual - 2.0, abs=0.4)
    assert found.error_kg[20] == pytest.approx(rest(window).error_kg[20])  # and nothing is surer
    boxed = rest(window, net_kg=-2.0, doubt_kg=(1, 3.0))
    assert boxed.kg[2] == pytest.approx(usual - 2.0, abs=0.2)
    assert rest(window, net_kg=-2 * tare.FAR_OFF_KG).kg[59] == usual  # off its scale


def test_an_empty_hive_that_nobody_weighed_is_told_by_a_visit_for_a_winter(window) -> None:
    unknown = replace(window, hive=replace(window.hive, empty_kg=None))
    assert np.isnan(rest(unknown).kg).all()
    found = rest(unknown, visit(unknown, 8, 5.0))
    assert np.isnan(found.kg[:9]).all()
    assert found.kg[9] == pytest.approx(EMPTY_KG + 2.22 + 1.0 + 5.0, abs=0.1)
    assert np.isnan(larder_of(unknown, []).stores_kg).all()


def test_what_was_judged_after_a_harvest_is_what_was_left(made_up_hive) -> None:
    """Whether somebody wrote down what was there before it, or after it."""
    made = made_up_hive(days=30, empty_kg=EMPTY_KG, flow_kg=0.0)
    made.add(made.at(10, 12), -8.0)
    window = made.window()
    alone = larder_of(window, []).stores_kg
    left_kg = round(float(alone[11]), 1)
    for kg in (left_kg, left_kg + 8.0):
        judged = larder_of(window, [visit(window, 10, kg)]).stores_kg
        assert judged[12] == pytest.approx(alone[12], abs=0.3)


def test_pollen_is_less_in_winter(window) -> None:
    days = days_of(window)
    full, none = np.ones(DAYS), np.zeros(DAYS)
    boxes = Boxes(none, none, none > 0)
    kg = [
        tare.rest_of(window, days, Colony(none, none, none, none, height), cold, full, boxes, ()).kg
        for height, cold in ((full, none > 0), (none, none > 0), (none, full > 0))
    ]
    assert kg[0] - kg[1] == pytest.approx(tare.POLLEN_KG / 2)
    assert kg[2] - kg[1] == pytest.approx(tare.DAMP_KG)
