"""Troubles that last: when they begin, and how hard they press on which day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from simulators import forage, scenario, season, spells, weather
from simulators.mass import from_the_hour
from simulators.plans import STEPS_A_DAY, Happening, Scenario
from simulators.queen import Queen

TODAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def told() -> Scenario:
    return scenario.load("robbing-in-august", TODAY)


def cast(told: Scenario, at: str, what: str = "robbing") -> tuple[spells.Spell, forage.Country]:
    yard = told.yards[0]
    sky = weather.make(yard, told)
    country = forage.look(yard, sky, told)
    event = Happening(what, on="08-14", at=at, until="08-16", size=2.0)
    spell = spells.cast(event, yard, told, sky, country)
    assert spell is not None
    return spell, country


def test_robbers_do_not_begin_while_there_is_nectar_elsewhere(told: Scenario) -> None:
    yard = told.yards[0]
    sky = weather.make(yard, told)
    country = forage.look(yard, sky, told)
    event = Happening("robbing", on="08-14", at="13:00", until="08-16", size=2.0)
    day = told.day_of(event.on)
    rich = [replace(one, nectar_kg=3.0 if one.number < day + 5 else 0.1) for one in country.days]
    spell = spells.cast(event, yard, told, sky, replace(country, days=rich))
    assert spell is not None
    assert (spell.first >= day + 5, spell.last - spell.first) == (True, 2)
    flow = [replace(one, nectar_kg=3.0) for one in country.days]
    assert spells.cast(event, yard, told, sky, replace(country, days=flow)) is None


@pytest.mark.parametrize("what", spells.ROBBED)
def test_robbers_that_come_by_night_begin_with_the_next_flight(told: Scenario, what: str) -> None:
    by_day, _ = cast(told, "13:00", what)
    by_night, country = cast(told, "23:30", what)
    assert by_night.first == by_day.first + 1
    step = by_night.first * STEPS_A_DAY
    before = country.out_shape[: step + STEPS_A_DAY].reshape(-1, STEPS_A_DAY)[-1]
    assert by_night.first_share == pytest.approx(1.0)
    assert 0.0 < by_day.first_share < 1.0
    begins = int(np.flatnonzero(before > 0)[0])
    midnight_s = by_night.begin_s - begins * 86_400 // STEPS_A_DAY
    assert 3 * 3600 < by_night.begin_s - midnight_s < 12 * 3600


def test_the_first_day_takes_the_share_of_flight_that_is_left(told: Scenario) -> None:
    spell, country = cast(told, "13:00")
    first, after = country.days[spell.first], country.days[spell.first + 1]
    raided = spells.pressing([spell], first).robbed_kg
    assert raided == pytest.approx(2.0 * spell.first_share * min(first.fly_h / 5, 1.2))
    assert spells.pressing([spell], after).robbed_kg == 2.0 * min(after.fly_h / 5, 1.2)
    assert spells.pressing([spell], country.days[spell.last + 1]).robbed_kg == 0.0


def test_what_the_books_lose_the_scale_loses_too_however_late_robbers_come() -> None:
    """A whole day's course is bent, whatever the hour of the happening."""
    told = scenario.load("robbing-in-august", TODAY)
    yard = told.yards[0]
    late = Happening("robbing", on="08-14", at="22:00", until="08-16", size=2.0)
    hives = tuple(replace(hive, happenings=(late,)) for hive in yard.hives)
    yard = replace(yard, hives=hives)
    for hive in season.live(yard, replace(told, yards=(yard,))):
        went = np.ones((hive.weather.days, STEPS_A_DAY)).cumsum(axis=1) / STEPS_A_DAY
        bent = from_the_hour(hive.life, hive.weather, went, *spells.ROBBED)
        robbed = hive.life.columns["robbed"]
        assert robbed[robbed > 0].size == hive.life.spells[0].last - hive.life.spells[0].first + 1
        assert np.allclose(bent[robbed > 0, -1], 1.0)


@pytest.mark.parametrize("state", ["cells", "virgin", "mated", "drone layer", "none"])
def test_a_queen_who_does_not_lay_cannot_fail(state: str) -> None:
    queen = Queen(age_d=400, state=state)
    assert not queen.fails()
    assert queen.state == state
    laying = Queen(age_d=400)
    assert laying.fails()
    assert laying.state == "fading"
