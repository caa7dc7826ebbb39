"""When a super must be on: for bees, or for nectar; and nothing said where nothing is known."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from hivewatch.comb.held import NOTHING_HELD, Held
from hivewatch.comb.reading import Range
from hivewatch.comb.room import FULL_PART, Boxes, Room, room_of
from hivewatch.comb.room_words import describe_room, room_dict
from hivewatch.frames import FRAMES

DEEP = FRAMES["langstroth-deep"]
BOXES = Boxes(10.0, 2.0 * DEEP.side_bees, DEEP, 10)
DAY = date(2026, 5, 12)
FEW = {ahead: Range(9e3, 1e4, 1.1e4) for ahead in range(22)}
GROWING = {ahead: Range(0, 15000 + 800 * ahead, 9e4) for ahead in range(22)}


def room(held: Held, adults: dict[int, Range] = FEW, on: date = DAY, cells: float = 2e4) -> Room:
    return room_of(BOXES, held, adults, cells, on, 48.0)


def test_a_super_is_on_three_days_before_the_flow_has_filled_those_that_stand() -> None:
    """14.3 kg to a super of ten shallow combs; of two 20 kg may be filled, 8 are."""
    space_kg = FULL_PART * 2 * 10 * DEEP.super_kg - 8.0
    here = room(Held(supers=2, filled_kg=8.0, gain_kg=1.5))
    assert here.space_kg == pytest.approx(space_kg)
    assert here.full_on == DAY + timedelta(days=int(space_kg / 1.5) + 1)
    assert here.super_by == here.full_on - timedelta(days=3)
    assert here.pressed_by == "nectar"
    assert here.crowded_on is None


def test_more_nectar_or_less_space_brings_the_day_forward() -> None:
    base = room(Held(supers=2, filled_kg=8.0, gain_kg=1.0)).full_on
    assert base is not None
    for held in (Held(2, 8.0, 2.0), Held(2, 14.0, 1.0)):
        sooner = room(held).full_on
        assert sooner is not None
        assert sooner < base
    later = room(Held(3, 8.0, 1.0)).full_on
    assert later is None or later > base


def test_full_supers_in_a_flow_want_one_today() -> None:
    here = room(Held(supers=1, filled_kg=12.0, gain_kg=0.8))
    assert (here.full_on, here.super_by, here.pressed_by) == (DAY, DAY, "nectar")
    (bees, nectar) = describe_room(here, DAY)
    assert "room for them" in bees
    assert nectar.endswith("the super has no room for more now: give room now.")


@pytest.mark.parametrize(
    "held",
    [
        NOTHING_HELD,
        Held(supers=1, filled_kg=None, gain_kg=2.0),  # what is in it nobody knows
        Held(supers=1, filled_kg=12.0, gain_kg=None),  # what comes in nobody knows
        Held(supers=1, filled_kg=12.0, gain_kg=0.05),  # nothing comes in
        Held(supers=1, filled_kg=12.0, gain_kg=-0.4),
        Held(gain_kg=2.0),  # no super, and nobody knows what is in the brood box
    ],
)
def test_nothing_is_said_of_nectar_where_nothing_is_known_or_comes(held: Held) -> None:
    here = room(held)
    assert (here.full_on, here.super_by, here.pressed_by) == (None, None, None)
    assert len(describe_room(here, DAY)) == 1


def test_without_a_super_the_brood_box_has_what_brood_pollen_and_stores_leave() -> None:
    """Ten deep combs hold 27 kg; 20,000 cells of brood take 2.9 of them, pollen one."""
    held = Held(stores_kg=6.0, stores_on=DAY, gain_kg=1.0)
    here = room(held)
    assert here.space_kg == pytest.approx(
        FULL_PART * (9 - 20000 / (2 * 3484)) * 2.7 - 6.0, rel=0.01
    )
    more = room(held, cells=3.5e4)
    assert more.space_kg is not None
    assert more.space_kg < (here.space_kg or 0.0)
    assert "have a super on by" in describe_room(here, DAY)[1]


def test_the_earlier_of_the_two_presses() -> None:
    bees = room(Held(2, 2.0, 0.3), {a: Range(0, 27000 + 900 * a, 9e4) for a in range(22)})
    assert bees.pressed_by == "bees"
    both = room(Held(1, 9.0, 1.5), GROWING)
    assert both.pressed_by == "nectar"
    assert both.full_on is not None
    assert both.crowded_on is not None
    assert both.full_on < both.crowded_on


def test_a_super_is_room_for_bees_too() -> None:
    without, with_one = room(NOTHING_HELD, GROWING), room(Held(1, 0.0), GROWING)
    assert without.crowded_on is not None
    assert with_one.crowded_on is not None
    assert with_one.crowded_on > without.crowded_on
    assert with_one.seams == pytest.approx(10 + 10 * 4.58 / 8.71)


def test_crowded_bees_of_late_summer_ask_for_nothing() -> None:
    august = date(2026, 8, 20)
    here = room(NOTHING_HELD, GROWING, august)
    assert here.crowded_on is not None
    assert (here.super_by, here.pressed_by) == (None, None)
    assert "fewer by itself" in describe_room(here, august)[0]
    south = room_of(BOXES, NOTHING_HELD, GROWING, 2e4, date(2026, 11, 20), -37.0)
    assert south.pressed_by == "bees"


def test_unknown_frames_leave_everything_unsaid() -> None:
    here = room_of(Boxes(), Held(1, 12.0, 2.0), FEW, 2e4, DAY, 48.0)
    assert room_dict(here) == {
        "seams_of_bees": None,
        "crowded_on": None,
        "super_by": None,
        "pressed_by": None,
        "full_on": None,
        "seams": None,
        "supers": 1,
        "space_kg": None,
        "gain_kg_a_day": 2.0,
    }
    assert describe_room(here, DAY) == []
