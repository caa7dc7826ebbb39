"""Stores against need, in figures and in words."""

from __future__ import annotations

from datetime import date, timedelta

from hivewatch.comb.held import Held
from hivewatch.comb.need import Need, need_of
from hivewatch.comb.reading import Range
from hivewatch.comb.room_words import describe_need, stores_dict

MAY = date(2026, 5, 12)


def need(held: Held, on: date = MAY, bees: float = 20000, eggs: float = 1500) -> Need:
    adults = {ahead: Range(bees, bees, bees) for ahead in range(22)}
    laying = {day: Range(eggs, eggs, eggs) for day in range(-21, 22)}
    return need_of(held, adults, laying, on, 47.0)


def test_stores_last_as_long_as_they_are_eaten() -> None:
    here = need(Held(stores_kg=5.0, stores_on=MAY, is_weighed=True))
    a_day = here.need_kg / 21
    assert here.lasts_until == MAY + timedelta(days=int(5.0 / a_day))
    assert need(Held(stores_kg=40.0, stores_on=MAY)).lasts_until is None
    assert need(Held()).lasts_until is None


def test_the_hives_own_scale_moves_what_is_published_within_bounds() -> None:
    published = need(Held()).need_kg
    less = need(Held(eaten_kg=0.7 * published / 21)).need_kg
    assert less < 0.75 * published
    assert need(Held(eaten_kg=0.01)).need_kg > 0.49 * published
    assert need(Held(eaten_kg=9.0)).need_kg < 1.26 * published


def test_what_is_said_of_them() -> None:
    hungry = describe_need(need(Held(stores_kg=5.0, stores_on=MAY, is_weighed=True)), MAY)
    assert len(hungry) == 1
    assert "about 5.0 kg" in hungry[0]
    assert "if nothing comes in, they last until 18 May" in hungry[0]
    flow = describe_need(need(Held(0, 0.0, 1.2, 5.0, MAY, is_weighed=True)), MAY)
    assert "1.2 kg a day are left over" in flow[0]
    judged = describe_need(need(Held(stores_kg=5.0, stores_on=MAY - timedelta(days=4))), MAY)
    assert "as judged on 8 May" in judged[0]
    assert describe_need(need(Held()), MAY) == []
    (lacks,) = describe_need(need(Held(lacks_empty=True)), MAY)
    assert "what the empty hive weighs" in lacks


def test_the_winter_is_spoken_of_when_it_is_time() -> None:
    august, january = date(2026, 8, 20), date(2027, 1, 10)
    held = Held(stores_kg=9.0, stores_on=august, is_weighed=True)
    said = describe_need(need(held, august), august)[1]
    assert "From 15 September to 15 April" in said
    assert "are missing" in said
    rich = Held(stores_kg=40.0, stores_on=august, is_weighed=True)
    assert "there is enough" in describe_need(need(rich, august), august)[1]
    winter = need(rich, august).winter
    assert winter is not None
    nearly = Held(stores_kg=winter.need_kg - 0.1, stores_on=august, is_weighed=True)
    assert "there is just enough" in describe_need(need(nearly, august), august)[1]
    here = need(Held(stores_kg=9.0, stores_on=january, is_weighed=True), january, 11000, 0)
    assert here.winter is not None
    assert here.winter.since == january
    assert describe_need(here, january)[1].startswith("Until 15 April it needs about")
    whole = need(held, august).winter
    assert whole is not None
    assert here.winter.need_kg < whole.need_kg


def test_there_is_no_winter_in_the_tropics() -> None:
    adults = {ahead: Range(1e4, 1e4, 1e4) for ahead in range(22)}
    assert need_of(Held(), adults, {}, MAY, 5.0).winter is None


def test_the_json_form() -> None:
    said = stores_dict(need(Held(stores_kg=5.04, stores_on=MAY, is_weighed=True)))
    assert (said["kg"], said["known_on"], said["known_by"]) == (5.0, "2026-05-12", "scale")
    assert set(said) == {"kg", "known_on", "known_by", "need_kg", "lasts_until", "winter"}
    assert stores_dict(need(Held()))["known_by"] is None
