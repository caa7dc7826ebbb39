"""A hive that differs from its yard's flow, on made-up days: nothing of the simulators."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from made_up_yard import YARD, day_of, made_up_days, yard_of

from hivewatch.alerts.rules import judge
from hivewatch.detect import flow
from hivewatch.detect.finding import Finding
from hivewatch.detect.run import detect_yard, is_of_yard
from hivewatch.signals.days import Days

QUIET = [0.0] * 8
ALONE = [*QUIET, *([1.2] * 14), *QUIET]
NOTHING = [0.0] * len(ALONE)
FLOW = [*QUIET, *([1.2] * 14), *QUIET]
LOST = [*QUIET, *([-0.2] * 14), *QUIET]


def of_hives(days: dict[str, Days]) -> list[Finding]:
    return [one for one in flow.find(YARD, days) if one.subject.startswith("hive:")]


def with_one(yard: Sequence[float], own: Sequence[float], hives: int = 3) -> dict[str, Days]:
    return yard_of(yard, hives=hives) | {"own": made_up_days(own, seed=77)}


def test_a_hive_that_gains_where_its_yard_does_not_has_a_flow_of_its_own() -> None:
    (one,) = of_hives(with_one(NOTHING, ALONE))
    assert (one.kind, one.subject, one.status) == ("nectar_flow", "hive:own", "ended")
    assert abs(day_of(one.start_s) - 8) <= 4
    assert one.end_s is not None
    assert abs(day_of(one.end_s) - 22) <= 5
    assert one.measures["kg_behind_yard"] < -0.5
    assert one.measures["kg_gained"] == pytest.approx(14 * 1.2, rel=0.1)
    assert one.detected_s <= one.start_s + 9 * 86_400


def test_a_hive_that_loses_in_its_yards_flow_takes_no_part() -> None:
    found = of_hives(with_one(FLOW, LOST))
    assert [(one.kind, one.subject) for one in found] == [("dearth", "hive:own")]
    assert found[0].measures["kg_a_day"] < 0
    assert "takes no part" in found[0].evidence[1]


@pytest.mark.parametrize(
    ("yard", "own"),
    [
        (FLOW, [*QUIET, *([0.4] * 14), *QUIET]),  # a weak hive
        (FLOW, [*QUIET, *([2.4] * 14), *QUIET]),  # a strong one
        (NOTHING, [*QUIET, *([0.4] * 14), *QUIET]),
        (NOTHING, LOST),  # no flow of which it could have a part
        (FLOW, [*QUIET, *([-0.3] * 3), *([1.2] * 11), *QUIET]),  # a few days of confinement
    ],
)
def test_a_hive_that_differs_a_little_is_not_told(yard: list[float], own: list[float]) -> None:
    assert of_hives(with_one(yard, own)) == []


def test_a_hive_that_swarmed_or_got_a_box_is_another_one_for_three_weeks() -> None:
    days = with_one(FLOW, LOST)
    moved = np.zeros(len(days["own"]))
    moved[7] = -2.4
    assert of_hives(days | {"own": replace(days["own"], step_kg=moved)}) == []


def test_what_a_neighbour_loses_meanwhile_is_no_flow_of_its_own() -> None:
    days = with_one(NOTHING, ALONE) | {"robbed": made_up_days([*QUIET, *([-1.1] * 14), *QUIET])}
    assert of_hives(days) == []


def test_one_other_hive_does_not_tell_how_the_days_were() -> None:
    assert of_hives(with_one(NOTHING, ALONE, hives=1)) == []


def test_a_hundred_seasons_of_unlike_hives_say_nothing() -> None:
    said = 0
    for seed in range(100):
        rng = np.random.default_rng(seed)
        shared = rng.normal(0.1, 0.5, 120)
        days = {
            f"hive-{i}": made_up_days((shared * rng.uniform(0.4, 1.6)).tolist(), seed=seed + i)
            for i in range(4)
        }
        said += len(of_hives(days))
    assert said <= 1


@pytest.mark.parametrize("days", [17, 20, 26])
def test_what_is_told_of_a_hive_stands_when_the_season_goes_on(days: int) -> None:
    early = of_hives(with_one(NOTHING[:days], ALONE[:days]))
    late = of_hives(with_one(NOTHING, ALONE))
    assert len(early) == 1
    assert [(one.start_s, one.detected_s) for one in early] == [
        (one.start_s, one.detected_s) for one in late
    ]


def test_it_is_settled_with_the_yard_and_rings_no_phone() -> None:
    for days in (with_one(NOTHING, ALONE[:-8]), with_one(FLOW[:-8], LOST[:-8])):
        (one,) = (one for one in detect_yard(YARD, days) if one.subject == "hive:own")
        assert is_of_yard(one)
        assert judge(one, one.detected_s).reason == "not for the phone"
    (yards,) = (one for one in detect_yard(YARD, yard_of(FLOW[:-8])) if one.kind == "nectar_flow")
    assert judge(yards, yards.detected_s).rings
