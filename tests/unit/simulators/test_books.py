"""Books that must close: mass, energy, bees, and what the truth says of them."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

import numpy as np
import pytest

from simulators import flows, forage, nature, scenario, season, signs, truth, weather
from simulators.keeper import Step
from simulators.plans import STEP_S, STEPS_A_DAY
from simulators.sensors import Told

TODAY = date(2026, 11, 25)
NAMES = ("new-queens", "robbing-in-august", "prime-and-casts", "sprayed", "starvation-in-march")


@lru_cache(maxsize=4)
def live(name: str) -> list[Told]:
    told = scenario.load(name, TODAY)
    return [hive for yard in told.yards for hive in season.live(yard, told)]


@pytest.mark.parametrize("name", NAMES)
def test_every_evening_the_scale_agrees_with_the_colony(name: str) -> None:
    """Weight integrated from the flows of the day = sum of the colony's parts, to a milligram."""
    for hive in live(name):
        column, life = hive.life.columns, hive.life
        evening = slice(STEPS_A_DAY - 1, None, STEPS_A_DAY)
        lid = hive.weight.lid_kg[evening] + hive.weight.wood_kg[evening]
        end_s = hive.weather.time_s[evening] + STEP_S
        boxes = np.full(end_s.size, life.start_kg - first_mass(hive))
        for step in life.steps:
            boxes = boxes + step.box_kg * (step.time_s < end_s)
        parts = boxes + column["mass_kg"]
        gross = hive.weight.gross_kg[evening] - lid
        assert np.abs(parts - gross).max() < 1e-6


def first_mass(hive: Told) -> float:
    plan = hive.life.plan
    return hive.life.start_kg - plan.empty_kg - plan.supers * nature.SUPER_KG


@pytest.mark.parametrize("name", ["two-flows", "hot-summer"])
def test_a_harvest_takes_off_no_more_than_was_put_on(name: str) -> None:
    """Supers on foundation come lighter, and their comb goes but once."""
    for hive in live(name):
        plan, steps = hive.life.plan, hive.life.steps
        harvested = [step.time_s for step in steps if step.what == "harvested"]
        added = [step for step in steps if step.what == "super added"]
        if not harvested or not any(step.time_s < harvested[0] for step in added):
            continue
        put_on = sum(step.box_kg for step in steps if step.time_s <= harvested[0])
        assert abs(put_on + plan.supers * nature.SUPER_KG) < 0.15 * 3 * len(added)


@pytest.mark.parametrize("name", NAMES)
def test_every_bee_is_accounted_for(name: str) -> None:
    """Adults of tomorrow = adults of today + emerged - died - lost - left - taken away."""
    for hive in live(name):
        column = hive.life.columns
        born = column["emerged"] - column["house_dead"] - column["foragers_lost"]
        change = np.diff(column["adults"]) - (born - column["sprayed"])[1:]
        quiet = np.ones(change.size, np.bool_)
        for step in hive.life.steps:
            if step.what in ("swarm", "split"):
                quiet[int((step.time_s - hive.weather.time_s[0]) // 86_400) - 1] = False
        dead = np.flatnonzero(column["adults"] == 0)
        quiet[dead[0] - 1 if dead.size else change.size :] = False
        assert np.abs(change[quiet]).max() < 1e-6 * column["adults"].max()


def test_every_joule_of_honey_has_a_use() -> None:
    """Rest, flight, warmth, larvae and wax add up to the honey eaten."""
    for hive in live("continental-year"):
        column = hive.life.columns
        uses = sum(column[f"honey_{use}"] for use in ("rest", "flight", "warmth", "larvae", "wax"))
        assert np.allclose(uses, column["honey_eaten"], atol=1e-12)
        winter = slice(270, 310)
        watts = column["honey_rest"][winter] * nature.HONEY_KJ_PER_KG * 1_000 / 86_400
        assert ((watts > 2.5) & (watts < 12)).all()  # a cluster gives some watts of warmth


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_made_of_nothing(name: str) -> None:
    for hive in live(name):
        for key, values in hive.life.columns.items():
            assert np.isfinite(values).all(), key
            if key not in ("respired", "carried_kg", "crowding"):
                assert values.min() >= -1e-9, key


def test_what_is_robbed_leaves_the_hive_by_daylight() -> None:
    robbed = live("robbing-in-august")[1]
    column = robbed.life.columns
    spell = robbed.life.spells[0]
    days = slice(spell.first, spell.last + 1)
    assert column["robbed"][days].sum() > 3
    gross = robbed.weather.daily(robbed.weight.gross_kg)[spell.first + 1]
    assert gross[8 * 12] - gross[19 * 12] > 3 * (gross[0] - gross[5 * 12])


def test_sprayed_bees_do_not_come_home() -> None:
    hit, _, spared, _ = live("sprayed")
    day = hit.life.spells[0].first
    for hive in (hit, spared):
        out = hive.weather.daily(hive.traffic.bees_out)[day].sum()
        back = hive.weather.daily(hive.traffic.bees_in)[day].sum()
        column = hive.life.columns
        missing = column["sprayed"][day] + column["foragers_lost"][day]
        assert out - back == pytest.approx(missing, rel=0.05, abs=30)
    assert hit.life.columns["sprayed"][day] > 0.5 * hit.life.columns["foragers"][day]
    assert spared.life.columns["sprayed"][day] == 0


def test_a_flow_and_a_dearth_are_told_of_the_yard() -> None:
    hives = live("two-flows")
    kinds = [event["kind"] for event in flows.of_yard("three-oaks", hives, 48.9)]
    assert kinds.count("nectar_flow") >= 2
    assert "dearth" in kinds


def test_what_a_flow_brings_is_what_its_hives_gain_without_boxes_swarms_and_rain() -> None:
    hive = live("two-flows")[0]
    gain = flows.daily_gain(hive)
    column = hive.life.columns
    brought = column["nectar"] + column["pollen"] + column["plunder"]
    quiet = np.isfinite(gain)
    assert (gain[quiet] <= brought[quiet] + 0.01).all()  # never more than came in by the entrance
    idle = quiet & (brought < 0.02)
    assert (gain[idle] < 0).all()
    lasting = [event for event in flows.of_yard("three-oaks", [hive], 48.9) if event["clear"]]
    for event in lasting:
        days = (np.datetime64(event["end"][:10]) - np.datetime64(event["start"][:10])).astype(int)
        assert event["kg_gained"] == pytest.approx(days * event["kg_a_day"], abs=0.05)


def test_a_flow_goes_from_its_first_two_good_days_to_where_it_stood_highest() -> None:
    gain = np.array([-0.2, 0.4, -0.1, 0.5, 0.9, 1.0, -0.4, -0.4, 1.3, 0.2] + [-0.3] * 8)
    assert flows.flows(gain) == [(3, 9)]
    assert flows.flows(np.array([0.34, 3.0, -0.3, 3.0, -0.3])) == []


def test_loss_in_rain_or_in_winter_is_no_dearth() -> None:
    gain, fly_h, always = np.full(40, -0.3), np.full(40, 8.0), np.ones(40, np.bool_)
    assert flows.dearths(gain, fly_h, always) == [(0, 40)]
    assert flows.dearths(gain, fly_h / 4, always) == []
    assert flows.dearths(gain, fly_h, ~always) == []


def test_hunger_goes_on_until_there_is_enough_again() -> None:
    kg = np.array([6.0] * 5 + [3.8] * 5 + [4.4] * 3 + [2.9] * 4 + [9.0] * 5)
    column = {"stores_kg": kg, "honey_eaten": np.full(22, 0.4), "adults": np.full(22, 2e4)}
    ((first, last, left, clear),) = signs.hunger(column)
    assert (first, last, clear) == (5, 16, True)
    assert left == pytest.approx(9.5)


def test_runs_are_joined_and_short_ones_left_out() -> None:
    mask = np.array([0, 1, 1, 0, 1, 0, 0, 0, 1, 0], np.bool_)
    assert signs.runs(mask, 1) == [(1, 2), (4, 4), (8, 8)]
    assert signs.runs(mask, 3, join=1) == [(1, 4)]


def test_nothing_befalls_a_hive_that_is_gone() -> None:
    told = scenario.load("stolen", TODAY)
    for hive in season.play(told):
        events = truth.of_hive(hive, told)["events"]
        gone = [event["start"] for event in events if event["kind"] == "taken"]
        later = [e for e in events if gone and e["start"] > gone[0]]
        assert all(str(event["subject"]).startswith("device:") for event in later)


def test_the_day_shapes_of_a_yard_add_up() -> None:
    told = scenario.load("quiet-season", TODAY)
    sky = weather.make(told.yards[0], told)
    country = forage.look(told.yards[0], sky, told)
    flying = sky.daily(sky.flying).sum(axis=1) > 0.5
    for shape in (country.out_shape, country.in_shape):
        sums = shape.reshape(told.days, STEPS_A_DAY).sum(axis=1)
        assert np.allclose(sums[flying], 1)


def test_a_feeding_weighs_what_it_weighs_at_once() -> None:
    """The water in syrup dries off later: the step itself is whole."""
    for hive in live("robbing-in-august"):
        for step in hive.life.steps:
            if step.what == "fed":
                assert isinstance(step, Step)
                at = int(np.searchsorted(hive.weather.time_s, step.time_s))
                gross = hive.weight.gross_kg
                assert gross[at + 3] - gross[at - 6] == pytest.approx(step.kg, abs=0.35)
